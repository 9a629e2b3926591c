//! Paired Monte Carlo: every arrangement of joints on the same drawn installations.

use super::adaptive::{Estimates, SEQUENCE, settled};
use super::alone::{Alone, sources_alone};
use super::findings::{Finding, findings};
use super::tail::{Tail, tails};
use super::tally::{Lot, Tally};
use super::verdict::Verdict;
use super::worst::{Effort, WorstCase, worst_case};
use crate::draw::Draws;
use crate::draw::engine::{fill_batches, of_batches, run_batches};
use crate::evaluate::Outcome;
use crate::evaluate::Reading;
use crate::evaluate::lateral_stiffness_n_per_um;
use crate::evaluate::service_states;
use crate::evaluate::{Evaluator, Work};
use crate::input::Installation;
use crate::input::plan::DragStates;
use crate::structure::NotConverged;
use crate::sweep::batch::{Batch, Memory};
use rayon::prelude::*;

/// Installations between two reports of progress, held at a time.
const BETWEEN_REPORTS: u64 = 8192;

/// Installations looked at again with the law of the drag, to see which floats never slide.
const LOOKED_AT_BY_LAW: u64 = 300;

/// Installations whose loads along the stroke are kept for the figure; the rest leave only their outcome.
const KEPT_STROKES: u64 = 2000;

/// Largest block load along the stroke: quantiles over the kept installations at each station, N.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Band {
    /// Stations along the rails, mm.
    pub station_x_mm: Vec<f64>,
    /// The perfect installation.
    pub perfect_n: Vec<f64>,
    /// Median of the kept installations.
    pub median_n: Vec<f64>,
    /// 95 % quantile of the kept installations.
    pub high_n: Vec<f64>,
    /// Number of kept installations.
    pub installations: u64,
}

/// One arrangement over all draws.
#[derive(Debug, Clone, PartialEq)]
pub struct ArrangementResult {
    /// Name in the plan.
    pub name: String,
    /// True for the arrangement that sets the exit code.
    pub chosen: bool,
    /// True if it has floating components.
    pub has_floats: bool,
    /// The perfect installation.
    pub perfect: Outcome,
    /// The drawn installations, counted.
    pub tally: Tally,
    /// Tail quantiles of life and of the largest block load.
    pub tails: Vec<Tail>,
    /// The plan's requirements.
    pub verdicts: Vec<Verdict>,
    /// Loads along the stroke.
    pub band: Band,
    /// Lateral stiffness at the tool point at mid-span, N/um: floats at rest, floats sliding.
    pub lateral_stiffness_n_per_um: (Option<f64>, Option<f64>),
    /// Condition number of the stiffness.
    pub condition: f64,
    /// Every source alone at its limit, the costliest first.
    pub alone: Vec<Alone>,
    /// The worst that the tolerances allow.
    pub worst: WorstCase,
    /// What the user can act on.
    pub findings: Vec<Finding>,
}

/// A whole study.
#[derive(Debug, Clone, PartialEq)]
pub struct StudyResult {
    /// Number of installations.
    pub draws: u64,
    /// Seed.
    pub seed: u64,
    /// Whether the wanted digits were reached, where the study ran by digits.
    pub settled: Option<bool>,
    /// The arrangements in the order of the plan.
    pub arrangements: Vec<ArrangementResult>,
}

/// How long a study runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Length {
    /// So many installations.
    Fixed(u64),
    /// Until life and largest block load of the chosen arrangement have so many significant digits of their standard
    /// uncertainty settled (JCGM 101, 7.9), at most so many installations.
    Digits {
        /// Significant digits, 1 to 3.
        digits: u32,
        /// Most installations.
        most: u64,
    },
}

