//! Many installations of one machine: side by side where its map is affine, one by one where it is not.

use std::sync::Arc;

use rayon::prelude::*;

use super::affine_map::LinearMap;
use super::fatigue::Weights;
use super::hot_loop::sweep;
use super::memory::Sweep;
use crate::draw::Draws;
use crate::draw::engine::fill_batches;
use crate::draw::numbers::Numbers;
use crate::draw::sampling::{Place, own};
use crate::evaluate::Outcome;
use crate::evaluate::{Evaluator, Work};
use crate::evaluate::{ServiceState, service_states};
use crate::input::Installation;
use crate::math::lanes::{LANES, Lane};
use crate::structure::NotConverged;
use crate::units::MRAD;

/// Share of a travel or a slot beyond which single precision can't tell whether the end is reached.
const ALMOST: f32 = 1.0 - 1e-6;

/// An evaluator with the fast path of its machine, where it has one.
pub(crate) struct Batch<'e, 'p> {
    evaluator: &'e Evaluator<'p>,
    numbers: &'e dyn Numbers,
    service: &'e [ServiceState],
    path: Arc<FastPath>,
}

/// The fast path of a machine, for the numbers and states of service that it was made for.
pub(super) struct FastPath {
    places: Vec<Place>,
    service: Vec<ServiceState>,
    map: Option<(LinearMap, Weights)>,
}

/// Working memory of one thread.
#[derive(Debug, Clone, Default)]
pub(crate) struct BatchWork {
    sweep: Sweep,
    /// Places of installations that are not on the map, and what they were evaluated in.
    others: Vec<usize>,
    works: Vec<Work>,
    done: Vec<Outcome>,
}

impl BatchWork {
    /// How many of the installations that were just run are not on the map.
    pub(crate) fn one_by_one(&self) -> usize {
        self.others.len()
    }

    /// Largest loads along the stroke of an installation that was just run, N.
    pub(crate) fn stroke_peak_n(&self, i: usize) -> Vec<f64> {
        let alone = self.others.iter().position(|k| *k == i).map(|k| self.works[k].stroke_peak_n.clone());
        alone.unwrap_or_else(|| self.sweep.stroke.iter().map(|s| f64::from(s[i])).collect())
    }
}

/// What the first `count` drawn installations of a seed come to, in their order.
///
/// # Errors
/// An equilibrium was not found.
pub(crate) fn drawn_outcomes(
    evaluator: &Evaluator<'_>,
    draws: &Draws<'_>,
    service: &[ServiceState],
    seed: u64,
    count: u64,
) -> Result<Vec<Outcome>, NotConverged> {
    let batch = Batch::new(evaluator, draws, service)?;
    // Made by all threads: to touch new memory takes as long as a few hundred installations.
    let mut outcomes: Vec<Outcome> = (0..count).into_par_iter().map(|_| Outcome::start()).collect();
    let done = fill_batches(0, &mut outcomes, 1, seed, Memory::default, |memory, _, rngs, to| {
        draws.numbers(rngs, &mut memory.numbers);
        to.copy_from_slice(batch.run(&memory.numbers, rngs.len(), &mut memory.work).map_err(|(_, e)| e)?);
        Ok(())
    });
    done.into_iter().collect::<Result<(), _>>()?;
    Ok(outcomes)
}

/// What the first `count` drawn installations of the evaluator's plan come to, in their order, in the plan's states of service.
///
/// # Errors
/// An equilibrium was not found.
pub fn drawn(evaluator: &Evaluator<'_>, seed: u64, count: u64) -> Result<Vec<Outcome>, NotConverged> {
    let plan = evaluator.plan();
    drawn_outcomes(evaluator, &Draws::new(plan, evaluator.machine.rails()), &service_states(plan), seed, count)
}

/// Numbers of a batch and working memory, of one thread.
#[derive(Default)]
pub(crate) struct Memory {
    pub(crate) numbers: Vec<Lane>,
    pub(crate) work: BatchWork,
}

impl<'e, 'p> Batch<'e, 'p> {
    /// Prepares the fast path, or takes the one that the evaluator has from before: limits do not change it.
    ///
    /// # Errors
    /// An equilibrium was not found.
    pub(crate) fn new(evaluator: &'e Evaluator<'p>, draws: &'e Draws<'e>, service: &'e [ServiceState]) -> Result<Self, NotConverged> {
        let places = draws.places();
        let kept: Option<Arc<FastPath>> = evaluator.keepsake.get();
        if let Some(path) = kept.filter(|p| p.places == places && p.service == service) {
            return Ok(Self { evaluator, numbers: draws, service, path });
        }
        let batch = Self::of_numbers(evaluator, draws, service, places)?;
        evaluator.keepsake.keep(&batch.path);
        Ok(batch)
    }

