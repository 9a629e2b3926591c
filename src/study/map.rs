//! Life over two errors, all others at zero: where on the plane of the two the required life ends.

use rayon::prelude::*;

use super::shortfall::shortfall;
use crate::draw::Draws;
use crate::draw::sampling::Place;
use crate::evaluate::Outcome;
use crate::evaluate::{Evaluator, Work};
use crate::evaluate::{ServiceState, service_states};
use crate::input::plan::{Measure, Requirement};
use crate::input::sources::ErrorSpec;
use crate::input::{ErrorKind, Installation, Plan};
use crate::math::lanes::{LANES, Lane, ZERO};
use crate::structure::NotConverged;
use crate::sweep::batch::{Batch, BatchWork};
use crate::units::MRAD;

/// Cells along each axis.
pub const CELLS: usize = 120;

/// The map reaches this many times past the planned tolerance.
const PAST_PLANNED: f64 = 2.5;

/// The map goes on to where the requirement ends, but not past this many planned tolerances.
const AT_MOST: f64 = 12.0;

/// What is drawn past the end of the requirement.
const MARGIN: f64 = 1.2;

/// One axis: an error in its own unit (mm or mrad).
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Axis {
    /// Which error.
    #[serde(skip)]
    pub kind: ErrorKind,
    /// Its key in the plan.
    pub key: &'static str,
    /// Its name.
    pub label: &'static str,
    /// mm or mrad.
    pub unit: &'static str,
    /// Limits in the plan, if it names the error.
    pub planned: Option<(f64, f64)>,
    /// Values from the least to the greatest, one more than there are cells.
    pub values: Vec<f64>,
}

/// One arrangement over the plane.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct ArrangementMap {
    /// Name in the plan.
    pub name: String,
    /// True for the arrangement that sets the exit code.
    pub chosen: bool,
    /// Life of the perfect installation, km.
    pub perfect_life_km: f64,
    /// Life in km, by value of y, then by value of x.
    pub life_km: Vec<Vec<f64>>,
    /// Life loss, the same way.
    pub life_loss: Vec<Vec<f64>>,
}

/// The map of all arrangements.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Map {
    /// Across.
    pub x: Axis,
    /// Up.
    pub y: Axis,
    /// True without temperatures and shaft wind-up.
    pub still: bool,
    /// The plan's required life, km.
    pub required_life_km: Option<f64>,
    /// The arrangements in the order of the plan.
    pub arrangements: Vec<ArrangementMap>,
}

/// True where an error is one number, so that it can be an axis.
#[must_use]
pub fn may_be_axis(kind: ErrorKind) -> bool {
    kind.spec().home.is_one_number()
}

/// Maps two errors; all others are zero. Temperatures, shaft wind-up and a skew that comes and goes as in service, or none if
/// `still`.
///
/// # Errors
/// An equilibrium was not found.
pub fn map(evaluators: &[Evaluator<'_>], x: &ErrorSpec, y: &ErrorSpec, still: bool) -> Result<Map, NotConverged> {
    let plan = evaluators.first().map(Evaluator::plan);
    let service = match plan {
        Some(plan) if !still => service_states(plan),
        _ => vec![ServiceState::still()],
    };
    let required = plan.and_then(|p| p.requirements.iter().find(|r| r.measure == Measure::Life));
    let (x, y) = (axis(evaluators, x, required, &service)?, axis(evaluators, y, required, &service)?);
    let one = |e: &Evaluator<'_>| {
        let rows = rows(e, &x, &y, &service)?;
        let each = |of: fn(&Outcome) -> f64| rows.iter().map(|r| r.iter().map(of).collect()).collect();
        Ok(ArrangementMap {
            name: e.machine.name().into(),
            chosen: e.machine.arrangement == e.plan().chosen,
            perfect_life_km: e.perfect().life_km,
            life_km: each(|o| o.life_km),
            life_loss: each(|o| o.life_loss),
        })
    };
    let arrangements = evaluators.iter().map(one).collect::<Result<_, _>>()?;
    Ok(Map { still, required_life_km: required.map(|r| r.limit), arrangements, x, y })
}

