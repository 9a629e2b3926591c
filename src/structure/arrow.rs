//! One linear system of the machine, solved by its shape: a truck touches only its own bridge end.
//!
//! Trucks A and B are eliminated apart (6 freedoms each), what is left are the 12 freedoms of the bridge.

use nalgebra::{Cholesky, Const, SMatrix, SVector};

use super::mechanism::freedom_scale;
use super::{DOF, Matrix24, Vector24};

type Matrix6 = SMatrix<f64, 6, 6>;
type Vector6 = SVector<f64, 6>;
type Matrix12 = SMatrix<f64, 12, 12>;

/// A step against a gradient, for a positive semidefinite stiffness.
///
/// Rotations are scaled; where a direction is left free, the least share of the greatest stiffness that holds it is added
/// to every direction.
pub(super) fn newton_step(tangent: &Matrix24, gradient: &Vector24) -> Vector24 {
    let scale: [f64; DOF] = std::array::from_fn(freedom_scale);
    let mut scaled = *tangent;
    for j in 0..DOF {
        for i in 0..DOF {
            scaled[(i, j)] *= scale[i] * scale[j];
        }
    }
    let right = Vector24::from_fn(|i, _| -gradient[i] * scale[i]);
    let largest = scaled.diagonal().max();
    let mut added = 0.0;
    for _ in 0..12 {
        if let Some(step) = solve(&scaled, &right, added, 1e-14 * largest) {
            return Vector24::from_fn(|i, _| step[i] * scale[i]);
        }
        added = if added == 0.0 { 1e-12 * largest } else { added * 10.0 };
    }
    Vector24::from_fn(|i, _| right[i] * scale[i] / largest)
}

/// Solves (K + added) x = right; `None` where a pivot is not above `least`.
fn solve(k: &Matrix24, right: &Vector24, added: f64, least: f64) -> Option<Vector24> {
    let mut ends: Matrix12 = k.fixed_view::<12, 12>(12, 12).into_owned();
    let mut right_ends: SVector<f64, 12> = right.fixed_rows::<12>(12).into_owned();
    let mut trucks = [(None, Vector6::zeros(), Matrix6::zeros()), (None, Vector6::zeros(), Matrix6::zeros())];
    for (side, kept) in trucks.iter_mut().enumerate() {
        let at = 6 * side;
        let own = k.fixed_view::<6, 6>(at, at) + Matrix6::identity() * added;
        let lower = factor(own, least)?;
        let cross = lower.solve_lower_triangular(&k.fixed_view::<6, 6>(at, 12 + at).into_owned())?;
        let load = lower.solve_lower_triangular(&right.fixed_rows::<6>(at).into_owned())?;
        let mut corner = ends.fixed_view_mut::<6, 6>(at, at);
        corner -= cross.tr_mul(&cross);
        let mut rest = right_ends.fixed_rows_mut::<6>(at);
        rest -= cross.tr_mul(&load);
        *kept = (Some(lower), load, cross);
    }
    for i in 0..12 {
        ends[(i, i)] += added;
    }
    let lower = factor(ends, least)?;
    let of_ends = lower.tr_solve_lower_triangular(&lower.solve_lower_triangular(&right_ends)?)?;
    let mut x = Vector24::zeros();
    x.fixed_rows_mut::<12>(12).copy_from(&of_ends);
    for (side, (lower, load, cross)) in trucks.iter().enumerate() {
        let at = 6 * side;
        let rest = load - cross * of_ends.fixed_rows::<6>(at);
        x.fixed_rows_mut::<6>(at).copy_from(&lower.as_ref()?.tr_solve_lower_triangular(&rest)?);
    }
    Some(x)
}

/// Lower factor of Cholesky's, unless a pivot is not above `least`.
fn factor<const N: usize>(k: SMatrix<f64, N, N>, least: f64) -> Option<SMatrix<f64, N, N>>
where
    Const<N>: nalgebra::DimMin<Const<N>, Output = Const<N>>,
{
    let lower = Cholesky::new(k)?.unpack_dirty();
    (0..N).all(|i| lower[(i, i)] * lower[(i, i)] > least).then_some(lower)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_the_arrow_solves_as_a_plain_factor_does() {
        // A random arrow: trucks 0..6 and 6..12 do not touch, each touches its own end alone.
        let noise = |i: usize, j: usize| (((i * 37 + j * 101 + 13) % 97) as f64 / 97.0 - 0.5) * 10.0;
        let mut k = Matrix24::zeros();
        for i in 0..DOF {
            for j in 0..=i {
                let (a, b) = (i / 6, j / 6);
                let touches = a == b || (a, b) == (2, 0) || (a, b) == (3, 1) || (a, b) == (3, 2);
                let value = if i == j {
                    200.0 + noise(i, i)
                } else if touches {
                    noise(i, j)
                } else {
                    0.0
                };
                let value = value / (freedom_scale(i) * freedom_scale(j));
                (k[(i, j)], k[(j, i)]) = (value, value);
            }
        }
        let gradient = Vector24::from_fn(|i, _| noise(i, 5) / freedom_scale(i));
        let step = newton_step(&k, &gradient);
        let left = k * step + gradient;
        for i in 0..DOF {
            assert!((left[i] * freedom_scale(i)).abs() < 1e-10, "{i}: {}", left[i]);
        }
    }

    #[test]
    fn check_a_free_direction_is_left_alone_where_nothing_pulls() {
        let mut k = Matrix24::identity() * 1e5;
        for i in 0..DOF {
            (k[(i, 2)], k[(2, i)]) = (0.0, 0.0);
        }
        let mut gradient = Vector24::zeros();
        gradient[7] = 3.0;
        let step = newton_step(&k, &gradient);
        assert!(step[2].abs() < 1e-12 && (step[7] + 3e-5).abs() < 1e-12, "{step}");
    }

    /// One freedom of truck A and one of end A, soft, free or pushed apart; the others are held by 1e5.
    #[test]
    fn check_what_is_free_is_held_by_the_least_share_that_does() {
        let with = |freedom: usize, held: f64, pull: f64| {
            let mut k = Matrix24::from_fn(|i, j| if i == j { 1e5 / (freedom_scale(i) * freedom_scale(i)) } else { 0.0 });
            let scale = freedom_scale(freedom);
            k[(freedom, freedom)] = held / (scale * scale);
            let mut gradient = Vector24::zeros();
            gradient[freedom] = pull / scale;
            newton_step(&k, &gradient)[freedom] / scale
        };
        let near = |got: f64, expected: f64| assert!((got / expected - 1.0).abs() < 1e-9, "{got} against {expected}");
        for freedom in [2, 4, 14, 22] {
            // Above 1e-14 of the greatest it stands by itself; below, 1e-12 of it is added.
            near(with(freedom, 1e-8, 1e-8), -1.0);
            near(with(freedom, 0.0, 1e-7), -1.0);
            near(with(freedom, 1e-10, 1e-7), -1.0 / 1.001);
            // Where ten times that, and ten times again, does not hold it, the gradient itself is followed.
            near(with(freedom, -5e-7, 5e-7), -1.0);
            near(with(freedom, -5e4, 2e5), -2.0);
        }
    }
}