    /// Prepares a fast path for other numbers than those that the plan draws; it is not kept.
    ///
    /// # Errors
    /// An equilibrium was not found.
    pub(crate) fn of(evaluator: &'e Evaluator<'p>, numbers: &'e dyn Numbers, service: &'e [ServiceState]) -> Result<Self, NotConverged> {
        Self::of_numbers(evaluator, numbers, service, &[])
    }

    fn of_numbers(
        evaluator: &'e Evaluator<'p>,
        numbers: &'e dyn Numbers,
        service: &'e [ServiceState],
        places: &[Place],
    ) -> Result<Self, NotConverged> {
        let map = LinearMap::new(evaluator, numbers, service)?.map(|map| (map, Weights::new(&evaluator.plan().block)));
        let path = Arc::new(FastPath { places: places.to_vec(), service: service.to_vec(), map });
        Ok(Self { evaluator, numbers, service, path })
    }

    /// Whether the machine has a map, and so many installations at a time.
    pub(crate) fn is_fast(&self) -> bool {
        self.path.map.is_some()
    }

    /// What the first `count` of the installations side by side come to.
    ///
    /// # Errors
    /// An equilibrium was not found: the place of the installation in the batch.
    pub(crate) fn run<'w>(&self, numbers: &[Lane], count: usize, work: &'w mut BatchWork) -> Result<&'w [Outcome], (usize, NotConverged)> {
        let count = count.min(LANES);
        if let Some((map, weights)) = &self.path.map {
            sweep(map, weights, numbers, &mut work.sweep);
        }
        let on_map = |i: usize| self.path.map.is_some() && work.sweep.travel_used[i] < ALMOST && work.sweep.slot_used[i] < ALMOST;
        work.others.clear();
        work.others.extend((0..count).filter(|i| !on_map(*i)));
        work.done.clear();
        match &self.path.map {
            Some((_, weights)) => work.done.extend((0..count).map(|i| self.outcome(weights, &work.sweep, i))),
            None => work.done.resize(count, Outcome::start()),
        }
        if !work.others.is_empty() {
            let installations: Vec<Installation> = work.others.iter().map(|i| self.numbers.installation(&own(numbers, *i))).collect();
            let evaluated = self.evaluator.evaluate_side_by_side(&installations, self.service, &mut work.works);
            let evaluated = evaluated.map_err(|(i, e)| (work.others[i], e))?;
            work.others.iter().zip(evaluated).for_each(|(i, outcome)| work.done[*i] = outcome);
        }
        Ok(&work.done)
    }

    fn outcome(&self, weights: &Weights, sweep: &Sweep, i: usize) -> Outcome {
        let block = &self.evaluator.plan().block;
        let (slot_used, float_travel_used) = (f64::from(sweep.slot_used[i]), f64::from(sweep.travel_used[i]));
        let mut o = Outcome { slot_used, float_travel_used, ..Outcome::start() };
        o.extra_load_n = f64::NEG_INFINITY;
        for (b, peak) in sweep.peak.iter().enumerate() {
            let peak_n = f64::from(peak[i]);
            o.peak_load_n = o.peak_load_n.max(peak_n);
            o.extra_load_n = o.extra_load_n.max(peak_n - self.evaluator.perfect_peak_load_n(b));
        }
        o.static_safety = block.c0_n / f64::from(sweep.peak_static[i]);
        o.pull_n = f64::from(sweep.lift[i]) / weights.dynamic[1];
        o.row_unloading = if weights.unloading_n > 0.0 { o.peak_load_n / weights.unloading_n } else { 0.0 };
        o.life_km = sweep.life_km[i];
        let perfect_km = self.evaluator.perfect().life_km;
        o.life_loss = if perfect_km > 0.0 { 1.0 - o.life_km / perfect_km } else { 0.0 };
        o.joint_force_n = f64::from(sweep.joint_square[i]).sqrt();
        o.tool_displacement_mm = f64::from(sweep.tool_square[i]).sqrt();
        o.tool_yaw_mrad = f64::from(sweep.tool_yaw[i]) / MRAD;
        o
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::plan::DragStates;
    use crate::input::{ErrorKind, Plan, read_plan};
    use crate::structure::Machine;

    /// The demo at two stations with these errors alone.
    fn demo(changes: &[(&str, &str)], kept: &[ErrorKind]) -> Plan {
        let mut text = include_str!("../../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 2 ");
        for (from, to) in changes {
            assert!(text.contains(from), "{from}");
            text = text.replace(from, to);
        }
        let mut plan = read_plan(&text, "panel-bridge.toml").unwrap();
        plan.errors.sources.retain(|s| kept.contains(&s.kind));
        plan
    }

    fn with_batch<T>(
        plan: &Plan,
        (arrangement, drag): (usize, DragStates),
        look: impl FnOnce(&Evaluator<'_>, &Draws<'_>, &Batch<'_, '_>) -> T,
    ) -> T {
        let evaluator = Evaluator::new(Machine::new(plan, arrangement).unwrap(), drag).unwrap();
        let draws = Draws::new(plan, evaluator.machine.rails());
        let service = service_states(plan);
        look(&evaluator, &draws, &Batch::new(&evaluator, &draws, &service).unwrap())
    }

    /// Each error by itself, so that none hides behind another: installations side by side on the map against each alone, in seasons, with a
    /// load case that has no share of the distance.
    #[test]
    fn check_each_error_on_the_map_is_what_it_is_by_itself() {
        use ErrorKind as K;
        let kinds = [
            K::BlockLateral,
            K::BlockVertical,
            K::CrossLevel(0),
            K::Height,
            K::StraightnessVertical(1),
            K::StraightnessRoll(0),
            K::BridgeLength,
        ];
        for arrangement in 0..2 {
            for kind in kinds {
                let plan = demo(&[], &[kind]);
                with_batch(&plan, (arrangement, plan.study.drag), |evaluator, draws, batch| {
                    assert!(batch.is_fast());
                    let mut memory = Memory::default();
                    let mut rngs: Vec<_> = (0..LANES as u64)
                        .map(|i| {
                            let mut rng: crate::draw::engine::Stream = rand::SeedableRng::seed_from_u64(7);
                            rng.set_stream(i);
                            rng
                        })
                        .collect();
                    draws.numbers(&mut rngs, &mut memory.numbers);
                    let found = batch.run(&memory.numbers, LANES, &mut memory.work).unwrap().to_vec();
                    for (i, fast) in found.iter().enumerate() {
                        let mut work = Work::default();
                        let installation = Draws::installation(draws, &own(&memory.numbers, i));
                        let slow = evaluator.evaluate(&installation, &service_states(&plan), &mut work).unwrap();
                        let figures = |o: &Outcome| {
                            [
                                o.life_km,
                                o.peak_load_n,
                                o.static_safety,
                                o.float_travel_used,
                                o.tool_displacement_mm,
                                o.tool_yaw_mrad,
                                o.joint_force_n,
                                o.pull_n,
                            ]
                        };
                        for (k, (x, y)) in figures(fast).into_iter().zip(figures(&slow)).enumerate() {
                            // A nanometre, a nanoradian are nothing.
                            assert!((x - y).abs() <= 2e-6 * y.abs().max(1e-3), "{kind:?} {arrangement} {i} figure {k}: {x} against {y}");
                        }
                        // A small difference of loads has their digits.
                        assert!((fast.extra_load_n - slow.extra_load_n).abs() <= 1e-6 * slow.peak_load_n);
                        for (x, y) in memory.work.stroke_peak_n(i).iter().zip(&work.stroke_peak_n) {
                            assert!((x - y).abs() <= 2e-6 * y, "{kind:?} {arrangement} {i} stroke: {x} against {y}");
                        }
                    }
                });
            }
        }
    }

    /// What is not affine has no map: drag by its law, floats beside slots, a slot that the least error fills.
    #[test]
    fn check_what_is_not_affine_is_evaluated_one_by_one() {
        let fast = |changes: &[(&str, &str)], kept: ErrorKind, arrangement: usize, drag: DragStates| {
            with_batch(&demo(changes, &[kept]), (arrangement, drag), |_, _, batch| batch.is_fast())
        };
        let (both, law) = (DragStates::BothSigns, DragStates::Law);
        assert!(fast(&[], ErrorKind::Span, 0, both) && fast(&[], ErrorKind::Span, 1, both));
        // Without floats there is nothing to drag.
        assert!(fast(&[], ErrorKind::Span, 0, law) && !fast(&[], ErrorKind::Span, 1, law));
        let slots = [("{ joint = \"locating\"", "{ joint = \"bolted\"")];
        assert!(!fast(&slots, ErrorKind::Span, 1, both));
        // 0.03 mm of span is taken up by two slots of 0.005 mm, and not by a height.
        let narrow = [(
            "y = { law = \"elastic\", stiffness_n_per_um = 500, take_up_mm = 1.5 }",
            "y = { law = \"elastic\", stiffness_n_per_um = 500, take_up_mm = 0.005 }",
        )];
        assert!(!fast(&narrow, ErrorKind::Span, 0, both));
    }
}
