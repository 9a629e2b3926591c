//! Tail quantiles: what one machine in 100 and one in 1,000 reaches, or is beyond, with 95 % confidence intervals.
//!
//! They are counted among independent plain draws: an order statistic, between two others that hold the true quantile in at
//! least 95 of 100 studies whatever the distribution is (`math/order.rs`). Nothing is searched for and nothing weighted, so there
//! is no failure region to overlook: a float that meets its stop in one machine of 2,000 is drawn as often as it happens.
//! (Importance sampling needs fewer draws, but its interval holds the truth only where its search met every such region.)
//! Counted are the study's own draws and, where one takes microseconds, those that follow them.
//!
//! `tests/calibration/tail_quantiles.rs` measures how often the intervals hold the truth.

use super::tally::Tally;
use crate::draw::Draws;
use crate::draw::engine::{fill_batches, of_batches};
use crate::evaluate::Evaluator;
use crate::evaluate::Reading;
use crate::evaluate::service_states;
use crate::math::Distribution;
use crate::math::distribution::KEPT;
use crate::math::order::Quantile;
use crate::structure::NotConverged;
use crate::sweep::batch::{Batch, Memory};

/// One machine in this many.
pub const ONE_IN: [u32; 2] = [100, 1000];

/// Draws that are counted at least, where a machine's installations are made by its map: all of them are kept, so ranks are exact.
/// One machine in 1,000 is then the 131st of them, and the interval reaches from one in about 1,200 to one in 840.
const COUNTED_AT_LEAST: u64 = KEPT as u64;

/// Draws are carried on with while no more of them than this were evaluated one by one (floats on stops, slots at their ends): each
/// takes as long as some fifty on the map. What stops the counting is hardly a matter of the quantiles.
const ONE_BY_ONE: usize = 1 << 13;

/// Draws between two looks at that.
const BETWEEN_LOOKS: u64 = 8192;

/// Confidence of the intervals.
const CONFIDENCE: f64 = 0.95;

/// By which method a tail quantile was found, and what it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TailQuantile {
    /// An order statistic of plain draws and its distribution-free interval.
    Counted {
        /// The quantile; both ends of its interval are numbers.
        quantile: Quantile,
        /// Draws among which it was counted.
        draws: u64,
    },
    /// It cannot be given: an end of the interval would lie beyond the worst draw.
    TooFewDraws {
        /// Draws that were counted.
        draws: u64,
        /// Draws that suffice.
        needed: u64,
    },
}

impl TailQuantile {
    /// Draws that were counted for it.
    #[must_use]
    pub fn draws(&self) -> u64 {
        match self {
            Self::Counted { draws, .. } | Self::TooFewDraws { draws, .. } => *draws,
        }
    }
}

/// The tail of one reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Tail {
    /// What is read.
    pub reading: Reading,
    /// What one machine in each number of [`ONE_IN`] reaches or is beyond, on the bad side.
    pub quantiles: [TailQuantile; 2],
}

/// Tails of readings, counted among a study's draws and those that follow them.
///
/// # Errors
/// An equilibrium was not found: the number of the installation.
pub fn tails(evaluator: &Evaluator<'_>, counted: &Tally, readings: &[Reading], seed: u64) -> Result<Vec<Tail>, (u64, NotConverged)> {
    let mut distributions: Vec<Distribution> = readings.iter().map(|r| counted.of(*r).clone()).collect();
    carry_on(evaluator, counted.draws(), readings, &mut distributions, seed)?;
    distributions.iter_mut().for_each(Distribution::sort);
    let of = |(reading, distribution): (&Reading, &Distribution)| Tail {
        reading: *reading,
        quantiles: ONE_IN.map(|one_in| tail_quantile(*reading, distribution, 1.0 / f64::from(one_in))),
    };
    Ok(readings.iter().zip(&distributions).map(of).collect())
}

