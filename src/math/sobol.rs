//! Shares of a variance: first-order and total Sobol indices from a design of two samples and their mixtures.

/// An estimate with its standard error.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Estimate {
    /// The estimate. Scatter may put it a little below 0 or above 1.
    pub value: f64,
    /// Standard error.
    pub error: f64,
}

/// Factor of the standard error for a two-sided 95 % interval of a normal estimate.
const TWO_SIDED_95: f64 = 1.959_963_984_540_054;

impl Estimate {
    /// Two-sided 95 % confidence interval (normal approximation).
    #[must_use]
    pub fn interval(&self) -> (f64, f64) {
        (self.value - TWO_SIDED_95 * self.error, self.value + TWO_SIDED_95 * self.error)
    }
}

/// Shares of one input in the variance of an output.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Share {
    /// By itself: the part of the variance that vanishes if this input is known.
    pub first: Estimate,
    /// With all its interactions: the part that stays if all others are known.
    pub total: Estimate,
}

/// Indices of one input from the output at sample A, at sample B, and at A with this input taken from B.
///
/// First order: mean of `f_B (f_AB - f_A) / V` with the output counted from its mean (Saltelli et al., Computer Physics
/// Communications 181, 2010, table 2, formula b). Total: mean of `(f_A - f_AB)^2 / 2V` (Jansen, ibid. 117, 1999). V is the
/// variance over both samples. Standard errors by the delta method, the scatter of V included. An output that does not vary
/// gives shares of 0.
#[must_use]
pub fn share(at_a: &[f64], at_b: &[f64], at_ab: &[f64]) -> Share {
    let n = at_a.len() as f64;
    let mean = (at_a.iter().sum::<f64>() + at_b.iter().sum::<f64>()) / (2.0 * n);
    let rows = || at_a.iter().zip(at_b).zip(at_ab).map(|((a, b), ab)| (a - mean, b - mean, ab - mean));
    let variance = |(a, b, _): (f64, f64, f64)| f64::midpoint(a * a, b * b);
    let v = rows().map(variance).sum::<f64>() / n;
    if !(v > 0.0) {
        let none = Estimate { value: 0.0, error: 0.0 };
        return Share { first: none, total: none };
    }
    let estimate = |of: fn((f64, f64, f64)) -> f64| {
        let value = rows().map(of).sum::<f64>() / n / v;
        // What one row adds to the ratio of the two means, to first order.
        let influence = |row| (of(row) - value * variance(row)) / v;
        let square = rows().map(|row| influence(row).powi(2)).sum::<f64>() / (n - 1.0);
        Estimate { value, error: (square / n).sqrt() }
    };
    Share { first: estimate(|(a, b, ab)| b * (ab - a)), total: estimate(|(a, _, ab)| 0.5 * (a - ab).powi(2)) }
}