/// Draws installations from 0 on and evaluates every arrangement on each.
///
/// `progress` hears the number of installations done after each batch.
///
/// # Errors
/// An equilibrium was not found in some installation: its number and the residual.
pub fn monte_carlo(
    evaluators: &[Evaluator<'_>],
    length: Length,
    seed: u64,
    progress: &dyn Fn(u64),
) -> Result<StudyResult, (u64, NotConverged)> {
    let Some(first) = evaluators.first() else {
        return Ok(StudyResult { draws: 0, seed, settled: None, arrangements: Vec::new() });
    };
    let plan = first.plan();
    let sampler = Draws::new(plan, first.machine.rails());
    let service = service_states(plan);
    let batches: Vec<Batch<'_, '_>> =
        evaluators.iter().map(|e| Batch::new(e, &sampler, &service)).collect::<Result<_, _>>().map_err(|e| (0, e))?;
    let most = match length {
        Length::Fixed(n) | Length::Digits { most: n, .. } => n,
    };
    let mut tallies: Vec<Tally> = evaluators.iter().map(|_| Tally::new(plan)).collect();
    let readings = Reading::ALL.len();
    let kinds = readings * evaluators.len();
    let mut values = vec![0.0; BETWEEN_REPORTS.min(most) as usize * kinds];
    let mut strokes: Vec<Vec<Vec<f64>>> = evaluators.iter().map(|_| Vec::new()).collect();
    let chosen = evaluators.iter().position(|e| e.machine.arrangement == plan.chosen).unwrap_or(0);
    let mut done = 0;
    let mut enough = Settling::default();
    while done < most {
        // Sequences of the adaptive procedure end on a batch.
        let count = BETWEEN_REPORTS.min(most - done).min(SEQUENCE - done % SEQUENCE);
        let values = &mut values[..count as usize * kinds];
        let lots = fill_batches(done, values, kinds, seed, Memory::default, |memory, start, rngs, to| {
            let count = rngs.len();
            sampler.numbers(rngs, &mut memory.numbers);
            let one = |(batch, to): (&Batch<'_, '_>, &mut [f64])| {
                let found = batch.run(&memory.numbers, count, &mut memory.work);
                let outcomes = found.map_err(|(i, error)| (start + i as u64, error))?;
                for (reading, column) in Reading::ALL.iter().zip(to.chunks_mut(count)) {
                    column.iter_mut().zip(outcomes).for_each(|(value, outcome)| *value = reading.of(outcome));
                }
                let lot = Lot::of(plan, outcomes);
                let kept = if start < KEPT_STROKES { count } else { 0 };
                Ok((lot, (0..kept).map(|i| memory.work.stroke_peak_n(i)).collect::<Vec<_>>()))
            };
            batches.iter().zip(to.chunks_mut(readings * count)).map(one).collect::<Result<Vec<_>, (u64, NotConverged)>>()
        });
        for of_batch in lots {
            for (a, (lot, kept)) in of_batch?.into_iter().enumerate() {
                tallies[a].join(lot);
                strokes[a].extend(kept);
            }
        }
        let column = |a: usize, reading: Reading| of_batches(values, kinds, a * readings + reading as usize);
        tallies.par_iter_mut().enumerate().for_each(|(a, tally)| tally.extend(|reading| column(a, reading)));
        done += count;
        progress(done);
        if let Length::Digits { digits, .. } = length {
            enough.take(|reading| column(chosen, reading));
            if done % SEQUENCE == 0 && enough.reached(&tallies[chosen], digits) {
                break;
            }
        }
    }
    let arrangements = evaluators
        .par_iter()
        .zip(tallies)
        .zip(strokes)
        .map(|((evaluator, tally), strokes)| {
            let tails = tails(evaluator, &tally, &[Reading::Life, Reading::PeakLoad], seed)?;
            arrangement(evaluator, tally, tails, &strokes, seed).map_err(|e| (0, e))
        })
        .collect::<Result<_, _>>()?;
    let settled = matches!(length, Length::Digits { .. }).then_some(enough.settled);
    Ok(StudyResult { draws: done, seed, settled, arrangements })
}

/// Life and largest block load: the running sequence of the adaptive procedure, and those before it.
#[derive(Default)]
struct Settling {
    running: [Vec<f64>; 2],
    sequences: [Vec<Estimates>; 2],
    settled: bool,
}

impl Settling {
    const QUANTITIES: [Reading; 2] = [Reading::Life, Reading::PeakLoad];

    fn take(&mut self, column: impl Fn(Reading) -> Vec<f64>) {
        self.running.iter_mut().zip(Self::QUANTITIES).for_each(|(running, of)| running.extend(column(of)));
    }

    /// Closes the running sequence and says whether both quantities have settled.
    fn reached(&mut self, tally: &Tally, digits: u32) -> bool {
        self.settled = true;
        for (i, of) in Self::QUANTITIES.into_iter().enumerate() {
            self.sequences[i].push(Estimates::of(&self.running[i]));
            self.running[i].clear();
            self.settled &= settled(&self.sequences[i], tally.of(of).deviation(), digits);
        }
        self.settled
    }
}

fn arrangement(
    evaluator: &Evaluator<'_>,
    mut tally: Tally,
    tails: Vec<Tail>,
    strokes: &[Vec<f64>],
    seed: u64,
) -> Result<ArrangementResult, NotConverged> {
    let plan = evaluator.plan();
    let machine = &evaluator.machine;
    let perfect = evaluator.perfect();
    let in_service = evaluator.evaluate(&Installation::perfect(plan), &service_states(plan), &mut Work::default())?;
    let has_floats = machine.float_count() > 0;
    tally.close();
    let held = |(i, r)| Verdict::of_tally(r, i, &tally, &perfect, has_floats);
    let verdicts: Vec<Verdict> = plan.requirements.iter().enumerate().map(held).collect();
    Ok(ArrangementResult {
        name: machine.name().into(),
        chosen: machine.arrangement == plan.chosen,
        has_floats,
        band: band(evaluator, strokes)?,
        lateral_stiffness_n_per_um: lateral_stiffness_n_per_um(machine),
        condition: machine.condition,
        alone: sources_alone(evaluator)?,
        tails,
        worst: worst_case(evaluator, Effort::QUICK, &|| false)?,
        findings: findings(evaluator, &tally, &verdicts, &in_service, sticking(evaluator, tally.draws(), seed)?),
        perfect,
        tally,
        verdicts,
    })
}

/// Share of installations in which some float never slides, with the drag's law.
///
/// Full drag in both directions says nothing about that, so the first installations are looked at once more.
fn sticking(evaluator: &Evaluator<'_>, draws: u64, seed: u64) -> Result<f64, NotConverged> {
    let plan = evaluator.plan();
    if !evaluator.has_floats_with_drag() {
        return Ok(0.0);
    }
    let by_law = Evaluator::new(evaluator.machine.clone(), DragStates::Law)?;
    let sampler = Draws::new(plan, by_law.machine.rails());
    let service = service_states(plan);
    let count = LOOKED_AT_BY_LAW.min(draws);
    let sticks = run_batches(0, count, seed, Vec::new, |works, _, rngs| {
        let installations: Vec<Installation> = rngs.iter_mut().map(|rng| sampler.draw(rng)).collect();
        let outcomes = by_law.evaluate_side_by_side(&installations, &service, works).map_err(|(_, error)| error)?;
        Ok(outcomes.iter().filter(|o| o.float_sticks).count())
    });
    let stuck = sticks.into_iter().sum::<Result<usize, NotConverged>>()?;
    Ok(stuck as f64 / count as f64)
}

fn band(evaluator: &Evaluator<'_>, strokes: &[Vec<f64>]) -> Result<Band, NotConverged> {
    let plan = evaluator.plan();
    let mut work = Work::default();
    let still = [crate::evaluate::service::ServiceState::still()];
    evaluator.evaluate(&Installation::perfect(plan), &still, &mut work)?;
    let stations = plan.frame.stations_x_mm.len();
    let at = |p: f64| -> Vec<f64> {
        let one = |s: usize| {
            let mut column: Vec<f64> = strokes.iter().map(|stroke| stroke[s]).collect();
            column.sort_by(f64::total_cmp);
            column.get(((p * column.len() as f64).ceil() as usize).max(1) - 1).copied().unwrap_or(f64::NAN)
        };
        (0..stations).map(one).collect()
    };
    Ok(Band {
        station_x_mm: plan.frame.stations_x_mm.clone(),
        perfect_n: work.stroke_peak_n,
        median_n: at(0.5),
        high_n: at(0.95),
        installations: strokes.len() as u64,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::plan::Law;
    use crate::input::{ErrorKind, Plan, read_plan};
    use crate::structure::Machine;

    /// The floating demo at two stations with one error, and this drag.
    fn demo(drag_n: f64) -> Plan {
        let text = include_str!("../../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 2 ");
        let mut plan = read_plan(&text, "panel-bridge.toml").unwrap();
        plan.errors.sources.retain(|s| s.kind == ErrorKind::Span);
        plan.seasons.iter_mut().for_each(|s| s.thermal = Default::default());
        let Law::Float { drag, .. } = &mut plan.arrangements[1].ends[1][0].components[1].law else { panic!("a float") };
        *drag = drag_n;
        plan
    }

    fn evaluator(plan: &Plan, arrangement: usize) -> Evaluator<'_> {
        Evaluator::new(Machine::new(plan, arrangement).unwrap(), plan.study.drag).unwrap()
    }

    /// A float sticks where it is pushed by less than its drag: always under a huge one, never under next to none, and in between in as
    /// many of the first installations as the law says of each alone.
    #[test]
    fn check_the_share_of_floats_that_stick_is_counted_by_the_law() {
        let share = |drag_n: f64, draws: u64| sticking(&evaluator(&demo(drag_n), 1), draws, 7).unwrap();
        assert_eq!((share(1e6, 20), share(1e-9, 20), share(0.0, 20)), (1.0, 0.0, 0.0));
        assert_eq!(sticking(&evaluator(&demo(1e6), 0), 20, 7).unwrap(), 0.0);
        let drag_n = 600.0;
        let plan = demo(drag_n);
        let by_law = Evaluator::new(Machine::new(&plan, 1).unwrap(), DragStates::Law).unwrap();
        let (draws, service) = (Draws::new(&plan, by_law.machine.rails()), service_states(&plan));
        let alone = crate::draw::run(0, 400, 7, Work::default, |work, _, rng| {
            by_law.evaluate(&draws.draw(rng), &service, work).unwrap().float_sticks
        });
        let counted = |n: usize| alone[..n].iter().filter(|s| **s).count() as f64 / n as f64;
        assert!(counted(20) > 0.1 && counted(20) < 0.9 && counted(20) != counted(300) && counted(300) != counted(400));
        // No more than 300 are looked at.
        assert_eq!([share(drag_n, 20), share(drag_n, 300), share(drag_n, 400)], [counted(20), counted(300), counted(300)]);
    }
}
