//! How much of the requirements is used up by some tolerances: 1 at a limit, more where it is not met.

use crate::bearing::row_unloading_load;
use crate::input::plan::{Measure, Requirement};
use crate::input::sources::ErrorSources;
use crate::input::{ErrorKind, Installation, Plan};
use crate::math::order::quantile;
use crate::structure::NotConverged;
use crate::study::batch::drawn_outcomes;
use crate::study::evaluate::{Evaluator, Work};
use crate::study::outcome::Outcome;
use crate::study::service::service_states;
use crate::study::worst::{Effort, WorstCase, worst_case};
use crate::study::{installed::set_scalar, sampling::Draws};

/// How hard the worst case is looked for at each trial.
const EFFORT: Effort = Effort { starts: 0, branches: 60 };

/// Use of the requirement that is used most.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usage {
    /// The value that counts.
    pub at: f64,
    /// Least that it may be.
    pub low: f64,
    /// Most that it may be; infinite where nothing is known.
    pub high: f64,
    /// Index of the requirement in the plan.
    pub requirement: usize,
}

impl Usage {
    /// Nothing required, nothing used.
    const NONE: Self = Self { at: 0.0, low: 0.0, high: 0.0, requirement: 0 };

    /// The greater of two, each number for itself.
    fn with(self, other: Self) -> Self {
        let requirement = if other.at > self.at { other.requirement } else { self.requirement };
        Self { at: self.at.max(other.at), low: self.low.max(other.low), high: self.high.max(other.high), requirement }
    }
}

/// Share of a requirement that a value of its measure uses.
#[must_use]
pub(super) fn used(requirement: &Requirement, value: f64) -> f64 {
    let used = if requirement.measure.more_is_better() { requirement.limit / value.max(0.0) } else { value / requirement.limit };
    if used.is_nan() { f64::INFINITY } else { used }
}

/// Requirements that can be asked of a machine, with their index: a float's travel only where there are floats.
pub(super) fn asked<'p>(evaluator: &Evaluator<'p>) -> impl Iterator<Item = (usize, &'p Requirement)> {
    let floats = evaluator.machine.float_count() > 0;
    evaluator.plan().requirements.iter().enumerate().filter(move |(_, r)| floats || r.measure != Measure::FloatTravel)
}

/// A plan with other tolerances.
#[must_use]
pub(super) fn with_errors(plan: &Plan, errors: &ErrorSources) -> Plan {
    Plan { errors: errors.clone(), ..plan.clone() }
}

/// Outcomes of drawn installations inside some tolerances.
///
/// The same seed gives the same unit draws whatever the limits, as long as every source stays in the list.
pub(super) fn drawn(evaluator: &Evaluator<'_>, errors: &ErrorSources, seed: u64, count: u64) -> Result<Vec<Outcome>, NotConverged> {
    let plan = with_errors(evaluator.plan(), errors);
    let draws = Draws::new(&plan, evaluator.machine.rails());
    let service = service_states(&plan);
    drawn_outcomes(evaluator, &draws, &service, seed, count)
}

/// Use at the requirements' quantiles, with the distribution-free interval of each quantile.
#[must_use]
pub(super) fn at_quantile(evaluator: &Evaluator<'_>, outcomes: &[Outcome]) -> Usage {
    let one = |(index, r): (usize, &Requirement)| {
        let mut values: Vec<f64> = outcomes.iter().map(|o| used(r, r.measure.of(o))).collect();
        values.sort_by(f64::total_cmp);
        let q = quantile(&values, r.quantile, r.confidence)?;
        let or = |x: f64, other: f64| if x.is_nan() { other } else { x };
        Some(Usage { at: q.value, low: or(q.low, 0.0), high: or(q.high, f64::INFINITY), requirement: index })
    };
    asked(evaluator).filter_map(one).fold(Usage::NONE, Usage::with)
}

