//! The natural cubic spline as a linear map from the values at its knots, so that one factorisation
//! serves every profile on the same knots.

use nalgebra::{DMatrix, DVector};

/// Natural cubic spline over fixed knots; straight lines beyond the first and last knot.
#[derive(Debug, Clone)]
pub struct NaturalSpline {
    knots: Vec<f64>,
    /// Second derivatives at the knots per unit value at each knot: row i, column j.
    curvature: DMatrix<f64>,
}

/// What a point of the spline takes from each knot value.
#[derive(Debug, Clone, PartialEq)]
pub struct Weights {
    /// Value at the point: sum of `value[j] * y[j]`.
    pub value: Vec<f64>,
    /// Slope at the point: sum of `slope[j] * y[j]`.
    pub slope: Vec<f64>,
}

impl NaturalSpline {
    /// Factorises the spline on strictly increasing knots.
    ///
    /// Returns `None` for fewer than two knots or knots out of order (NaN counts as out of order).
    #[must_use]
    pub fn new(knots: &[f64]) -> Option<Self> {
        let n = knots.len();
        if n < 2 || !knots.windows(2).all(|w| w[1] > w[0]) {
            return None;
        }
        // Continuity of slope at the inner knots: h0 M0 + 2 (h0 + h1) M1 + h1 M2 = 6 (d1 - d0),
        // with M = 0 at both ends (de Boor, A Practical Guide to Splines, ch. IV).
        let mut system = DMatrix::identity(n, n);
        let mut right = DMatrix::zeros(n, n);
        for i in 1..n - 1 {
            let (h0, h1) = (knots[i] - knots[i - 1], knots[i + 1] - knots[i]);
            system[(i, i - 1)] = h0;
            system[(i, i)] = 2.0 * (h0 + h1);
            system[(i, i + 1)] = h1;
            right[(i, i - 1)] = 6.0 / h0;
            right[(i, i)] = -6.0 / h0 - 6.0 / h1;
            right[(i, i + 1)] = 6.0 / h1;
        }
        let curvature = system.lu().solve(&right)?;
        Some(Self { knots: knots.to_vec(), curvature })
    }

    /// The knots, increasing.
    #[must_use]
    pub fn knots(&self) -> &[f64] {
        &self.knots
    }

    /// Weights of every knot value in value and slope at `x`.
    #[must_use]
    pub fn weights(&self, x: f64) -> Weights {
        let n = self.knots.len();
        let inside = x.clamp(self.knots[0], self.knots[n - 1]);
        let i = self.knots[1..n - 1].partition_point(|&k| k <= inside);
        let h = self.knots[i + 1] - self.knots[i];
        let (a, b) = ((self.knots[i + 1] - inside) / h, (inside - self.knots[i]) / h);
        let (ca, cb) = ((a.powi(3) - a) * h * h / 6.0, (b.powi(3) - b) * h * h / 6.0);
        let (da, db) = ((1.0 - 3.0 * a * a) * h / 6.0, (3.0 * b * b - 1.0) * h / 6.0);
        let mut value: Vec<f64> = (0..n).map(|j| ca * self.curvature[(i, j)] + cb * self.curvature[(i + 1, j)]).collect();
        let mut slope: Vec<f64> = (0..n).map(|j| da * self.curvature[(i, j)] + db * self.curvature[(i + 1, j)]).collect();
        value[i] += a;
        value[i + 1] += b;
        slope[i] -= 1.0 / h;
        slope[i + 1] += 1.0 / h;
        for (v, s) in value.iter_mut().zip(&slope) {
            *v += (x - inside) * s;
        }
        Weights { value, slope }
    }
}

impl Weights {
    /// Value and slope for the knot values `y`; an empty `y` is a spline of zeros.
    #[must_use]
    pub fn apply(&self, y: &[f64]) -> (f64, f64) {
        let dot = |w: &[f64]| w.iter().zip(y).map(|(w, y)| w * y).sum();
        (dot(&self.value), dot(&self.slope))
    }

    /// The same weights seen from a basis: column m of `modes` holds the knot values of mode m.
    #[must_use]
    pub fn on_modes(&self, modes: &DMatrix<f64>) -> Self {
        let along = |w: &[f64]| (DVector::from_column_slice(w).transpose() * modes).iter().copied().collect();
        Self { value: along(&self.value), slope: along(&self.slope) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_a_straight_line_is_reproduced_inside_and_beyond() {
        let s = NaturalSpline::new(&[0.0, 1.0, 2.5, 4.0]).unwrap();
        let y: Vec<f64> = s.knots().iter().map(|x| 3.0 - 2.0 * x).collect();
        for x in [-2.0, 0.0, 0.3, 1.0, 2.4, 4.0, 9.0] {
            let (v, d) = s.weights(x).apply(&y);
            assert!((v - (3.0 - 2.0 * x)).abs() < 1e-12 && (d + 2.0).abs() < 1e-12, "at {x}: {v} {d}");
        }
    }

    #[test]
    fn check_three_knots_by_hand() {
        // Knots 0 1 2, values 0 1 0: M1 = -3, so s(x) = 1.5 x - 0.5 x^3 on the first bay.
        let s = NaturalSpline::new(&[0.0, 1.0, 2.0]).unwrap();
        let (v, d) = s.weights(0.5).apply(&[0.0, 1.0, 0.0]);
        assert!((v - 0.6875).abs() < 1e-14 && (d - 1.125).abs() < 1e-14);
    }

    #[test]
    fn two_knots_are_a_line_and_bad_knots_are_refused() {
        assert_eq!(NaturalSpline::new(&[0.0, 2.0]).unwrap().weights(1.0).apply(&[0.0, 4.0]), (2.0, 2.0));
        assert!(NaturalSpline::new(&[1.0]).is_none());
        assert!(NaturalSpline::new(&[0.0, f64::NAN]).is_none());
        assert!(NaturalSpline::new(&[0.0, 0.0, 1.0]).is_none());
    }
}
