//! How values are spread over any number of draws, in memory that does not grow with them.

use super::lanes::{EIGHT, EIGHT_ZEROS};
use super::order::{Quantile, quantile_of_ranks};

/// Values kept one by one. Beyond so many only their number in narrow classes is kept.
pub const KEPT: usize = 1 << 17;

/// Classes to each doubling of a value: 1.2e-4 of it wide at most.
const CLASSES: usize = 1 << 13;

/// Pages there may be: signs and exponents.
const PAGES: usize = 1 << 12;

/// Bits of a double that tell values of one class apart.
const WITHIN: u32 = 52 - CLASSES.trailing_zeros();

/// Values below this count as 0, so that a few zeros do not open a page each.
const LEAST: f64 = 1e-30;

/// Values with their order statistics: exact up to [`KEPT`] values; beyond, read from classes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Distribution {
    kept: Vec<f64>,
    sorted: bool,
    /// Classes stand on pages, one to each doubling; a number more than the place of a page's counts, 0 without a page.
    pages: Vec<u16>,
    counts: Vec<u64>,
    count: u64,
    low: f64,
    high: f64,
    mean: f64,
    /// Sum of squared deviations from the mean, lot by lot (Chan, Golub and LeVeque, The American Statistician 37, 1983).
    squares: f64,
}

/// Number of a value's class, rising with the value.
fn class(value: f64) -> u64 {
    let bits = if value.abs() < LEAST { 0 } else { value.to_bits() };
    let rising = if bits >> 63 == 1 { !bits } else { bits | (1 << 63) };
    rising >> WITHIN
}

/// Least value of a class.
fn least(class: u64) -> f64 {
    let rising = class << WITHIN;
    f64::from_bits(if rising >> 63 == 1 { rising & !(1 << 63) } else { !rising })
}

/// Sum over values in eight sums that do not wait for each other.
fn side_by_side(values: &[f64], of: impl Fn(f64) -> f64) -> f64 {
    let mut sums = EIGHT_ZEROS;
    let (eights, rest) = values.as_chunks::<EIGHT>();
    for eight in eights {
        sums.iter_mut().zip(eight).for_each(|(sum, v)| *sum += of(*v));
    }
    sums.iter_mut().zip(rest).for_each(|(sum, v)| *sum += of(*v));
    sums.iter().sum()
}

impl Distribution {
    /// Takes values in. NaN counts as the largest one.
    pub fn extend(&mut self, values: &[f64]) {
        let Some(first) = values.first() else { return };
        if self.count == 0 {
            (self.low, self.high) = (*first, *first);
        }
        for &value in values {
            self.low = if value < self.low { value } else { self.low };
            self.high = if value > self.high || value.is_nan() { value } else { self.high };
        }
        self.count_moments(values);
        if self.pages.is_empty() {
            self.kept.extend_from_slice(values);
            self.sorted = false;
            if self.kept.len() > KEPT {
                let kept = std::mem::take(&mut self.kept);
                self.classify(&kept);
            }
        } else {
            self.classify(values);
        }
    }

    /// The values' own mean and squared deviations, then both lots as one.
    fn count_moments(&mut self, values: &[f64]) {
        let (before, own) = (self.count as f64, values.len() as f64);
        let mean = side_by_side(values, |v| v) / own;
        let squares = side_by_side(values, |v| (v - mean) * (v - mean));
        let off = mean - self.mean;
        self.count += values.len() as u64;
        let all = self.count as f64;
        self.mean += off * own / all;
        self.squares += squares + off * off * before * own / all;
    }

    fn classify(&mut self, values: &[f64]) {
        self.pages.resize(PAGES, 0);
        for value in values {
            let class = class(*value) as usize;
            let page = &mut self.pages[class / CLASSES];
            if *page == 0 {
                self.counts.resize(self.counts.len() + CLASSES, 0);
                *page = (self.counts.len() / CLASSES) as u16;
            }
            self.counts[(usize::from(*page) - 1) * CLASSES + class % CLASSES] += 1;
        }
    }

    /// Pages in rising order: their first class, and the counts of their classes.
    fn pages(&self) -> impl Iterator<Item = (u64, &[u64])> {
        let there = self.pages.iter().enumerate().filter(|(_, page)| **page > 0);
        there.map(|(number, page)| ((number * CLASSES) as u64, &self.counts[(usize::from(*page) - 1) * CLASSES..][..CLASSES]))
    }

    /// Puts the kept values in order; ranks are read afterwards.
    pub fn sort(&mut self) {
        self.kept.sort_by(f64::total_cmp);
        self.sorted = true;
    }

    /// Number of values.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Least value; 0 without values.
    #[must_use]
    pub fn low(&self) -> f64 {
        self.low
    }

    /// Largest value; 0 without values.
    #[must_use]
    pub fn high(&self) -> f64 {
        self.high
    }

