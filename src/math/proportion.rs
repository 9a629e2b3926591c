//! Confidence limits of a proportion counted in a sample.

use statrs::distribution::{Beta, ContinuousCDF};

/// Exact two-sided limits of a proportion (Clopper and Pearson, Biometrika 26, 1934): the true
/// proportion lies between them with at least `confidence`.
///
/// Returns `None` when `hits > n`, `n == 0` or `confidence` is outside (0, 1).
#[must_use]
pub fn clopper_pearson(hits: u64, n: u64, confidence: f64) -> Option<(f64, f64)> {
    if n == 0 || hits > n || !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let tail = (1.0 - confidence) / 2.0;
    Some((lower_limit(hits, n, tail)?, 1.0 - lower_limit(n - hits, n, tail)?))
}

/// One-sided lower limit of a proportion: the true one is above it with confidence `1 - tail`.
#[must_use]
pub fn lower_limit(hits: u64, n: u64, tail: f64) -> Option<f64> {
    if hits == 0 {
        return Some(0.0);
    }
    let beta = Beta::new(hits as f64, (n - hits) as f64 + 1.0).ok()?;
    // Bisection on the distribution function: its inverse is not accurate enough for large samples.
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..200 {
        let mid = f64::midpoint(low, high);
        if beta.cdf(mid) < tail { low = mid } else { high = mid }
    }
    Some(f64::midpoint(low, high))
}
