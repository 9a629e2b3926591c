//! Is what a study counts in equilibrium? Some of its installations are solved again by the full search in 24 freedoms, pose by
//! pose: how far that search is from balance, and how far the study's figures are from it.

use crate::bearing::{EquivalentLoad, LifeSum, effective_load, rating_life_km, system_life_km};
use crate::draw::Draws;
use crate::draw::run;
use crate::evaluate::Evaluator;
use crate::evaluate::Outcome;
use crate::evaluate::{ServiceState, service_states};
use crate::input::Installation;
use crate::structure::{NotConverged, Response, Situation};
use crate::sweep::batch::Batch;
use crate::sweep::drawn;

/// Installations that are solved again.
const INSTALLATIONS: u64 = 2;

/// Largest relative difference of a figure on a machine that is well held and has no fast path.
const ALLOWED: f64 = 1e-9;

/// The same on the fast path, which counts in single precision: 1.3e-6 was the most in thousands of installations of machines on the
/// edge of what a plan may state. Rounding must not stop a study.
const ALLOWED_ON_FAST_PATH: f64 = 1e-5;

/// Digits that a unit of the condition number takes (ten times the rounding of double precision), and how far that is followed.
const PER_CONDITION: f64 = 1e-15;
const ALLOWED_AT_MOST: f64 = 1e-7;

/// The same where joints take something up when they are tightened, with or without a fast path: take-ups have weak directions.
const ALLOWED_WITH_TAKE_UP: f64 = 1e-5;

/// Largest rotation of a truck or a bridge end, rad: the model takes rotations as small (half a per cent there).
const LARGEST_ROTATION: f64 = 0.1;

/// How well the equilibrium is met on one arrangement.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Balance {
    /// Name of the arrangement.
    pub arrangement: String,
    /// Equilibria that were solved again.
    pub equilibria: u64,
    /// Largest unbalanced force (moments over 100 mm) of any over the largest load; above 1e-8 the search fails.
    pub residual: f64,
    /// Largest relative difference between the study's figures and those of the full search: largest load, static safety, joint
    /// force (over the largest load, where that is larger) and, while blocks are springs, life.
    pub difference: f64,
    /// What it may be at most.
    pub allowed_difference: f64,
}

/// A study's figures cannot be trusted.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotBalanced {
    /// The search itself failed.
    #[error(transparent)]
    NotConverged(#[from] NotConverged),
    /// The machine turns farther than the model can follow.
    #[error(
        "draw {draw}: the machine turns by {rotation_mrad:.0} mrad under its loads and errors: rotations count as small up to {} mrad (weakest: {weakest})",
        1e3 * LARGEST_ROTATION
    )]
    TurnsTooFar {
        /// Number of the drawn installation.
        draw: usize,
        /// Largest rotation of a truck or a bridge end.
        rotation_mrad: f64,
        /// The direction in which it is held least.
        weakest: String,
    },
    /// Two ways to one installation do not agree.
    #[error(
        "draw {draw}: the {figure} of the fast way is {fast}, of the full search {full}: they differ by more than {allowed:.0e} (condition number {condition:.0e}, weakest: {weakest})"
    )]
    Differs {
        /// Number of the drawn installation.
        draw: usize,
        /// Which figure.
        figure: &'static str,
        /// As the study counts it.
        fast: f64,
        /// By the full search.
        full: f64,
        /// Relative difference that is allowed.
        allowed: f64,
        /// Condition number of the machine.
        condition: f64,
        /// The direction in which it is held least.
        weakest: String,
    },
}

/// Solves the first drawn installations of a seed again and compares.
///
/// # Errors
/// An equilibrium was not found, or a study's figures differ from it by more than is allowed.
pub fn balance(evaluator: &Evaluator<'_>, seed: u64) -> Result<Balance, NotBalanced> {
    let machine = &evaluator.machine;
    let service = service_states(machine.plan);
    let draws = Draws::new(machine.plan, machine.rails());
    let installations = run(0, INSTALLATIONS, seed, || (), |(), _, rng| draws.draw(rng));
    let fast = drawn(evaluator, seed, INSTALLATIONS)?;
    compare(evaluator, &draws, &service, &installations, &fast)
}