/// Use with every error at zero: seasons, wind-up and drag alone.
pub(super) fn at_zero(evaluator: &Evaluator<'_>) -> Result<Usage, NotConverged> {
    let bare = with_errors(evaluator.plan(), &ErrorSources::default());
    let outcome = evaluator.evaluate(&Installation::perfect(&bare), &service_states(&bare), &mut Work::default())?;
    Ok(of_outcome(evaluator, &outcome))
}

/// Use by a stated installation, its errors of one kind taken away, inside some tolerances' states of service.
pub(super) fn without(
    evaluator: &Evaluator<'_>,
    installation: &Installation,
    kind: ErrorKind,
    errors: &ErrorSources,
) -> Result<Usage, NotConverged> {
    let plan = with_errors(evaluator.plan(), errors);
    let mut left = installation.clone();
    clear(kind, &mut left);
    Ok(of_outcome(evaluator, &evaluator.evaluate(&left, &service_states(&plan), &mut Work::default())?))
}

fn clear(kind: ErrorKind, of: &mut Installation) {
    use ErrorKind as K;
    match kind {
        K::StraightnessLateral(rail) => of.residual[rail][0].clear(),
        K::StraightnessVertical(rail) => of.residual[rail][1].clear(),
        K::StraightnessRoll(rail) => of.residual[rail][2].clear(),
        K::BlockLateral => of.block_offset_mm.iter_mut().flatten().for_each(|b| b[0] = 0.0),
        K::BlockVertical => of.block_offset_mm.iter_mut().flatten().for_each(|b| b[1] = 0.0),
        K::Seat => of.seats.iter_mut().flatten().for_each(|s| s[..3].fill(0.0)),
        K::SeatAngle => of.seats.iter_mut().flatten().for_each(|s| s[3..].fill(0.0)),
        scalar => set_scalar(scalar, 0.0, of),
    }
}

/// Use by one outcome.
#[must_use]
pub(super) fn of_outcome(evaluator: &Evaluator<'_>, outcome: &Outcome) -> Usage {
    let one = |(index, r): (usize, &Requirement)| {
        let u = used(r, r.measure.of(outcome));
        Usage { at: u, low: u, high: u, requirement: index }
    };
    asked(evaluator).map(one).fold(Usage::NONE, Usage::with)
}

/// Worst case inside some tolerances.
pub(super) fn worst(evaluator: &Evaluator<'_>, errors: &ErrorSources) -> Result<WorstCase, NotConverged> {
    let plan = with_errors(evaluator.plan(), errors);
    let mut machine = evaluator.machine.clone();
    machine.plan = &plan;
    worst_case(&Evaluator::new(machine, plan.study.drag)?, EFFORT, &|| false)
}

/// Use in the worst case: at least what an installation attains, at most what the bound allows (infinite without one).
#[must_use]
pub(super) fn in_worst(evaluator: &Evaluator<'_>, worst: &WorstCase) -> Usage {
    let plan = evaluator.plan();
    let value = |r: &Requirement, pick: &dyn Fn(&str) -> Option<f64>| match r.measure {
        Measure::RowUnloading => pick("peak_load_n").map(|p| {
            let unloading = row_unloading_load(&plan.block);
            if unloading > 0.0 { p / unloading } else { 0.0 }
        }),
        Measure::LifeLoss => pick("life_km").map(|l| 1.0 - l / evaluator.perfect().life_km),
        measure => pick(measure.key()),
    };
    let one = |(index, r): (usize, &Requirement)| {
        let low = value(r, &|key| worst.get(key).map(|b| b.attained)).map_or(f64::INFINITY, |v| used(r, v));
        let high = value(r, &|key| worst.get(key).and_then(|b| b.bound)).map_or(f64::INFINITY, |v| used(r, v));
        Usage { at: high, low, high, requirement: index }
    };
    asked(evaluator).map(one).fold(Usage::NONE, Usage::with)
}
