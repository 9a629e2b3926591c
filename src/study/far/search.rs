//! Finds the ways to the bad end of a reading, then weighs how many installations go them.
//!
//! Installations are drawn from a mixture of leanings and of plain numbers (importance sampling; Owen and Zhou, J. Am. Stat.
//! Assoc. 95, 2000) on scrambled Sobol points. Each has a weight that takes the leaning back. The mixture is found in rounds,
//! each on what the one before showed; the bounds come from the scatter between sets that are scrambled afterwards,
//! independently, so they hold whatever the rounds overlooked.

use rayon::prelude::*;

use super::divide::divide;
use super::mixture::{Mixture, Part, Point, Points, fit};
use crate::math::lanes::{LANES, Lane, ZERO};
use crate::math::order::Quantile;
use crate::math::scrambled::Directions;
use crate::math::weighed::Weighed;
use crate::structure::NotConverged;
use crate::study::batch::Memory;
use crate::study::engine::words;
use crate::study::sampling::{middled, own};

/// One machine in so many.
pub const ONE_IN: [u32; 2] = [100, 1000];

/// A round of looking for the ways to the bad end: its installations, up to which chances it looks, and with what share.
type Round = (u64, &'static [(f64, f64)]);

/// The last round has the most installations, as both ends are drawn from what it finds; one machine in a thousand needs the fewer
/// of them.
const ROUNDS: [Round; 4] =
    [(2048, &[(0.1, 1.0)]), (2048, &[(0.02, 1.0)]), (4096, &[(0.01, 1.0), (0.001, 1.0)]), (8192, &[(0.01, 4.0), (0.001, 1.0)])];

/// Independently scrambled sets, and installations of each.
const SETS: u64 = 16;
const IN_SET: u64 = 256;

/// Installations computed for one reading: to find the ways, and to weigh them.
pub const FAR_EVALUATIONS: [u64; 2] = [ROUNDS[0].0 + ROUNDS[1].0 + ROUNDS[2].0 + ROUNDS[3].0, SETS * IN_SET];

/// Confidence of the bounds.
const CONFIDENCE: f64 = 0.95;

/// Sets up to here belong to rounds, later ones to the ends.
const OF_ENDS: u64 = 1 << 16;

/// Streams of random words that no installation of a study uses: scrambling, and axes beyond the table.
const FIRST: u64 = 1 << 62;
const BEYOND: u64 = FIRST + (1 << 61);

/// A badness over uniform numbers counted from their middle, installations side by side.
pub(super) struct Search<F> {
    numbers: usize,
    table: Directions,
    badness: F,
}

/// One installation.
struct Drawn {
    badness: f64,
    point: Point,
}

impl<F: Fn(&mut Memory, &[Lane]) -> Result<Lane, NotConverged> + Sync> Search<F> {
    pub(super) fn new(numbers: usize, badness: F) -> Self {
        // One axis more: it chooses the part of the mixture.
        Self { numbers, table: Directions::new(numbers + 1), badness }
    }

    /// The mixture that finds the bad end.
    pub(super) fn mixture(&self, seed: u64) -> Result<Mixture, NotConverged> {
        let mut mixture = Mixture::new(self.numbers, Vec::new());
        for (round, (count, towards)) in (0..).zip(ROUNDS) {
            let mut drawn = self.drawn((seed, round), count, &mixture)?;
            drawn.sort_by(|a, b| b.badness.total_cmp(&a.badness));
            let mut parts: Vec<Part> = towards.iter().flat_map(|(chance, share)| leanings(&drawn, *chance, *share)).collect();
            if round + 1 < ROUNDS.len() as u64 {
                parts.extend(parts.iter().map(Part::mirrored).collect::<Vec<_>>());
            }
            mixture = Mixture::new(self.numbers, parts);
        }
        Ok(mixture)
    }

    /// Badness that one in each of [`ONE_IN`] reaches, weighed by a mixture.
    pub(super) fn ends(&self, mixture: &Mixture, seed: u64) -> Result<[Option<Quantile>; 2], NotConverged> {
        let one = |set: u64| -> Result<Vec<(f64, f64)>, NotConverged> {
            Ok(self.drawn((seed, set), IN_SET, mixture)?.iter().map(|d| (d.badness, d.point.1)).collect())
        };
        let weighed = Weighed::new(&(OF_ENDS..OF_ENDS + SETS).map(one).collect::<Result<Vec<_>, _>>()?);
        Ok(ONE_IN.map(|n| weighed.far_quantile(1.0 / f64::from(n), CONFIDENCE)))
    }

    /// Installations of a mixture on a scrambled set, its most even axes to the numbers that are leaned most.
    fn drawn(&self, (seed, set): (u64, u64), count: u64, mixture: &Mixture) -> Result<Vec<Drawn>, NotConverged> {
        let scrambled = self.table.scramble(words(seed, FIRST + set));
        let order = mixture.most_leaned();
        let lanes_of = |memory: &mut Memory, batch: u64| {
            let mut beyond = words(seed, BEYOND + (set << 32) + batch);
            let mut at = |point: u64, axis: usize| middled(scrambled.word(point, axis).unwrap_or_else(&mut beyond));
            let mut lanes = vec![ZERO; self.numbers];
            for (lane, point) in (batch * LANES as u64..).take(LANES).enumerate() {
                let tilt = mixture.part_at(at(point, 0) + 0.5);
                order.iter().enumerate().for_each(|(axis, &j)| lanes[j][lane] = tilt.lean(j, at(point, axis + 1)));
            }
            let badness = (self.badness)(memory, &lanes)?;
            let weights = mixture.weights(&lanes);
            let one = |i: usize| Drawn { badness: badness[i], point: (own(&lanes, i), weights[i]) };
            Ok((0..LANES).map(one).collect::<Vec<_>>())
        };
        let found =
            (0..count / LANES as u64).into_par_iter().map_init(Memory::default, lanes_of).collect::<Result<Vec<_>, NotConverged>>()?;
        Ok(found.into_iter().flatten().collect())
    }
}

/// Leanings towards what is worse than all but a small chance, with their share together. What is drawn falls in badness.
fn leanings(drawn: &[Drawn], chance: f64, share: f64) -> Vec<Part> {
    let wanted = chance * drawn.len() as f64;
    let mut sum = 0.0;
    let beyond = |d: &&Drawn| {
        sum += d.point.1;
        sum <= wanted
    };
    let bad = Points::new(drawn.iter().take_while(beyond).map(|d| d.point.clone()).collect());
    fit(&divide(&bad), &bad).into_iter().map(|part| Part { share: share * part.share, ..part }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::normal::normal_quantiles;

    /// Sum of normal numbers of variance 1 together.
    fn sum(slopes: &[f64], from_middle: &[Lane]) -> Lane {
        let norm = slopes.iter().map(|s| s * s).sum::<f64>().sqrt();
        let (mut total, mut numbers) = (ZERO, from_middle[..slopes.len()].to_vec());
        normal_quantiles(&mut numbers);
        for (slope, z) in slopes.iter().zip(numbers) {
            (0..LANES).for_each(|i| total[i] += slope / norm * z[i]);
        }
        total
    }

    /// How often in 1,000 repeats the bounds hold the truth, and the scatter of the estimates: mixtures of 20 seeds, each weighed
    /// 50 times.
    fn repeated(numbers: usize, badness: impl Fn(&[Lane]) -> Lane + Sync, truth: [f64; 2]) -> [(u32, f64); 2] {
        let search = Search::new(numbers, |_: &mut Memory, q: &[Lane]| Ok(badness(q)));
        let mut found = [(0, 0.0); 2];
        for seed in 0..20 {
            let mixture = search.mixture(seed).unwrap();
            for again in 0..50 {
                let ends = search.ends(&mixture, 1000 * (seed + 1) + again).unwrap();
                for ((held, square), (end, truth)) in found.iter_mut().zip(ends.iter().zip(truth)) {
                    let q = end.unwrap();
                    *held += u32::from(q.low <= truth && truth <= q.high);
                    *square += (q.value - truth).powi(2) / 1000.0;
                }
            }
        }
        found.map(|(held, square)| (held, square.sqrt()))
    }

    /// Standard error of counting the same number of draws: sqrt(p (1 - p) / n) over the density.
    fn counted(chance: f64, density: f64) -> f64 {
        (chance * (1.0 - chance) / FAR_EVALUATIONS[1] as f64).sqrt() / density
    }

    /// Quantiles of the normal distribution (tables): 2.3263 and 3.0902; density there 0.026652 and 0.0033671.
    #[test]
    fn ref_bounds_hold_the_quantile_of_a_normal_sum_in_95_of_100_repeats() {
        let slopes = [3.0, -2.0, 1.0, 1.0, 0.5, 0.0, 0.3, -0.2];
        let found = repeated(8, |q| sum(&slopes, q), [2.326_347_874, 3.090_232_306]);
        assert!(found.iter().all(|(held, _)| (930..=970).contains(held)), "{found:?}");
        assert!(found[0].1 < 0.3 * counted(0.01, 0.026_652) && found[1].1 < 0.1 * counted(0.001, 0.003_367_1), "{found:?}");
    }

    /// Two ways, one of them rare: quantiles of the larger of x and -x - 0.4, by bisection on the distribution function.
    #[test]
    fn ref_bounds_hold_the_quantile_where_a_second_way_is_rare() {
        use statrs::distribution::{ContinuousCDF, Normal};
        let chance = |v: f64| Normal::standard().sf(v) + Normal::standard().sf(v + 0.4);
        let quantile = |p: f64| {
            let (mut low, mut high) = (1.0, 6.0);
            for _ in 0..60 {
                let mid = f64::midpoint(low, high);
                if chance(mid) > p { low = mid } else { high = mid }
            }
            low
        };
        let two = |q: &[Lane]| Lane(sum(&[1.0, 1.0, -1.0, 0.7, 0.5, 0.4], q).map(|x| x.max(-x - 0.4)));
        let found = repeated(6, two, [quantile(0.01), quantile(0.001)]);
        assert!(found.iter().all(|(held, _)| (930..=970).contains(held)), "{found:?}");
    }

    #[test]
    fn check_what_does_not_vary_has_its_value_at_both_ends() {
        let search = Search::new(3, |_: &mut Memory, _: &[Lane]| Ok(Lane([7.0; LANES])));
        let ends = search.ends(&search.mixture(1).unwrap(), 1).unwrap();
        assert!(ends.iter().all(|q| q.unwrap().value == 7.0), "{ends:?}");
    }

    /// More numbers than the table has axes: the rest is random, and the answer is the same.
    #[test]
    fn check_numbers_beyond_the_table_are_drawn_at_random() {
        let slopes: Vec<f64> = (0..1100).map(|j| if j % 10 == 0 { 1.0 } else { 0.01 }).collect();
        let search = Search::new(1100, |_: &mut Memory, q: &[Lane]| Ok(sum(&slopes, q)));
        let ends = search.ends(&search.mixture(3).unwrap(), 3).unwrap();
        assert!((ends[0].unwrap().value - 2.326).abs() < 0.1, "{ends:?}");
    }
}
