//! How much of the requirements is used up by some tolerances: 1 at a limit, more where it is not met.

use crate::bearing::row_unloading_load;
use crate::draw::Draws;
use crate::evaluate::Outcome;
use crate::evaluate::service_states;
use crate::evaluate::{Evaluator, Work};
use crate::input::plan::{Measure, Requirement};
use crate::input::sources::ErrorSources;
use crate::input::{ErrorKind, Installation, Plan};
use crate::math::order::quantile;
use crate::structure::NotConverged;
use crate::study::worst::{Effort, WorstCase, worst_case};
use crate::sweep::batch::drawn_outcomes;

/// How hard the worst case is looked for at each trial.
const EFFORT: Effort = Effort { scouts: 0, starts: 0, branches: 60 };

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
    kind.spec().clear(&mut left);
    Ok(of_outcome(evaluator, &evaluator.evaluate(&left, &service_states(&plan), &mut Work::default())?))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::read_plan;

    fn usage(at: f64, low: f64, high: f64, requirement: usize) -> Usage {
        Usage { at, low, high, requirement }
    }

    #[test]
    fn check_the_greater_use_counts_and_the_first_of_two_alike() {
        let (a, b) = (usage(0.5, 0.4, 0.9, 1), usage(0.7, 0.3, 0.8, 2));
        assert_eq!(a.with(b), usage(0.7, 0.4, 0.9, 2));
        assert_eq!(b.with(a), usage(0.7, 0.4, 0.9, 2));
        assert_eq!(usage(0.5, 0.0, 0.0, 3).with(usage(0.5, 0.0, 0.0, 4)).requirement, 3);
    }

    #[test]
    fn check_use_is_one_at_the_limit_on_either_side() {
        let of = |measure| Requirement { measure, limit: 4.0, quantile: 0.95, confidence: 0.95 };
        assert_eq!([2.0, 4.0, 8.0].map(|v| used(&of(Measure::Life), v)), [2.0, 1.0, 0.5]);
        assert_eq!([2.0, 4.0, 8.0].map(|v| used(&of(Measure::JointForce), v)), [0.5, 1.0, 2.0]);
        assert_eq!(used(&of(Measure::Life), 0.0), f64::INFINITY);
        assert_eq!(used(&of(Measure::Life), -1.0), f64::INFINITY);
        assert_eq!(used(&of(Measure::JointForce), f64::NAN), f64::INFINITY);
    }

    /// Each kind of error is taken away whole, and nothing else with it.
    #[test]
    fn check_clearing_every_kind_leaves_the_perfect_installation() {
        let plan = read_plan(include_str!("../../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        let mut all = Installation::perfect(&plan);
        let n = plan.frame.anchors_x_mm.len();
        all.residual.iter_mut().flatten().for_each(|r| *r = vec![0.1; n]);
        all.block_offset_mm.iter_mut().flatten().for_each(|b| *b = [0.1; 2]);
        all.seats.iter_mut().flatten().for_each(|s| *s = [0.1; 6]);
        for spec in &ErrorKind::ALL {
            let before = all.clone();
            spec.clear(&mut all);
            let many = spec.kind.is_profile() || matches!(spec.kind, ErrorKind::BlockLateral | ErrorKind::BlockVertical);
            let seats = matches!(spec.kind, ErrorKind::Seat | ErrorKind::SeatAngle);
            assert_eq!(all != before, many || seats, "{}", spec.key);
        }
        assert!(all.block_offset_mm.iter().flatten().flatten().chain(all.seats.iter().flatten().flatten()).all(|v| *v == 0.0));
        assert!(all.residual.iter().flatten().all(Vec::is_empty));
    }
}