fn compare(
    evaluator: &Evaluator<'_>,
    draws: &Draws<'_>,
    service: &[ServiceState],
    installations: &[Installation],
    fast: &[Outcome],
) -> Result<Balance, NotBalanced> {
    let machine = &evaluator.machine;
    let takes_up =
        machine.plan.arrangements[machine.arrangement].ends.iter().flatten().any(|j| j.components.iter().any(|c| c.take_up > 0.0));
    let of_condition = ALLOWED.max(PER_CONDITION * machine.condition).min(ALLOWED_AT_MOST);
    let allowed = match (takes_up, Batch::new(evaluator, draws, service)?.is_fast()) {
        (true, _) => ALLOWED_WITH_TAKE_UP,
        (false, true) => ALLOWED_ON_FAST_PATH,
        (false, false) => of_condition,
    };
    let mut found =
        Balance { arrangement: machine.name().into(), equilibria: 0, residual: 0.0, difference: 0.0, allowed_difference: allowed };
    for (draw, (installation, fast)) in installations.iter().zip(fast).enumerate() {
        let full = searched(evaluator, installation, service, &mut found)?;
        if !(full.rotation_rad <= LARGEST_ROTATION) {
            return Err(NotBalanced::TurnsTooFar { draw, rotation_mrad: 1e3 * full.rotation_rad, weakest: machine.weakest.clone() });
        }
        for figure in full.beside(fast) {
            let difference = difference(figure);
            let (figure, fast, full, _) = figure;
            if !(difference <= allowed) {
                let (condition, weakest) = (machine.condition, machine.weakest.clone());
                return Err(NotBalanced::Differs { draw, figure, fast, full, allowed, condition, weakest });
            }
            found.difference = found.difference.max(difference);
        }
    }
    Ok(found)
}