/// What each cell comes to: by numbers, and so side by side where the machine allows it, if the plan draws both errors.
fn rows(evaluator: &Evaluator<'_>, x: &Axis, y: &Axis, service: &[ServiceState]) -> Result<Vec<Vec<Outcome>>, NotConverged> {
    let draws = Draws::new(evaluator.plan(), evaluator.machine.rails());
    let place = |axis: &Axis| draws.places().iter().position(|p| matches!(p, Place::Value { .. }) && p.kind() == axis.kind);
    let (Some(across), Some(up)) = (place(x), place(y)) else {
        let one = |work: &mut Work, v: &f64| x.values.iter().map(|u| at(evaluator, &[(x, *u), (y, *v)], service, work)).collect();
        return y.values.par_iter().map_init(Work::default, one).collect();
    };
    let batch = Batch::new(evaluator, &draws, service)?;
    let one = |work: &mut BatchWork, v: &f64| {
        let mut numbers = vec![ZERO; draws.places().len()];
        numbers[up] = Lane([v * factor(y.unit); LANES]);
        let mut row = Vec::with_capacity(x.values.len());
        for some in x.values.chunks(LANES) {
            some.iter().enumerate().for_each(|(i, u)| numbers[across][i] = u * factor(x.unit));
            row.extend(batch.run(&numbers, some.len(), work).map_err(|(_, e)| e)?);
        }
        Ok(row)
    };
    y.values.par_iter().map_init(BatchWork::default, one).collect()
}

/// What an installation with these errors alone comes to.
fn at(evaluator: &Evaluator<'_>, errors: &[(&Axis, f64)], service: &[ServiceState], work: &mut Work) -> Result<Outcome, NotConverged> {
    let mut installation = Installation::perfect(evaluator.plan());
    for (axis, value) in errors {
        axis.kind.spec().home.set(0, value * factor(axis.unit), &mut installation);
    }
    evaluator.evaluate(&installation, service, work)
}

fn factor(unit: &str) -> f64 {
    if unit == "mrad" { MRAD } else { 1.0 }
}

