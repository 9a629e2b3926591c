//! Far ends: what one machine in a hundred or in a thousand comes to, from fewer draws than counting would need.

mod divide;
mod mixture;
mod search;
mod tilt;

use super::batch::{Batch, Memory};
use super::evaluate::Evaluator;
use super::reading::Reading;
use super::sampling::Draws;
use super::service::service_states;
use crate::math::lanes::{LANES, Lane};
use crate::math::order::Quantile;
use crate::structure::NotConverged;
use search::Search;
pub use search::{FAR_EVALUATIONS, ONE_IN};

/// How bad one reading gets.
#[derive(Debug, Clone, PartialEq)]
pub struct FarEnds {
    /// What is read.
    pub reading: Reading,
    /// What one machine in each number of [`ONE_IN`] reaches or passes on the bad side, with 95 % bounds.
    pub ends: [Option<Quantile>; 2],
}

/// The far ends of readings of a machine on springs; empty where its map is not affine (balls, drag by its law, floats at
/// their stops in the perfect installation): there far ends can only be counted.
///
/// # Errors
/// An equilibrium was not found.
pub fn far_ends(evaluator: &Evaluator<'_>, readings: &[Reading], seed: u64) -> Result<Vec<FarEnds>, NotConverged> {
    let draws = Draws::new(evaluator.plan(), evaluator.machine.rails());
    let service = service_states(evaluator.plan());
    let batch = Batch::new(evaluator, &draws, &service)?;
    if !batch.is_fast() {
        return Ok(Vec::new());
    }
    let of = |reading: &Reading| {
        let badness = |memory: &mut Memory, from_middle: &[Lane]| -> Result<Lane, NotConverged> {
            memory.numbers.clear();
            memory.numbers.extend_from_slice(from_middle);
            draws.spread(&mut memory.numbers);
            let done = batch.run(&memory.numbers, LANES, &mut memory.work).map_err(|(_, e)| e)?;
            Ok(Lane(std::array::from_fn(|i| badness(*reading, reading.of(&done[i])))))
        };
        let search = Search::new(draws.places().len(), badness);
        let ends = search.ends(&search.mixture(seed)?, seed)?;
        Ok(FarEnds { reading: *reading, ends: ends.map(|q| q.map(|q| read(*reading, q))) })
    };
    readings.iter().map(of).collect()
}

/// A reading as a number that rises as things get worse.
fn badness(reading: Reading, value: f64) -> f64 {
    if reading.more_is_better() { -value } else { value }
}

/// Back from badness, bounds in rising order.
fn read(reading: Reading, q: Quantile) -> Quantile {
    if reading.more_is_better() { Quantile { value: -q.value, low: -q.high, high: -q.low } } else { q }
}