    /// Arithmetic mean, NaN without values.
    #[must_use]
    pub fn mean(&self) -> f64 {
        if self.count == 0 { f64::NAN } else { self.mean }
    }

    /// Standard deviation, NaN with fewer than two values.
    #[must_use]
    pub fn deviation(&self) -> f64 {
        (self.squares / (self.count as f64 - 1.0)).sqrt()
    }

    /// Values in rising order with how many there are of each: one each up to [`KEPT`] values, then one a class.
    pub fn rising(&self) -> impl Iterator<Item = (f64, u64)> + '_ {
        let classes = self.pages().flat_map(|(first, counts)| {
            let full = counts.iter().enumerate().filter(|(_, n)| **n > 0);
            full.map(move |(i, n)| (f64::midpoint(least(first + i as u64), least(first + i as u64 + 1)), *n))
        });
        self.kept.iter().map(|v| (*v, 1)).chain(classes)
    }

    /// Value of rank `rank` (1 is the least), or the nearest there is; between the ends of a class in proportion.
    fn at(&self, rank: usize) -> f64 {
        let rank = (rank as u64).clamp(1, self.count);
        if self.pages.is_empty() {
            return self.kept[rank as usize - 1];
        }
        let mut before = 0;
        for (first, counts) in self.pages() {
            let on_page: u64 = counts.iter().sum();
            if before + on_page < rank {
                before += on_page;
                continue;
            }
            for (i, n) in counts.iter().enumerate() {
                if before + n >= rank {
                    let class = first + i as u64;
                    let part = ((rank - before) as f64 - 0.5) / *n as f64;
                    let (from, to) = (least(class), least(class + 1));
                    return (from + part * (to - from)).clamp(self.low, self.high);
                }
                before += n;
            }
        }
        self.high
    }

    /// Quantile `p` with the order statistics that hold the true one between them (see [`super::order::quantile`]); `None`
    /// without values, before [`Self::sort`], or outside (0, 1).
    #[must_use]
    pub fn quantile(&self, p: f64, confidence: f64) -> Option<Quantile> {
        let ranked = self.sorted || !self.pages.is_empty();
        if self.count == 0 || !ranked {
            return None;
        }
        quantile_of_ranks(self.count as usize, |rank| self.at(rank), p, confidence)
    }
}

#[cfg(test)]
mod tests {
    use super::super::order::quantile;
    use super::*;

    /// Numbers of a plain recursion, so that both ways see the same.
    fn numbers(count: usize) -> Vec<f64> {
        let mut state = 12_345_u64;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        (0..count).map(|_| (3.0 * next()).exp() - 2.0).collect()
    }

    fn of(values: &[f64]) -> Distribution {
        let mut d = Distribution::default();
        values.chunks(777).for_each(|lot| d.extend(lot));
        d.sort();
        d
    }

    #[test]
    fn check_kept_values_give_the_order_statistics_themselves() {
        let mut values = numbers(5000);
        let d = of(&values);
        values.sort_by(f64::total_cmp);
        for p in [0.001, 0.05, 0.5, 0.99] {
            assert_eq!(d.quantile(p, 0.95), quantile(&values, p, 0.95));
        }
        assert_eq!((d.low(), d.high(), d.count()), (values[0], values[4999], 5000));
    }

    #[test]
    fn check_classes_give_them_within_their_width_in_less_memory() {
        let mut values = numbers(4 * KEPT);
        let d = of(&values);
        values.sort_by(f64::total_cmp);
        for p in [1e-4, 0.01, 0.3, 0.5, 0.9, 0.999] {
            let (rough, exact) = (d.quantile(p, 0.95).unwrap(), quantile(&values, p, 0.95).unwrap());
            for (a, b) in [(rough.value, exact.value), (rough.low, exact.low), (rough.high, exact.high)] {
                assert!((a - b).abs() <= 1.3e-4 * b.abs(), "{p}: {a} against {b}");
            }
        }
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let deviation = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (values.len() as f64 - 1.0)).sqrt();
        assert!((d.mean() - mean).abs() < 1e-12 * mean && (d.deviation() - deviation).abs() < 1e-10 * deviation);
        assert_eq!(d.rising().map(|(_, n)| n).sum::<u64>(), values.len() as u64);
        assert!(d.rising().map(|(v, _)| v).is_sorted());
        assert!(d.kept.is_empty() && d.counts.len() < 80 * CLASSES);
    }

    #[test]
    fn check_classes_rise_with_the_values_through_zero() {
        let values = [-1e300, -5.0, -4.9, -1e-9, -1e-31, 0.0, 1e-9, 4.9, 5.0, 1e300];
        assert!(values.windows(2).all(|w| class(w[0]) <= class(w[1])));
        for v in values.iter().filter(|v| v.abs() > LEAST) {
            let c = class(*v);
            assert!(least(c) <= *v && *v <= least(c + 1), "{v}");
        }
    }
}