/// Takes in the installations from number `first` on, as many as pay.
fn carry_on(
    evaluator: &Evaluator<'_>,
    first: u64,
    readings: &[Reading],
    distributions: &mut [Distribution],
    seed: u64,
) -> Result<(), (u64, NotConverged)> {
    let draws = Draws::new(evaluator.plan(), evaluator.machine.rails());
    let service = service_states(evaluator.plan());
    let batch = Batch::new(evaluator, &draws, &service).map_err(|e| (first, e))?;
    if !batch.is_fast() {
        return Ok(());
    }
    let kinds = readings.len();
    let mut values = vec![0.0; BETWEEN_LOOKS as usize * kinds];
    let (mut done, mut one_by_one) = (first, 0);
    while done < COUNTED_AT_LEAST && one_by_one <= ONE_BY_ONE {
        let count = BETWEEN_LOOKS.min(COUNTED_AT_LEAST - done);
        let values = &mut values[..count as usize * kinds];
        let lots = fill_batches(done, values, kinds, seed, Memory::default, |memory, start, rngs, to| {
            draws.numbers(rngs, &mut memory.numbers);
            let outcomes = batch.run(&memory.numbers, rngs.len(), &mut memory.work).map_err(|(i, e)| (start + i as u64, e))?;
            for (reading, column) in readings.iter().zip(to.chunks_mut(rngs.len())) {
                column.iter_mut().zip(outcomes).for_each(|(value, outcome)| *value = reading.of(outcome));
            }
            Ok(memory.work.one_by_one())
        });
        one_by_one += lots.into_iter().sum::<Result<usize, (u64, NotConverged)>>()?;
        for (k, distribution) in distributions.iter_mut().enumerate() {
            distribution.extend(&of_batches(values, kinds, k));
        }
        done += count;
    }
    Ok(())
}

/// Draws of which the worst is beyond what one in 1/`chance` reaches, surely enough for one end of the interval.
fn needed(chance: f64) -> u64 {
    (((1.0 - CONFIDENCE) / 2.0).ln() / (-chance).ln_1p()).ceil() as u64
}

/// What is beyond a small chance, on the bad side of a reading.
fn tail_quantile(reading: Reading, distribution: &Distribution, chance: f64) -> TailQuantile {
    let p = if reading.more_is_better() { chance } else { 1.0 - chance };
    let draws = distribution.count();
    match distribution.quantile(p, CONFIDENCE) {
        Some(quantile) if quantile.low <= quantile.value && quantile.value <= quantile.high => TailQuantile::Counted { quantile, draws },
        _ => TailQuantile::TooFewDraws { draws, needed: needed(chance) },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counted(n: u32, reading: Reading, chance: f64) -> TailQuantile {
        let mut distribution = Distribution::default();
        distribution.extend(&(1..=n).map(f64::from).collect::<Vec<_>>());
        distribution.sort();
        tail_quantile(reading, &distribution, chance)
    }

    /// One in 1,000 of the lives 1 to 10,000 is 10, of the loads 9,990; ranks of the interval from the binomial distribution of 10,000
    /// trials at 0.001: P(X <= 3) = 0.0103, P(X <= 4) = 0.0292, P(X >= 17) = 0.0270, P(X >= 18) = 0.0143 (tables).
    #[test]
    fn ref_the_interval_is_between_order_statistics() {
        let of = |value: f64, low: f64, high: f64| TailQuantile::Counted { quantile: Quantile { value, low, high }, draws: 10_000 };
        assert_eq!(counted(10_000, Reading::Life, 1e-3), of(10.0, 4.0, 18.0));
        assert_eq!(counted(10_000, Reading::PeakLoad, 1e-3), of(9990.0, 9983.0, 9997.0));
    }

    /// 0.999^n <= 0.025 from 3,688 on, 0.99^n from 368 on: then the worst draw is beyond the quantile surely enough.
    #[test]
    fn ref_too_few_draws_give_no_quantile() {
        for reading in [Reading::Life, Reading::PeakLoad] {
            for (chance, needed) in [(1e-2, 368), (1e-3, 3688)] {
                let too_few = TailQuantile::TooFewDraws { draws: u64::from(needed) - 1, needed: needed.into() };
                assert_eq!(counted(needed - 1, reading, chance), too_few);
                assert!(matches!(counted(needed, reading, chance), TailQuantile::Counted { .. }));
            }
            assert_eq!(counted(0, reading, 1e-2), TailQuantile::TooFewDraws { draws: 0, needed: 368 });
        }
    }
}
