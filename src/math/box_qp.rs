//! A small strictly convex quadratic program with bounds: the primal active-set method.

use nalgebra::{DMatrix, DVector};

/// Minimiser of `1/2 x'Hx - r'x` with `|x_i| <= bound_i`.
///
/// `hessian` must be symmetric positive definite; bounds must be positive (infinite is allowed).
/// The active set changes by one bound at a time and the objective falls at every change, so the
/// method ends after finitely many steps (Nocedal and Wright, Numerical Optimization, 2nd ed.,
/// algorithm 16.3). Returns the point, or `None` when a factorisation fails or `50 n + 50`
/// changes were not enough.
#[must_use]
pub fn minimise_in_box(hessian: &DMatrix<f64>, right: &DVector<f64>, bound: &[f64]) -> Option<DVector<f64>> {
    let n = right.len();
    let mut x = DVector::zeros(n);
    let mut held = vec![false; n];
    let scale = right.amax().max(f64::MIN_POSITIVE);
    for _ in 0..50 * n + 50 {
        let free: Vec<usize> = (0..n).filter(|&i| !held[i]).collect();
        let target = solve_free(hessian, right, &x, &free)?;
        let mut step = 1.0;
        let mut blocking = None;
        for (k, &i) in free.iter().enumerate() {
            let way = target[k] - x[i];
            let room = if way > 0.0 { bound[i] - x[i] } else { -bound[i] - x[i] };
            if way.abs() > 0.0 && room / way < step {
                step = (room / way).max(0.0);
                blocking = Some((i, way.signum()));
            }
        }
        for (k, &i) in free.iter().enumerate() {
            x[i] += step * (target[k] - x[i]);
        }
        if let Some((i, side)) = blocking {
            x[i] = side * bound[i];
            held[i] = true;
            continue;
        }
        // A held bound whose gradient points inward is let go, the strongest first.
        let gradient = hessian * &x - right;
        let pull = |i: usize| gradient[i] * x[i].signum();
        let release = (0..n).filter(|&i| held[i] && pull(i) > 1e-13 * scale).max_by(|&i, &j| pull(i).total_cmp(&pull(j)));
        match release {
            Some(i) => held[i] = false,
            None => return Some(x),
        }
    }
    None
}

/// The free variables' optimum with the others held where they are.
fn solve_free(hessian: &DMatrix<f64>, right: &DVector<f64>, x: &DVector<f64>, free: &[usize]) -> Option<DVector<f64>> {
    if free.is_empty() {
        return Some(DVector::zeros(0));
    }
    let part = DMatrix::from_fn(free.len(), free.len(), |a, b| hessian[(free[a], free[b])]);
    let mut rhs = DVector::from_fn(free.len(), |a, _| right[free[a]]);
    for (a, &i) in free.iter().enumerate() {
        for j in (0..x.len()).filter(|j| !free.contains(j)) {
            rhs[a] -= hessian[(i, j)] * x[j];
        }
    }
    Some(part.cholesky()?.solve(&rhs))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_inner_minimum_and_corner_by_hand() {
        let h = DMatrix::from_row_slice(2, 2, &[2.0, 1.0, 1.0, 2.0]);
        let r = DVector::from_column_slice(&[3.0, 3.0]);
        let x = minimise_in_box(&h, &r, &[10.0, 10.0]).unwrap();
        assert!((x[0] - 1.0).abs() < 1e-14 && (x[1] - 1.0).abs() < 1e-14);
        // x0 held at 0.5: 2 x1 = 3 - 0.5.
        let x = minimise_in_box(&h, &r, &[0.5, 10.0]).unwrap();
        assert!((x[0] - 0.5).abs() < 1e-14 && (x[1] - 1.25).abs() < 1e-14);
    }

    #[test]
    fn check_against_every_active_set() {
        // 200 random problems of four variables against the best of all 3^4 active sets.
        let mut state = 1_u64;
        let mut random = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (state >> 33) as f64 / f64::from(1_u32 << 31) - 0.5
        };
        for _ in 0..200 {
            let m = DMatrix::from_fn(4, 4, |_, _| random());
            let h = &m * m.transpose() + DMatrix::identity(4, 4) * 1e-3;
            let r = DVector::from_fn(4, |_, _| 2.0 * random());
            let bound = [0.3, 0.2, 0.5, 0.4];
            let value = |x: &DVector<f64>| 0.5 * x.dot(&(&h * x)) - r.dot(x);
            let got = minimise_in_box(&h, &r, &bound).unwrap();
            assert!((0..4).all(|i| got[i].abs() <= bound[i] + 1e-12));
            let mut best = f64::INFINITY;
            for code in 0..81 {
                let digits: Vec<i32> = (0..4).map(|k| code / 3_i32.pow(k) % 3 - 1).collect();
                let mut x = DVector::from_fn(4, |i, _| f64::from(digits[i]) * bound[i]);
                let free: Vec<usize> = (0..4).filter(|&i| digits[i] == 0).collect();
                let y = solve_free(&h, &r, &x, &free).unwrap();
                free.iter().enumerate().for_each(|(k, &i)| x[i] = y[k]);
                if (0..4).all(|i| x[i].abs() <= bound[i] + 1e-12) {
                    best = best.min(value(&x));
                }
            }
            assert!((value(&got) - best).abs() < 1e-10, "{} against {best}", value(&got));
        }
    }
}
