//! What the machine will do with the measured rails: installations that have the rails as known and everything else as the
//! plan tolerates.

use super::known::Known;
use super::measured::Measured;
use crate::draw::Draws;
use crate::draw::engine::run_batches;
use crate::evaluate::Outcome;
use crate::evaluate::service_states;
use crate::evaluate::{Evaluator, Work};
use crate::input::{Installation, Plan};
use crate::structure::NotConverged;
use crate::study::Verdict;
use crate::sweep::batch::{Batch, Memory};

/// One arrangement of joints on the measured rails.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// Name in the plan.
    pub name: String,
    /// True for the arrangement that sets the exit code.
    pub chosen: bool,
    /// True if it has floats.
    pub has_floats: bool,
    /// The perfect installation.
    pub perfect: Outcome,
    /// The most likely rails with everything else perfect, in the plan's seasons.
    pub likely: Outcome,
    /// Every drawn installation.
    pub outcomes: Vec<Outcome>,
    /// The plan's requirements: the share is the probability that this machine meets them.
    pub verdicts: Vec<Verdict>,
    /// Stations, mm.
    pub station_x_mm: Vec<f64>,
    /// Largest block load at each station: perfect, then 5, 50 and 95 in 100 of the draws, N.
    pub stroke_n: [Vec<f64>; 4],
}

/// Draws rails from what is known and the rest from the plan's tolerances, and evaluates every arrangement on each.
///
/// # Errors
/// An equilibrium was not found.
pub fn predict(
    plan: &Plan,
    evaluators: &[&Evaluator<'_>],
    measured: &Measured,
    draws: u64,
    seed: u64,
) -> Result<Vec<Prediction>, NotConverged> {
    let Some(first) = evaluators.first() else { return Ok(Vec::new()) };
    let sampler = Draws::new(plan, first.machine.rails());
    let service = service_states(plan);
    let known = Known::new(plan, &sampler, measured);
    let batches: Vec<Batch<'_, '_>> = evaluators.iter().map(|e| Batch::of(e, &known, &service)).collect::<Result<_, _>>()?;
    let rows = run_batches(0, draws, seed, Memory::default, |memory, _, rngs| {
        known.draw(rngs, &mut memory.numbers);
        let mut one = |b: &Batch<'_, '_>| {
            let outcomes = b.run(&memory.numbers, rngs.len(), &mut memory.work).map_err(|(_, error)| error)?.to_vec();
            let strokes: Vec<Vec<f64>> = (0..rngs.len()).map(|i| memory.work.stroke_peak_n(i)).collect();
            Ok((outcomes, strokes))
        };
        batches.iter().map(&mut one).collect::<Result<Vec<_>, NotConverged>>()
    });
    let mut all: Vec<(Vec<Outcome>, Vec<Vec<f64>>)> = evaluators.iter().map(|_| (Vec::new(), Vec::new())).collect();
    for row in rows {
        for (all, (outcomes, strokes)) in all.iter_mut().zip(row?) {
            all.0.extend(outcomes);
            all.1.extend(strokes);
        }
    }
    let likely = measured.mean(Installation::perfect(plan));
    let mut work = Work::default();
    let mut list = Vec::new();
    for (e, (outcomes, strokes)) in evaluators.iter().zip(all) {
        let perfect = e.perfect();
        let has_floats = e.machine.float_count() > 0;
        let still = [crate::evaluate::service::ServiceState::still()];
        e.evaluate(&Installation::perfect(plan), &still, &mut work)?;
        let perfect_stroke = work.stroke_peak_n.clone();
        let at = |p: f64| quantiles(&strokes, p);
        list.push(Prediction {
            name: e.machine.name().into(),
            chosen: e.machine.arrangement == plan.chosen,
            has_floats,
            likely: e.evaluate(&likely, &service, &mut work)?,
            verdicts: plan.requirements.iter().map(|r| Verdict::of(r, &outcomes, &perfect, has_floats)).collect(),
            station_x_mm: plan.frame.stations_x_mm.clone(),
            stroke_n: [perfect_stroke, at(0.05), at(0.5), at(0.95)],
            perfect,
            outcomes,
        });
    }
    Ok(list)
}

fn quantiles(strokes: &[Vec<f64>], p: f64) -> Vec<f64> {
    let stations = strokes.first().map_or(0, Vec::len);
    let one = |s: usize| {
        let mut column: Vec<f64> = strokes.iter().map(|stroke| stroke[s]).collect();
        column.sort_by(f64::total_cmp);
        column[((p * column.len() as f64).ceil() as usize).max(1) - 1]
    };
    (0..stations).map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of 20 draws the first stands for 5 in 100, the tenth for the half, the nineteenth for 95 in 100.
    #[test]
    fn check_quantiles_of_each_station_are_order_statistics() {
        let strokes: Vec<Vec<f64>> = (1..=20).map(|i| vec![f64::from(i * 8 % 21), f64::from(100 - i)]).collect();
        let of = |p: f64| quantiles(&strokes, p);
        assert_eq!([of(0.05), of(0.5), of(0.95)], [[1.0, 80.0], [10.0, 89.0], [19.0, 98.0]]);
        assert_eq!(quantiles(&strokes[..1], 0.0), [8.0, 99.0]);
        assert!(quantiles(&[], 0.5).is_empty());
    }
}
