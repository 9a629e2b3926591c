//! The cheapest tolerances that still meet the requirements, for each arrangement, from the user's own hours.
//!
//! Errors without a cost keep their planned tolerance. A set is found on common random numbers (`search.rs`), rounded down to
//! two digits and then shown to meet every requirement by a fresh run with another seed, or tightened until it does.

mod search;

use super::verdict::{Status, Verdict};
use crate::draw::Draws;
use crate::evaluate::Outcome;
use crate::evaluate::service_states;
use crate::evaluate::{Evaluator, Work};
use crate::input::cost::{ErrorCost, set_tolerance, tolerance_of};
use crate::input::plan::{Measure, Requirement};
use crate::input::sources::ErrorSpec;
use crate::input::{ErrorKind, Plan};
use crate::math::order::quantile;
use crate::math::proportion::lower_limit;
use crate::structure::NotConverged;
use crate::sweep::batch::drawn_outcomes;
use crate::units::MRAD;

use search::Search;

/// Installations for each step of a budget.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BudgetEffort {
    /// While tolerances are exchanged.
    pub coarse: u64,
    /// For the last common scale.
    pub fine: u64,
    /// Of the fresh run that verifies.
    pub verify: u64,
    /// Rounds of exchange.
    pub rounds: usize,
}

impl BudgetEffort {
    /// For an answer.
    pub const FULL: Self = Self { coarse: 600, fine: 4000, verify: 10_000, rounds: 6 };
}

/// Most steps of 2 % by which a set is tightened until a fresh run shows it.
const STEPS: usize = 15;
const STEP: f64 = 0.02;

/// One error with a cost, as the table shows it.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct CostedError {
    /// Its key in the plan.
    pub key: &'static str,
    /// Its name.
    pub label: &'static str,
    /// mm or mrad.
    pub unit: &'static str,
    /// True where the tolerance is a zone from peak to valley, false for plus or minus.
    pub zone: bool,
    /// Planned tolerance, in `unit`.
    pub planned: f64,
    /// Hours that it costs.
    pub planned_hours: f64,
}

/// A set that was shown to hold.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Set {
    /// Tolerance of each costed error, in its unit.
    pub tolerances: Vec<f64>,
    /// Hours of each.
    pub hours: Vec<f64>,
    /// True where a tolerance stands at the tightest or loosest that may be asked for.
    pub at_bound: Vec<bool>,
    /// Hours if all planned tolerances were scaled alike to the same requirements (before rounding); none where no scale meets them.
    pub scaled_hours: Option<f64>,
    /// Requirements, from the fresh run.
    #[serde(skip)]
    pub verdicts: Vec<Verdict>,
    /// Share of a float's travel used at 95 in 100, 0 without floats.
    pub float_travel_used: f64,
    /// Tool point off at 95 in 100, mm.
    pub tool_displacement_mm: f64,
    /// Life at 5 in 100, km.
    pub life_km: f64,
}

/// Why there is no set.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct NoBudget {
    /// Key of the requirement that stops it.
    pub requirement: &'static str,
    /// What it comes to at its quantile with every costed tolerance at its tightest.
    pub at_tightest: f64,
    /// True where the machine without any error fails it already, in service.
    pub without_errors: bool,
}

/// One arrangement.
#[derive(Debug, Clone, PartialEq)]
pub struct ArrangementBudget {
    /// Name in the plan.
    pub name: String,
    /// True for the arrangement that sets the exit code.
    pub chosen: bool,
    /// True if it has floating components.
    pub has_floats: bool,
    /// True where the planned tolerances meet all requirements on the fresh run.
    pub planned_meets: bool,
    /// The set, or why there is none.
    pub set: Result<Set, NoBudget>,
}

/// All arrangements.
#[derive(Debug, Clone, PartialEq)]
pub struct BudgetResult {
    /// The errors with a cost, in the order of the plan.
    pub errors: Vec<CostedError>,
    /// Seed of the search; the fresh run has the next one.
    pub seed: u64,
    /// Installations of the fresh run.
    pub verified_by: u64,
    /// The arrangements in the order of the plan.
    pub arrangements: Vec<ArrangementBudget>,
}