/// The axis of an error: past its planned tolerance, and on to where the required life ends in any arrangement.
fn axis(
    evaluators: &[Evaluator<'_>],
    spec: &ErrorSpec,
    required: Option<&Requirement>,
    service: &[ServiceState],
) -> Result<Axis, NotConverged> {
    let unit = if spec.angle { "mrad" } else { "mm" };
    let planned = evaluators.first().and_then(|e| planned(e.plan(), spec, unit));
    let own = planned.map_or(0.0, |(low, high): (f64, f64)| low.abs().max(high.abs()));
    let own = if own > 0.0 { own } else { 1.0 };
    let mut axis = Axis { kind: spec.kind, key: spec.key, label: spec.label, unit, planned, values: Vec::new() };
    let mut reach = PAST_PLANNED * own;
    let mut work = Work::default();
    for (evaluator, required) in evaluators.iter().filter_map(|e| Some((e, required?))) {
        let mut fails = |u: f64| Ok(shortfall(required, &at(evaluator, &[(&axis, u)], service, &mut work)?) > 0.0);
        let most = AT_MOST * own;
        if fails(0.0)? || !(fails(most)? || fails(-most)?) {
            continue;
        }
        let (mut low, mut high) = (0.0, most);
        for _ in 0..12 {
            let middle = f64::midpoint(low, high);
            if fails(middle)? || fails(-middle)? { high = middle } else { low = middle }
        }
        reach = reach.max(MARGIN * high);
    }
    let reach = round_up(reach);
    axis.values = (0..=CELLS).map(|i| reach * (2.0 * i as f64 / CELLS as f64 - 1.0)).collect();
    Ok(axis)
}

fn planned(plan: &Plan, spec: &ErrorSpec, unit: &str) -> Option<(f64, f64)> {
    plan.errors.get(spec.kind).map(|s| (s.lower / factor(unit), s.upper / factor(unit)))
}

/// The next number with a round first digit or a half behind it.
fn round_up(x: f64) -> f64 {
    let decade = 10.0_f64.powf(x.log10().floor());
    (2.0 * x / decade - 1e-9).ceil() * decade / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_a_reach_is_rounded_up_to_the_next_half_of_its_first_digit() {
        for (x, expected) in [
            (0.025, 0.025),
            (0.0251, 0.03),
            (1.0, 1.0),
            (1.01, 1.5),
            (2.5, 2.5),
            (2.6, 3.0),
            (7.49, 7.5),
            (9.6, 10.0),
            (120.0, 150.0),
            (3000.0, 3000.0),
        ] {
            assert!((round_up(x) / expected - 1.0).abs() < 1e-12, "{x}: {} not {expected}", round_up(x));
        }
    }

    /// The demo at two stations and what its map shows of two errors, in no season.
    fn demo(change: impl FnOnce(&mut Plan)) -> Plan {
        let text = include_str!("../../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 2 ");
        let mut plan = crate::input::read_plan(&text, "panel-bridge.toml").unwrap();
        change(&mut plan);
        plan
    }

    fn evaluator(plan: &Plan, arrangement: usize) -> Evaluator<'_> {
        Evaluator::new(crate::structure::Machine::new(plan, arrangement).unwrap(), plan.study.drag).unwrap()
    }

    fn spec(kind: ErrorKind) -> &'static ErrorSpec {
        ErrorKind::ALL.iter().find(|s| s.kind == kind).unwrap()
    }

    /// Against an installation of each error in its own unit: 0.5 mrad is 0.5e-3 rad, on either axis, drawn by the plan or not.
    #[test]
    fn check_cells_are_what_an_installation_with_both_errors_comes_to() {
        let (a, b) = (ErrorKind::CrossLevel(0), ErrorKind::Height);
        for drawn in [true, false] {
            let plan = demo(|plan| plan.errors.sources.retain(|s| s.kind == a || s.kind == b && drawn));
            let e = evaluator(&plan, 1);
            let still = [ServiceState::still()];
            let axis = |kind: ErrorKind, values: &[f64]| {
                let unit = if kind == a { "mrad" } else { "mm" };
                Axis { kind, key: "", label: "", unit, planned: None, values: values.to_vec() }
            };
            for (x, y) in [(axis(a, &[-0.5, 0.1, 0.4]), axis(b, &[0.3, -0.2])), (axis(b, &[-0.5, 0.1, 0.4]), axis(a, &[0.3, -0.2]))] {
                let found = rows(&e, &x, &y, &still).unwrap();
                for (row, v) in found.iter().zip(&y.values) {
                    for (cell, u) in row.iter().zip(&x.values) {
                        let (mrad, mm) = if x.kind == a { (u, v) } else { (v, u) };
                        let mut installation = Installation { height_mm: *mm, ..Installation::perfect(&plan) };
                        installation.cross_level_rad[0] = 1e-3 * mrad;
                        let expected = e.evaluate(&installation, &still, &mut Work::default()).unwrap();
                        assert!((cell.life_km / expected.life_km - 1.0).abs() < 1e-6, "{drawn} {mrad} {mm}: {}", cell.life_km);
                    }
                }
            }
        }
    }

    #[test]
    fn check_the_chosen_arrangement_is_marked() {
        let plan = demo(|plan| plan.errors.sources.retain(|s| [ErrorKind::Height, ErrorKind::Span].contains(&s.kind)));
        let evaluators = [0, 1].map(|arrangement| evaluator(&plan, arrangement));
        let found = map(&evaluators, spec(ErrorKind::Span), spec(ErrorKind::Height), true).unwrap();
        assert_eq!(
            found.arrangements.iter().map(|a| (a.name.as_str(), a.chosen)).collect::<Vec<_>>(),
            [("stiff", false), ("floating", true)]
        );
    }

    /// By hand: an axis goes a fifth past where the required life ends, to the next half of a first digit; but not to an end that lies
    /// beyond twelve planned tolerances. Angles are planned in radians and shown in mrad.
    #[test]
    fn ref_an_axis_follows_the_required_life_up_to_twelve_planned_tolerances() {
        let plan = demo(|plan| {
            plan.errors.sources.iter_mut().filter(|s| s.kind == ErrorKind::Height).for_each(|s| (s.lower, s.upper) = (-0.5, 0.4));
        });
        let e = evaluator(&plan, 1);
        let still = [ServiceState::still()];
        let reach = |end_mm: f64| {
            let life = |height_mm: f64| {
                let installation = Installation { height_mm, ..Installation::perfect(&plan) };
                e.evaluate(&installation, &still, &mut Work::default()).unwrap().life_km
            };
            let limit = life(end_mm).min(life(-end_mm));
            let required = Requirement { measure: Measure::Life, limit, quantile: 0.95, confidence: 0.95 };
            let found = axis(std::slice::from_ref(&e), spec(ErrorKind::Height), Some(&required), &still).unwrap();
            assert_eq!((found.planned, found.values.len()), (Some((-0.5, 0.4)), CELLS + 1));
            assert!((found.values[0] + found.values[CELLS]).abs() < 1e-12);
            found.values[CELLS]
        };
        // 2.5 x 0.5 = 1.25; 1.2 x 2 = 2.4; 1.2 x 5.5 = 6.6; 9 mm is past 12 x 0.5.
        let near = |found: f64, expected: f64| assert!((found - expected).abs() < 1e-9, "{found} not {expected}");
        near(reach(0.7), 1.5);
        near(reach(2.0), 2.5);
        near(reach(5.5), 7.0);
        near(reach(9.0), 1.5);
        let angle = spec(ErrorKind::CrossLevel(0));
        let (lower, upper) = planned(&plan, angle, "mrad").unwrap();
        assert!((lower + 0.5).abs() < 1e-12 && (upper - 0.5).abs() < 1e-12);
    }
}
