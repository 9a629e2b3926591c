//! Points that fill a cube more evenly than random ones, scrambled so that each of them is still uniform by itself.
//!
//! Sobol's sequence with the direction numbers of Joe and Kuo (SIAM J. Sci. Comput. 30, 2008), random linear scrambling and
//! digital shift (Matousek, J. Complexity 14, 1998): several scrambled sets are independent of each other, so their scatter says
//! how far a mean over them is from the truth.

use sobol::Sobol;
use sobol::params::JoeKuoD6;

/// log2 of the most points of a set.
pub const DOUBLINGS_AT_MOST: usize = 16;

/// Dimensions of the table; numbers beyond it are drawn at random.
const EVEN_AT_MOST: usize = 1000;

/// Direction numbers, dimension by dimension.
#[derive(Debug, Clone)]
pub struct Directions(Vec<Vec<u64>>);

impl Directions {
    /// Of so many dimensions, the first 1,000 of them at most.
    #[must_use]
    pub fn new(dimensions: usize) -> Self {
        let even = dimensions.min(EVEN_AT_MOST);
        let table = if even <= 100 { JoeKuoD6::minimal() } else { JoeKuoD6::standard() };
        Self(Sobol::<f64>::init_direction_vals::<u32>(even, DOUBLINGS_AT_MOST, &table))
    }

    /// A set of up to 2^[`DOUBLINGS_AT_MOST`] points, scrambled by random words.
    pub fn scramble(&self, mut word: impl FnMut() -> u64) -> Scrambled {
        let mut one = |numbers: &Vec<u64>| {
            // Column i of a lower triangular matrix over 0 and 1, ones on its diagonal.
            let columns: Vec<u64> = (0..u64::BITS).map(|i| (1 << (63 - i)) | (word() & ((1_u64 << (63 - i)) - 1))).collect();
            let times = |v: &u64| (0..u64::BITS).filter(|i| v >> (63 - i) & 1 == 1).fold(0, |sum, i| sum ^ columns[i as usize]);
            (numbers.iter().map(times).collect(), word())
        };
        Scrambled(self.0.iter().map(&mut one).collect())
    }
}

/// A scrambled set: direction numbers and shift of each dimension.
#[derive(Debug, Clone)]
pub struct Scrambled(Vec<(Vec<u64>, u64)>);

impl Scrambled {
    /// One coordinate of a point as a word of 64 bits; `None` beyond the table.
    #[must_use]
    pub fn word(&self, point: u64, dimension: usize) -> Option<u64> {
        let (numbers, shift) = self.0.get(dimension)?;
        let (mut word, mut left) = (*shift, point);
        while left != 0 {
            word ^= numbers[left.trailing_zeros() as usize];
            left &= left - 1;
        }
        Some(word)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn words(seed: u64) -> impl FnMut() -> u64 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        move || rng.next_u64()
    }

    /// Of 2^k points each interval of length 2^-k of each axis holds one, scrambled or not (Sobol, 1967).
    #[test]
    fn check_each_axis_is_filled_evenly() {
        let set = Directions::new(300).scramble(words(5));
        for dimension in [0, 1, 2, 98, 299] {
            let mut seen: Vec<u64> = (0..256).map(|i| set.word(i, dimension).unwrap() >> 56).collect();
            seen.sort_unstable();
            assert!(seen.into_iter().eq(0..256), "axis {dimension}");
        }
        assert_eq!(set.word(0, 300), None);
    }

    /// The first points of the first three axes: 0, 1/2, then quarters (Joe and Kuo's table, from memory; Bratley and Fox 1988).
    #[test]
    fn ref_the_unscrambled_points_are_sobols() {
        let Directions(numbers) = Directions::new(3);
        let point = |i: u64| -> Vec<f64> {
            let of = |v: &Vec<u64>| (0..4).filter(|k| i >> k & 1 == 1).fold(0, |sum, k| sum ^ v[k]) as f64 / 2.0_f64.powi(64);
            numbers.iter().map(of).collect()
        };
        assert_eq!([point(1), point(2), point(3)], [[0.5, 0.5, 0.5], [0.25, 0.75, 0.75], [0.75, 0.25, 0.25]]);
    }

    /// The mean over a smooth function: the scatter between scrambled sets is far below that of random points, 1/(12 n), and the
    /// sets' mean is right within it.
    #[test]
    fn check_scrambled_means_are_right_and_close() {
        let (sets, points, axes) = (64, 256, 6);
        let directions = Directions::new(axes);
        let mean = |seed: u64| {
            let set = directions.scramble(words(seed));
            let of = |i: u64| (0..axes).map(|d| (set.word(i, d).unwrap() as f64 / 2.0_f64.powi(64)).powi(2)).sum::<f64>();
            (0..points).map(of).sum::<f64>() / points as f64
        };
        let means: Vec<f64> = (0..sets).map(|s| mean(100 + s)).collect();
        let n = sets as f64;
        let centre = means.iter().sum::<f64>() / n;
        let variance = means.iter().map(|m| (m - centre).powi(2)).sum::<f64>() / (n - 1.0);
        let of_random = axes as f64 * (1.0 / 5.0 - 1.0 / 9.0) / points as f64;
        assert!(variance < 1e-3 * of_random, "{variance:e} of {of_random:e}");
        assert!((centre - axes as f64 / 3.0).abs() < 4.0 * (variance / n).sqrt(), "{centre}");
    }
}