/// The cheapest set for every arrangement.
///
/// # Errors
/// An equilibrium was not found.
pub fn budget(evaluators: &[Evaluator<'_>], effort: BudgetEffort, seed: u64, progress: &dyn Fn()) -> Result<BudgetResult, NotConverged> {
    let plan = evaluators.first().map(Evaluator::plan);
    let errors = plan.map_or_else(Vec::new, |p| costed(p).map(|(spec, cost, t)| described(spec, cost, t)).collect());
    let one = |e: &Evaluator<'_>| arrangement(&Asked { evaluator: e, costs: costed(e.plan()).collect() }, effort, seed, progress);
    let arrangements = evaluators.iter().map(one).collect::<Result<_, _>>()?;
    Ok(BudgetResult { errors, seed, verified_by: effort.verify, arrangements })
}

/// Errors with a cost and their planned tolerances.
fn costed(plan: &Plan) -> impl Iterator<Item = (&'static ErrorSpec, &ErrorCost, f64)> {
    plan.errors.costs.iter().filter_map(|cost| {
        let spec = ErrorKind::ALL.iter().find(|s| s.kind == cost.kind)?;
        Some((spec, cost, tolerance_of(plan.errors.get(cost.kind)?, spec)))
    })
}

fn unit(spec: &ErrorSpec) -> (&'static str, f64) {
    if spec.angle { ("mrad", MRAD) } else { ("mm", 1.0) }
}

fn described(spec: &'static ErrorSpec, cost: &ErrorCost, t: f64) -> CostedError {
    let (unit, factor) = unit(spec);
    let zone = spec.zone == crate::input::sources::ZoneMeaning::PeakToValley;
    CostedError { key: spec.key, label: spec.label, unit, zone, planned: t / factor, planned_hours: cost.hours(t) }
}

/// One machine asked with other tolerances than its plan's.
struct Asked<'e, 'p> {
    evaluator: &'e Evaluator<'p>,
    costs: Vec<(&'static ErrorSpec, &'p ErrorCost, f64)>,
}

impl Asked<'_, '_> {
    fn planned(&self) -> Vec<f64> {
        self.costs.iter().map(|c| c.2).collect()
    }

    fn hours(&self, set: &[f64]) -> f64 {
        self.costs.iter().zip(set).map(|((_, cost, _), t)| cost.hours(*t)).sum()
    }

    /// Draws installations with these tolerances; the same seed gives the same unit draws.
    fn outcomes(&self, set: &[f64], seed: u64, n: u64) -> Result<Vec<Outcome>, NotConverged> {
        let mut plan = self.evaluator.plan().clone();
        for ((spec, cost, _), t) in self.costs.iter().zip(set) {
            plan.errors.sources.iter_mut().filter(|s| s.kind == cost.kind).for_each(|s| set_tolerance(s, spec, *t));
        }
        let draws = Draws::new(&plan, self.evaluator.machine.rails());
        let service = service_states(&plan);
        drawn_outcomes(self.evaluator, &draws, &service, seed, n)
    }

    fn requirements(&self) -> impl Iterator<Item = &Requirement> {
        let floats = self.evaluator.machine.float_count() > 0;
        self.evaluator.plan().requirements.iter().filter(move |r| floats || r.measure != Measure::FloatTravel)
    }

    /// Each requirement's distance from its limit, as a logarithm, at the rank that shows it to be met; above 0 if it is.
    fn margins(&self, outcomes: &[Outcome]) -> Vec<f64> {
        self.requirements().map(|r| margin(r, outcomes)).collect()
    }

    fn verdicts(&self, outcomes: &[Outcome]) -> Vec<Verdict> {
        let floats = self.evaluator.machine.float_count() > 0;
        let perfect = self.evaluator.perfect();
        self.evaluator.plan().requirements.iter().map(|r| Verdict::of(r, outcomes, &perfect, floats)).collect()
    }
}

/// Margins that say no more than "far away".
const FAR: f64 = 3.0;

/// Logarithm of value over limit (limit over value where less is better), of the installation that must still meet it so that
/// the share is shown with the requirement's confidence.
fn margin(r: &Requirement, outcomes: &[Outcome]) -> f64 {
    let n = outcomes.len() as u64;
    let tail = 1.0 - r.confidence;
    // The fewest hits that show the share; all of them where even that is not enough.
    let (mut low, mut high) = (0, n);
    while high - low > 1 {
        let middle = u64::midpoint(low, high);
        if lower_limit(middle, n, tail).is_some_and(|l| l >= r.quantile) { high = middle } else { low = middle }
    }
    let one = |o: &Outcome| {
        let value = r.measure.of(o);
        let at_least = value.max(1e-12);
        let m = if r.measure.more_is_better() { at_least / r.limit } else { r.limit / at_least };
        // Cut from below, a number that is none would be the least.
        if value.is_nan() { -FAR } else { m.ln().clamp(-10.0, FAR) }
    };
    let mut margins: Vec<f64> = outcomes.iter().map(one).collect();
    margins.sort_by(|a, b| b.total_cmp(a));
    margins.get((high as usize).saturating_sub(1)).copied().unwrap_or(-FAR)
}

fn met(verdicts: &[Verdict]) -> bool {
    verdicts.iter().all(|v| matches!(v.status, Status::Met | Status::NotApplicable))
}

fn arrangement(asked: &Asked<'_, '_>, effort: BudgetEffort, seed: u64, progress: &dyn Fn()) -> Result<ArrangementBudget, NotConverged> {
    let evaluator = asked.evaluator;
    let fresh = seed.wrapping_add(1);
    let planned_meets = met(&asked.verdicts(&asked.outcomes(&asked.planned(), fresh, effort.verify)?));
    let search = Search { asked, effort, seed, progress };
    let set = match search.cheapest()? {
        None => Err(no_set(asked, seed, effort.fine)?),
        Some(found) => verified(asked, &found.set, found.scaled_hours, fresh, effort.verify)?,
    };
    Ok(ArrangementBudget {
        name: evaluator.machine.name().into(),
        chosen: evaluator.machine.arrangement == evaluator.plan().chosen,
        has_floats: evaluator.machine.float_count() > 0,
        planned_meets,
        set,
    })
}

/// The set rounded down and tightened until a fresh run shows that it meets all requirements.
fn verified(
    asked: &Asked<'_, '_>,
    set: &[f64],
    scaled_hours: Option<f64>,
    seed: u64,
    n: u64,
) -> Result<Result<Set, NoBudget>, NotConverged> {
    for step in 0..=STEPS {
        let shrink = (-STEP * step as f64).exp();
        let rounded: Vec<f64> = asked.costs.iter().zip(set).map(|((spec, cost, _), t)| round_down(t * shrink, spec, cost)).collect();
        let outcomes = asked.outcomes(&rounded, seed, n)?;
        let verdicts = asked.verdicts(&outcomes);
        if !met(&verdicts) {
            continue;
        }
        let at = |of: fn(&Outcome) -> f64, p: f64| {
            let mut values: Vec<f64> = outcomes.iter().map(of).collect();
            values.sort_by(f64::total_cmp);
            quantile(&values, p, 0.95).map_or(f64::NAN, |q| q.value)
        };
        let costs = || asked.costs.iter().zip(&rounded);
        return Ok(Ok(Set {
            hours: costs().map(|((_, cost, _), t)| cost.hours(*t)).collect(),
            at_bound: costs().map(|((_, c, _), t)| *t <= c.tightest * 1.0001 || *t >= c.loosest * 0.95).collect(),
            tolerances: costs().map(|((spec, _, _), t)| t / unit(spec).1).collect(),
            scaled_hours,
            float_travel_used: at(|o| o.float_travel_used, 0.95),
            tool_displacement_mm: at(|o| o.tool_displacement_mm, 0.95),
            life_km: at(|o| o.life_km, 0.05),
            verdicts,
        }));
    }
    Ok(Err(no_set(asked, seed, n)?))
}

/// Down to two digits of the tolerance's own unit (steps of 0.05 from 1 to 2), but not below the tightest.
fn round_down(t: f64, spec: &ErrorSpec, cost: &ErrorCost) -> f64 {
    let factor = unit(spec).1;
    let (t, tightest) = (t / factor, cost.tightest / factor);
    let decade = 10.0_f64.powf(t.log10().floor());
    let step = if t < 2.0 * decade { 0.05 * decade } else { 0.1 * decade };
    let rounded = ((t / step + 1e-9).floor() * step * 1e9).round() / 1e9;
    rounded.max(tightest) * factor
}

fn no_set(asked: &Asked<'_, '_>, seed: u64, n: u64) -> Result<NoBudget, NotConverged> {
    let tightest: Vec<f64> = asked.costs.iter().map(|c| c.1.tightest).collect();
    let outcomes = asked.outcomes(&tightest, seed, n)?;
    let margins = asked.margins(&outcomes);
    let worst = asked.requirements().zip(&margins).min_by(|a, b| a.1.total_cmp(b.1)).map(|(r, _)| *r);
    let perfect = crate::input::Installation::perfect(asked.evaluator.plan());
    let service = service_states(asked.evaluator.plan());
    let without = asked.evaluator.evaluate(&perfect, &service, &mut Work::default())?;
    let Some(r) = worst else { return Ok(NoBudget { requirement: "", at_tightest: f64::NAN, without_errors: false }) };
    let mut values: Vec<f64> = outcomes.iter().map(|o| r.measure.of(o)).collect();
    values.sort_by(f64::total_cmp);
    let p = if r.measure.more_is_better() { 1.0 - r.quantile } else { r.quantile };
    Ok(NoBudget {
        requirement: r.measure.key(),
        at_tightest: quantile(&values, p, 0.95).map_or(f64::NAN, |q| q.value),
        without_errors: super::shortfall::shortfall(&r, &without) > 0.0,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::read_plan;

    #[test]
    fn check_tolerances_are_rounded_down_to_two_digits_of_their_unit() {
        let cost = "\n[cost]\nheight = { law = \"reciprocal\", hours = 2, at_mm = 0.5, tightest_mm = 0.05 }\ncross_level_a = { law = \"reciprocal\", hours = 1, at_mrad = 0.5, tightest_mrad = 0.05 }\n";
        let text = format!("{}{cost}", include_str!("../../../examples/panel-bridge.toml"));
        let plan = read_plan(&text, "panel-bridge.toml").unwrap_or_else(|e| panic!("{e}"));
        let costs: Vec<_> = costed(&plan).collect();
        for (t, rounded) in [
            (1.0, 1.0),
            (1.049, 1.0),
            (1.05, 1.05),
            (1.99, 1.95),
            (2.0, 2.0),
            (2.09, 2.0),
            (9.99, 9.9),
            (0.123, 0.12),
            (0.2, 0.2),
            (0.03, 0.05),
        ] {
            for (spec, cost, _) in &costs {
                let factor = unit(spec).1;
                let found = round_down(t * factor, spec, cost) / factor;
                assert!((found - rounded).abs() < 1e-9, "{}: {t} to {found}, not {rounded}", spec.key);
            }
        }
        assert_eq!(costs.len(), 2);
    }

    /// The demo with two heights that have costs and no heat: with stiff joints the tool point is off in proportion to both.
    pub(super) fn two_heights(kept: &[ErrorKind], limits_mm: &[f64]) -> Plan {
        let cost = "\n[cost]\nheight = { law = \"reciprocal\", hours = 8, at_mm = 0.5, tightest_mm = 0.05, loosest_mm = 5 }\nvertical_parallelism = { law = \"reciprocal\", hours = 1, at_mm = 0.5 }\n";
        let text = format!("{}{cost}", include_str!("../../../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 2 "));
        let mut plan = read_plan(&text, "panel-bridge.toml").unwrap_or_else(|e| panic!("{e}"));
        plan.errors.sources.retain(|s| kept.contains(&s.kind));
        let thermal = crate::input::plan::Thermal::default();
        plan.seasons = vec![crate::input::plan::Season { name: "still".into(), share: 1.0, thermal }];
        let off = |limit: &f64| Requirement { measure: Measure::ToolDisplacement, limit: *limit, quantile: 0.95, confidence: 0.95 };
        plan.requirements = limits_mm.iter().map(off).collect();
        plan
    }

    pub(super) fn asked<'e, 'p>(evaluator: &'e Evaluator<'p>) -> Asked<'e, 'p> {
        Asked { evaluator, costs: costed(evaluator.plan()).collect() }
    }

    pub(super) fn stiff(plan: &Plan) -> Evaluator<'_> {
        Evaluator::new(crate::structure::Machine::new(plan, 0).unwrap(), plan.study.drag).unwrap()
    }

    /// How far off the tool point is of the installation that must still hold, at a height of +-1 mm.
    fn off_mm(seed: u64, n: u64) -> f64 {
        let plan = two_heights(&[ErrorKind::Height], &[1.0]);
        let evaluator = stiff(&plan);
        let asked = asked(&evaluator);
        (-asked.margins(&asked.outcomes(&[1.0], seed, n).unwrap())[0]).exp()
    }

    /// By hand: what is off is in proportion to the tolerance, so 0.3 mm with a margin of -0.1 holds from 0.3 e^-0.1 = 0.2715 mm on.
    /// Steps of 2 % lead from 0.3 by 0.2941, 0.2882, 0.2825 to 0.2769, each of them rounded down.
    #[test]
    fn ref_a_set_that_fails_is_tightened_step_by_step() {
        let off = off_mm(5, 300);
        let verified = |tolerance: f64, limit: f64| {
            let plan = two_heights(&[ErrorKind::Height], &[limit]);
            let evaluator = stiff(&plan);
            verified(&asked(&evaluator), &[tolerance], Some(3.0), 5, 300).unwrap()
        };
        let set = verified(0.3, off * 0.3 * (-0.1_f64).exp()).unwrap();
        assert!((set.tolerances[0] - 0.27).abs() < 1e-9, "{set:?}");
        assert!((set.hours[0] - 8.0 * 0.5 / 0.27).abs() < 1e-9 && set.scaled_hours == Some(3.0) && set.at_bound == [false]);
        // Fifteen steps are 30 %: what fails by more has no set.
        let none = verified(0.3, off * 0.3 * (-0.4_f64).exp()).unwrap_err();
        assert_eq!((none.requirement, none.without_errors), ("tool_displacement_mm", false));
        // At the tightest; within a twentieth of the loosest.
        for (tolerance, at_bound) in [(0.05, true), (0.06, false), (4.7, false), (4.8, true), (5.0, true)] {
            let set = verified(tolerance, 100.0).unwrap();
            assert!((set.tolerances[0] - tolerance).abs() < 1e-9 && set.at_bound == [at_bound], "{set:?}");
        }
    }

    /// Wilks: of 59 installations all must hold to show 95 in 100 with 95 % confidence, of 93 all but one, of 124 all but two.
    #[test]
    fn ref_the_margin_is_that_of_the_installation_that_must_still_hold() {
        let life = Requirement { measure: Measure::Life, limit: 100.0, quantile: 0.95, confidence: 0.95 };
        let force = Requirement { measure: Measure::JointForce, limit: 100.0, ..life };
        // From the worst on: 101, 102 ... km; 100/101, 100/102 ... of 100 N.
        let of = |n: u32| -> Vec<Outcome> {
            let one = |i: u32| Outcome { life_km: f64::from(101 + i), joint_force_n: 1e4 / f64::from(101 + i), ..Outcome::start() };
            (0..n).map(one).collect()
        };
        for (n, hand) in [(59, 1.01), (92, 1.01), (93, 1.02), (123, 1.02), (124, 1.03)] {
            for requirement in [&life, &force] {
                let found = margin(requirement, &of(n));
                assert!((found - f64::ln(hand)).abs() < 1e-12, "{n}: {found} not ln {hand}");
            }
        }
        // With fewer nothing can be shown; what comes to no number, or was not drawn, counts as far off.
        assert!((margin(&life, &of(20)) - 1.01_f64.ln()).abs() < 1e-12);
        let nan = Outcome { life_km: f64::NAN, joint_force_n: f64::NAN, ..Outcome::start() };
        assert_eq!([margin(&life, &[nan; 100]), margin(&force, &[nan; 100]), margin(&life, &[])], [-FAR; 3]);
        let at = |life_km: f64, joint_force_n: f64| [Outcome { life_km, joint_force_n, ..Outcome::start() }; 100];
        assert_eq!((margin(&life, &at(1e9, 0.0)), margin(&force, &at(1e9, 0.0))), (FAR, FAR));
        assert_eq!((margin(&life, &at(0.0, 1e9)), margin(&force, &at(0.0, 1e9))), (-10.0, -10.0));
    }
}
