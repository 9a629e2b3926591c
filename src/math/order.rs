//! Quantiles by order statistics, with bounds that need no assumption about the distribution.

use statrs::distribution::{Binomial, DiscreteCDF};

/// A quantile of a sample and a two-sided confidence interval for the quantile of its source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantile {
    /// Order statistic at the wanted rank.
    pub value: f64,
    /// Lower confidence bound, NaN if the sample is too small for one.
    pub low: f64,
    /// Upper confidence bound, NaN if the sample is too small for one.
    pub high: f64,
}

/// Quantile `p` of an ascending sample, with the order statistics that hold the true quantile
/// between them with at least `confidence` (David and Nagaraja, Order Statistics, 3rd ed., 7.1).
///
/// Returns `None` for an empty sample or `p` or `confidence` outside (0, 1).
#[must_use]
pub fn quantile(sorted: &[f64], p: f64, confidence: f64) -> Option<Quantile> {
    quantile_of_ranks(sorted.len(), |rank| sorted[rank - 1], p, confidence)
}

/// The same of a sample of `n` that gives the value at each rank from 1 to n.
#[must_use]
pub fn quantile_of_ranks(n: usize, value: impl Fn(usize) -> f64, p: f64, confidence: f64) -> Option<Quantile> {
    if n == 0 || !(p > 0.0 && p < 1.0) || !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let below = Binomial::new(p, n as u64).ok()?;
    let tail = (1.0 - confidence) / 2.0;
    // The number of values at or below the true quantile is binomial: rank r is a lower bound
    // when P(count < r) <= tail, rank s an upper one when P(count >= s) <= tail.
    let low_rank = largest(n, |r| r == 0 || below.cdf(r as u64 - 1) <= tail);
    let high_rank = largest(n, |s| s == 0 || 1.0 - below.cdf((n - s) as u64) <= tail);
    let at = |rank: usize| value(rank.clamp(1, n));
    Some(Quantile {
        // 1 - 0.95 is a little more than 0.05 in binary: rounding must not cost a rank.
        value: at((p * n as f64 - 1e-9).ceil() as usize),
        low: if low_rank == 0 { f64::NAN } else { at(low_rank) },
        high: if high_rank == 0 { f64::NAN } else { at(n + 1 - high_rank) },
    })
}

/// Largest k in 0..=n for which the falling condition holds, by bisection.
fn largest(n: usize, holds: impl Fn(usize) -> bool) -> usize {
    let (mut low, mut high) = (0, n + 1);
    while high - low > 1 {
        let mid = usize::midpoint(low, high);
        if holds(mid) { low = mid } else { high = mid }
    }
    low
}

/// Least sample size whose `order`-th extreme value bounds the quantile `coverage` from outside with
/// `confidence` (Wilks, Ann. Math. Stat. 12, 1941).
///
/// Returns `None` outside the open unit interval or when a million draws are not enough.
#[must_use]
pub fn wilks_size(coverage: f64, confidence: f64, order: u64) -> Option<u64> {
    if !(coverage > 0.0 && coverage < 1.0 && confidence > 0.0 && confidence < 1.0) || order == 0 {
        return None;
    }
    let holds = |n: u64| Binomial::new(1.0 - coverage, n).is_ok_and(|b| 1.0 - b.cdf(order - 1) >= confidence);
    let (mut low, mut high) = (0, 1_000_000);
    if !holds(high) {
        return None;
    }
    while high - low > 1 {
        let mid = u64::midpoint(low, high);
        if holds(mid) { high = mid } else { low = mid }
    }
    Some(high)
}
