//! A far quantile from weighed values in independent sets, with an interval from the scatter between the sets.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::order::Quantile;

/// Values and weights of several independent sets of the same size. A set's mean of the weights of the values above a limit
/// is an unbiased estimate of the chance to be above it.
#[derive(Debug, Clone)]
pub struct Weighed {
    /// Value, weight, set; values falling.
    falling: Vec<(f64, f64, usize)>,
    sets: usize,
    in_set: usize,
}

impl Weighed {
    /// Takes sets of pairs of value and weight.
    #[must_use]
    pub fn new(sets: &[Vec<(f64, f64)>]) -> Self {
        let mut falling: Vec<(f64, f64, usize)> =
            sets.iter().enumerate().flat_map(|(s, set)| set.iter().map(move |(value, weight)| (*value, *weight, s))).collect();
        falling.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.2.cmp(&b.2)));
        Self { falling, sets: sets.len(), in_set: sets.first().map_or(0, Vec::len) }
    }

    /// Largest value above which there is more than `chance`; `None` if even all values weigh less.
    #[must_use]
    pub fn exceeded_by(&self, chance: f64) -> Option<f64> {
        let all = (self.sets * self.in_set) as f64;
        let mut sum = 0.0;
        self.falling.iter().find_map(|(value, weight, _)| {
            sum += weight / all;
            (sum >= chance).then_some(*value)
        })
    }

    /// Standard error of the chance to be at or above a value, from the scatter between the sets.
    fn error_at(&self, value: f64) -> f64 {
        let mut chances = vec![0.0; self.sets];
        self.falling.iter().take_while(|v| v.0 >= value).for_each(|(_, weight, set)| chances[*set] += weight / self.in_set as f64);
        let n = self.sets as f64;
        let mean = chances.iter().sum::<f64>() / n;
        (chances.iter().map(|c| (c - mean).powi(2)).sum::<f64>() / (n - 1.0) / n).sqrt()
    }

    /// The value that is exceeded with a small chance and a two-sided interval for it (Woodruff, J. Am. Stat. Assoc. 47, 1952,
    /// with Student's factor for the number of sets). A bound beyond what was seen is NaN; `None` if the value itself is.
    #[must_use]
    pub fn far_quantile(&self, chance: f64, confidence: f64) -> Option<Quantile> {
        let factor = StudentsT::new(0.0, 1.0, self.sets as f64 - 1.0).ok()?.inverse_cdf(0.5 + confidence / 2.0);
        let value = self.exceeded_by(chance)?;
        let reach = factor * self.error_at(value);
        let bound = |chance: f64| if chance > 0.0 { self.exceeded_by(chance).unwrap_or(f64::NAN) } else { f64::NAN };
        Some(Quantile { value, low: bound(chance + reach), high: bound(chance - reach) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_equal_weights_give_the_order_statistic() {
        // 1..=1000 dealt out to ten sets evenly: no scatter between them.
        let sets: Vec<Vec<(f64, f64)>> = (0..10).map(|s| (0..100).map(|i| (f64::from(10 * i + s + 1), 1.0)).collect()).collect();
        let q = Weighed::new(&sets).far_quantile(0.05, 0.95).unwrap();
        assert_eq!(q.value, 951.0);
        assert!(q.low >= 945.0 && q.high <= 957.0, "{q:?}");
    }

    #[test]
    fn check_scatter_between_sets_widens_the_interval() {
        // One set in two has its large values twice as heavy: chances 0.04 and 0.08 above 95.
        let sets: Vec<Vec<(f64, f64)>> =
            (0..8).map(|s| (0..100).map(|i| (f64::from(i), if i >= 96 { 1.0 + f64::from(s % 2) } else { 1.0 })).collect()).collect();
        let of = Weighed::new(&sets);
        // By hand: deviation of (0.04, 0.08) x 4 is 0.02138, over sqrt(8) 0.00756.
        assert!((of.error_at(96.0) - 0.02 * (8.0_f64 / 7.0).sqrt() / 8.0_f64.sqrt()).abs() < 1e-12);
        let q = of.far_quantile(0.055, 0.95).unwrap();
        assert_eq!(q.value, 96.0);
        // Student's factor for 7 degrees of freedom is 2.3646 (tables): chances 0.0729 and 0.0371.
        assert_eq!((q.low, q.high), (94.0, 97.0));
    }

    #[test]
    fn check_bounds_beyond_what_was_seen_are_unknown() {
        let sets = vec![vec![(1.0, 0.5), (0.0, 0.1)], vec![(2.0, 0.0), (0.0, 0.1)]];
        let q = Weighed::new(&sets).far_quantile(0.1, 0.95).unwrap();
        assert_eq!(q.value, 1.0);
        assert!(q.high.is_nan() && q.low.is_nan());
        assert!(Weighed::new(&sets).far_quantile(0.5, 0.95).is_none());
    }
}