/// Name of a figure, the study's value, that of the full search, and what their difference is at least counted over.
type Beside = (&'static str, f64, f64, f64);

/// Two endless lives are the same; a number that is none differs from everything.
fn difference((_, fast, full, at_least): Beside) -> f64 {
    if fast == full { 0.0 } else { (fast - full).abs() / fast.abs().max(full.abs()).max(at_least) }
}

/// Figures of an installation by the full search.
struct Searched {
    peak_load_n: f64,
    static_safety: f64,
    joint_force_n: f64,
    life_km: Option<f64>,
    /// Largest rotation of a truck or a bridge end.
    rotation_rad: f64,
}

impl Searched {
    /// Slots may take up nearly all that a joint would carry; what is left is known by the digits of the loads around it.
    fn beside(&self, fast: &Outcome) -> Vec<Beside> {
        let mut list = vec![
            ("largest block load, N,", fast.peak_load_n, self.peak_load_n, 0.0),
            ("static safety", fast.static_safety, self.static_safety, 0.0),
            ("largest joint force, N,", fast.joint_force_n, self.joint_force_n, self.peak_load_n),
        ];
        list.extend(self.life_km.map(|life| ("life, km,", fast.life_km, life, 0.0)));
        list
    }
}

/// Solves every situation of an installation from nothing.
fn searched(
    evaluator: &Evaluator<'_>,
    installation: &Installation,
    service: &[ServiceState],
    found: &mut Balance,
) -> Result<Searched, NotConverged> {
    let (machine, block) = (&evaluator.machine, &evaluator.machine.plan.block);
    let plan = machine.plan;
    let drags = evaluator.drags();
    let taken_up = evaluator.taken_up(installation)?;
    let mut lives = vec![LifeSum::default(); plan.block_count()];
    let (mut peak_load_n, mut peak_static_n, mut joint_force_n, mut rotation_rad) = (0.0_f64, 0.0_f64, 0.0_f64, 0.0_f64);
    for (&station_x_mm, station_share) in plan.frame.stations_x_mm.iter().zip(&plan.frame.station_share) {
        for state in service {
            for (case, duty) in plan.duty.iter().enumerate() {
                for &drag in &drags {
                    let skew_mm = state.skew_in_case_mm(machine, case);
                    let situation = Situation { station_x_mm, case, thermal: state.thermal, skew_mm, drag };
                    let response = machine.respond(installation, &taken_up, &situation)?;
                    (found.equilibria, found.residual) = (found.equilibria + 1, found.residual.max(response.residual));
                    joint_force_n = joint_force_n.max(largest_joint_force_n(&response));
                    let turns = response.pose.iter().enumerate().filter(|(i, _)| i % 6 > 2);
                    rotation_rad = turns.map(|(_, r)| r.abs()).fold(rotation_rad, f64::max);
                    let share = station_share * state.share * duty.share / drags.len() as f64;
                    for (load, life) in response.block_loads.iter().zip(&mut lives) {
                        let p = EquivalentLoad::of(block, load);
                        (peak_load_n, peak_static_n) = (peak_load_n.max(p.dynamic_n), peak_static_n.max(p.static_n));
                        if share > 0.0 {
                            life.add(block.element, share, effective_load(block, p.dynamic_n));
                        }
                    }
                }
            }
        }
    }
    let life = || system_life_km(block.element, lives.iter().map(|l| rating_life_km(block, l.mean_load_n(block.element))));
    // Rows count their own lives.
    let life_km = machine.rows().is_none().then(life);
    Ok(Searched { peak_load_n, static_safety: block.c0_n / peak_static_n, joint_force_n, life_km, rotation_rad })
}

/// Largest resultant force in one joint, N.
fn largest_joint_force_n(response: &Response) -> f64 {
    let forces = response.joints.iter().filter(|j| j.axis < 3);
    let square = |end, number| forces.clone().filter(|j| (j.end, j.number) == (end, number)).map(|j| j.force.powi(2)).sum::<f64>();
    response.joints.iter().map(|j| square(j.end, j.number)).fold(0.0, f64::max).sqrt()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

    use super::*;
    use crate::input::plan::DragStates;
    use crate::input::read_plan;
    use crate::structure::Machine;

    #[test]
    fn a_beam_like_a_rope_is_refused_and_not_computed_as_if_it_bent_a_little() {
        // Its ends turn on hinges; bolted ends hold a rope straight, and its sag between them is no freedom of the model.
        let text = include_str!("../../tests/corpus/base.toml").replace("e_mpa = 70000", "e_mpa = 0.1");
        let plan = read_plan(&text, "plan.toml").unwrap();
        let evaluator = Evaluator::new(Machine::new(&plan, 1).unwrap(), plan.study.drag).unwrap();
        let said = balance(&evaluator, 1).unwrap_err().to_string();
        assert!(said.contains("the machine turns by"), "{said}");
    }

    #[test]
    fn shipped_machines_are_in_balance_and_a_wrong_figure_is_an_error() {
        for text in [
            include_str!("../../examples/panel-bridge.toml"),
            include_str!("../../examples/glass-loader.toml"),
            include_str!("../../examples/tile-scanner.toml"),
        ] {
            let plan = read_plan(text, "plan.toml").unwrap();
            for a in 0..plan.arrangements.len() {
                let evaluator = Evaluator::new(Machine::new(&plan, a).unwrap(), plan.study.drag).unwrap();
                let found = balance(&evaluator, 3).unwrap();
                assert!(found.equilibria > 40 && found.residual > 0.0 && found.residual < 1e-8, "{found:?}");
                assert!(found.difference <= found.allowed_difference, "{found:?}");
                // A load that is a tenth of a per mille too small is found.
                let service = service_states(&plan);
                let draws = Draws::new(&plan, evaluator.machine.rails());
                let installations = run(0, 1, 3, || (), |(), _, rng| draws.draw(rng));
                let mut fast = drawn(&evaluator, 3, 1).unwrap();
                fast[0].peak_load_n *= 0.9999;
                let said = compare(&evaluator, &draws, &service, &installations, &fast).unwrap_err().to_string();
                assert!(said.contains("largest block load") && said.contains("draw 0"), "{said}");
                fast[0].peak_load_n = f64::NAN;
                assert!(compare(&evaluator, &draws, &service, &installations, &fast).is_err());
            }
        }
    }

    #[test]
    fn check_what_may_differ_hangs_on_the_way_on_take_ups_and_on_the_condition() {
        let text = include_str!("../../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 3 ");
        let plan = read_plan(&text, "plan.toml").unwrap();
        let compared = |arrangement: usize, drag: DragStates, condition: f64, off: f64| {
            let mut evaluator = Evaluator::new(Machine::new(&plan, arrangement).unwrap(), drag).unwrap();
            evaluator.machine.condition = condition;
            let (draws, service) = (Draws::new(&plan, evaluator.machine.rails()), service_states(&plan));
            let installations = run(0, 1, 3, || (), |(), _, rng| draws.draw(rng));
            let mut fast = drawn(&evaluator, 3, 1).unwrap();
            fast[0].static_safety *= 1.0 + off;
            compare(&evaluator, &draws, &service, &installations, &fast)
        };
        let allowed = |arrangement: usize, drag: DragStates, conditions: &[f64]| -> Vec<f64> {
            conditions.iter().map(|c| compared(arrangement, drag, *c, 0.0).unwrap().allowed_difference).collect()
        };
        // Joints that are tightened, and single precision, whatever else.
        assert_eq!(allowed(0, DragStates::BothSigns, &[1e2, 1e12]), [1e-5; 2]);
        assert_eq!(allowed(1, DragStates::BothSigns, &[1e2, 1e12]), [1e-5; 2]);
        // Drag by its law has no fast path: nine digits; each power of ten of a condition number above a million takes one, down to seven.
        let by_law = allowed(1, DragStates::Law, &[1e2, 1e5, 5e6, 1e12]);
        assert!(by_law.iter().zip([1e-9, 1e-9, 5e-9, 1e-7]).all(|(found, hand)| (found / hand - 1.0).abs() < 1e-12), "{by_law:?}");
        // What differs, but by less than that, is said as it is.
        let difference = compared(1, DragStates::Law, 1e2, 6e-10).unwrap().difference;
        assert!((difference / 6e-10 - 1.0).abs() < 0.1, "{difference}");
        for (drag, off) in [(DragStates::Law, 2e-9), (DragStates::BothSigns, 2e-5)] {
            let said = compared(1, drag, 1e2, off).unwrap_err();
            assert!(matches!(said, NotBalanced::Differs { figure: "static safety", draw: 0, .. }), "{said}");
        }
    }

    /// Slots that take everything up leave a joint next to nothing: a ten-thousandth of a newton more or less is no reason to
    /// refuse the machine, a tenth of a newton beside loads of some hundred is.
    #[test]
    fn check_a_joint_that_carries_nothing_is_measured_by_the_loads_around_it() {
        let full = Searched { peak_load_n: 800.0, static_safety: 9.0, joint_force_n: 2e-4, life_km: None, rotation_rad: 0.0 };
        let fast = |joint_force_n: f64| Outcome { peak_load_n: 800.0, static_safety: 9.0, joint_force_n, ..Outcome::start() };
        let off = |fast: &Outcome| full.beside(fast).into_iter().map(difference).fold(0.0, f64::max);
        assert!(off(&fast(1e-4)) < ALLOWED_WITH_TAKE_UP && off(&fast(0.1)) > ALLOWED_WITH_TAKE_UP);
    }

    /// A beam half as stiff turns by nearly twice as much: the hinges at its ends hold a little of it.
    #[test]
    fn check_how_far_a_machine_turns_is_said_in_its_unit() {
        let turns = |e_mpa: f64| {
            let text = include_str!("../../tests/corpus/base.toml").replace("e_mpa = 70000", &format!("e_mpa = {e_mpa:?}"));
            let plan = read_plan(&text, "plan.toml").unwrap();
            let evaluator = Evaluator::new(Machine::new(&plan, 1).unwrap(), plan.study.drag).unwrap();
            match balance(&evaluator, 1) {
                Err(NotBalanced::TurnsTooFar { rotation_mrad, .. }) => rotation_mrad,
                other => panic!("{other:?}"),
            }
        };
        let [one, half] = [150.0, 75.0].map(turns);
        assert!(one > 100.0 && (1.7..2.0).contains(&(half / one)), "{one} {half}");
    }
}
