//! The pose with floats and contacts: the minimiser of a convex energy, quadratic but for those two.

use super::arrow::newton_step;
use super::contacts::{ContactSet, Follow};
use super::elements::JointElement;
use super::laws::{Drag, corners};
use super::mechanism::freedom_scale;
use super::state::{State, Yield};
use super::{Matrix24, Vector24};

/// Most Newton steps that are tried.
const MOST_STEPS: usize = 200;

/// Residual, as a share of the largest load, at which the search stops trying to do better: with springs and floats only,
/// where the last step is exact, and with contacts, where steps only square the residual.
pub(super) const WANTED_RESIDUAL: [f64; 2] = [1e-13, 1e-11];

/// Residual, as a share of the largest load, that is still a solution.
const ALLOWED_RESIDUAL: f64 = 1e-8;

/// The equilibrium was not found.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("no equilibrium after {iterations} steps: residual {residual:.1e} of the largest load")]
pub struct NotConverged {
    /// Newton steps taken.
    pub iterations: usize,
    /// Unbalanced force as a share of the largest load.
    pub residual: f64,
}

/// The floats of a problem: elements, what their displacement is counted from, state of the drag.
#[derive(Debug, Clone, Copy)]
pub(super) struct FloatSet<'a> {
    pub(super) elements: &'a [JointElement],
    pub(super) offsets: &'a [f64],
    pub(super) drag: Drag,
}

/// `1/2 q'Kq - f'q` + the energies of floats and contacts.
#[derive(Debug, Clone, Copy)]
pub(super) struct Problem<'a> {
    /// Stiffness K of everything but the floats (and the blocks, where they are contacts), positive semidefinite.
    pub(super) stiffness: &'a Matrix24,
    pub(super) load: &'a Vector24,
    pub(super) floats: FloatSet<'a>,
    pub(super) contacts: Option<ContactSet<'a>>,
}

/// An equilibrium.
#[derive(Debug, Clone)]
pub(super) struct Minimum {
    pub(super) state: State,
    pub(super) iterations: usize,
    pub(super) residual: f64,
    /// Second derivative of the energy there, supports eliminated.
    pub(super) tangent: Matrix24,
}

impl FloatSet<'_> {
    fn delta(&self, i: usize, pose: &Vector24) -> f64 {
        self.elements[i].row.dot(pose) - self.offsets[i]
    }

    /// Unbalanced generalised force at a pose, and the tangent stiffness.
    fn add_to(&self, pose: &Vector24, gradient: &mut Vector24, tangent: &mut Matrix24) {
        for (i, element) in self.elements.iter().enumerate() {
            let (force, stiffness) = self.drag.force(&element.component.law, self.delta(i, pose));
            *gradient += element.row * force;
            if stiffness != 0.0 {
                *tangent += element.row * element.row.transpose() * stiffness;
            }
        }
    }
}

/// The energy's slopes at a state.
#[derive(Debug, Clone, Default)]
struct Slopes {
    /// Slope in the pose.
    plain: Vector24,
    /// The same with the supports' share eliminated, and the tangent stiffness likewise.
    gradient: Vector24,
    tangent: Matrix24,
    /// How each block's support follows, and its own unbalanced force.
    follow: Vec<Follow>,
    /// Largest unbalanced force (moments over 100 mm) over the largest load (at least 1 N).
    residual: f64,
}

impl Slopes {
    fn at(problem: &Problem<'_>, state: &State, buffer: Vec<Follow>) -> Self {
        let size = |v: &Vector24| (0..super::DOF).map(|i| (v[i] * freedom_scale(i)).abs()).fold(0.0, f64::max);
        let plain = problem.stiffness * state.pose - problem.load;
        let mut slopes = Self { plain, gradient: plain, tangent: *problem.stiffness, follow: buffer, residual: 0.0 };
        problem.floats.add_to(&state.pose, &mut slopes.plain, &mut slopes.tangent);
        slopes.gradient = slopes.plain;
        let mut of_supports = 0.0;
        if let Some(contacts) = &problem.contacts {
            of_supports = contacts.add_to(state, &mut slopes.plain, &mut slopes.gradient, &mut slopes.tangent, &mut slopes.follow);
        }
        let scale = size(problem.load).max(size(&(slopes.plain + problem.load))).max(1.0);
        slopes.residual = size(&slopes.gradient).max(of_supports) / scale;
        slopes
    }

    /// Slope of the energy along a step of pose and supports.
    fn along(&self, step: &Vector24, steps: &[Yield]) -> f64 {
        let of_supports = self.follow.iter().zip(steps).map(|(f, s)| (0..3).map(|i| f.force[i] * s[i]).sum::<f64>());
        self.plain.dot(step) + of_supports.sum::<f64>()
    }
}

/// Minimises the energy from `start`.
///
/// Together with the floats' pre-sliding stiffness and the contacts under preload, K must hold every direction. Newton with
/// the exact tangent, regularised where sliding floats or lifted blocks leave it singular, and a search along each step.
///
/// # Errors
/// The residual after 200 steps is above 1e-8.
pub(super) fn minimise(problem: &Problem<'_>, start: State) -> Result<Minimum, NotConverged> {
    let wanted = WANTED_RESIDUAL[usize::from(problem.contacts.is_some())];
    let mut state = start;
    if let Some(contacts) = &problem.contacts {
        state.yields.resize(contacts.blocks.len(), [0.0; 3]);
    }
    let mut steps = Vec::new();
    let mut slopes = Slopes::at(problem, &state, Vec::new());
    let mut best = Minimum { state: state.clone(), iterations: 0, residual: f64::INFINITY, tangent: slopes.tangent };
    let mut stalled = 0;
    for iterations in 0..=MOST_STEPS {
        stalled = if slopes.residual < 0.5 * best.residual { 0 } else { stalled + 1 };
        if slopes.residual < best.residual {
            best.state.pose = state.pose;
            best.state.yields.clone_from(&state.yields);
            (best.iterations, best.residual, best.tangent) = (iterations, slopes.residual, slopes.tangent);
        }
        let settled = best.residual <= ALLOWED_RESIDUAL * 1e-2 && stalled >= 3;
        if best.residual <= wanted || settled || !slopes.residual.is_finite() {
            break;
        }
        let step = newton_step(&slopes.tangent, &slopes.gradient);
        if let Some(contacts) = &problem.contacts {
            contacts.support_steps(&slopes.follow, &step, &mut steps);
            let whole = state.moved(&step, &steps, 1.0);
            let at_start = slopes.along(&step, &steps);
            let reached = Slopes::at(problem, &whole, std::mem::take(&mut slopes.follow));
            if takes_most(at_start, reached.along(&step, &steps)) {
                (state, slopes) = (whole, reached);
                continue;
            }
            let mut buffer = reached.follow;
            let share = curved_search(at_start, |t| {
                let at = Slopes::at(problem, &state.moved(&step, &steps, t), std::mem::take(&mut buffer));
                let slope = at.along(&step, &steps);
                buffer = at.follow;
                slope
            });
            state = state.moved(&step, &steps, share);
            slopes = Slopes::at(problem, &state, buffer);
        } else {
            state.pose += step * line_search(problem, &slopes.plain, &step, &state.pose);
            slopes = Slopes::at(problem, &state, Vec::new());
        }
    }
    if best.residual <= ALLOWED_RESIDUAL { Ok(best) } else { Err(NotConverged { iterations: MOST_STEPS, residual: best.residual }) }
}

/// The step length at which the energy along `step` is least: without contacts it is piecewise quadratic, so its slope along
/// a line is piecewise linear and rising, and the search is exact.
fn line_search(problem: &Problem<'_>, gradient: &Vector24, step: &Vector24, pose: &Vector24) -> f64 {
    let floats = &problem.floats;
    let own = step.dot(&(problem.stiffness * step));
    let ways: Vec<(usize, f64, f64)> = (0..floats.elements.len())
        .map(|i| (i, floats.delta(i, pose), floats.elements[i].row.dot(step)))
        .filter(|(_, _, way)| *way != 0.0)
        .collect();
    let slope = |t: f64| {
        let change = |&(i, at, way): &(usize, f64, f64)| {
            let law = &floats.elements[i].component.law;
            (floats.drag.force(law, at + t * way).0 - floats.drag.force(law, at).0) * way
        };
        gradient.dot(step) + t * own + ways.iter().map(change).sum::<f64>()
    };
    let mut turns: Vec<f64> = ways
        .iter()
        .flat_map(|&(i, at, way)| corners(&floats.elements[i].component.law).map(|c| (c - at) / way))
        .filter(|t| *t > 0.0 && t.is_finite())
        .collect();
    turns.sort_by(f64::total_cmp);
    let (mut from, mut slope_from) = (0.0, slope(0.0));
    turns.push(turns.last().map_or(1.0, |t: &f64| t.max(1.0)) * 2.0 + 1.0);
    for to in turns {
        let slope_to = slope(to);
        if slope_to >= 0.0 {
            let rise = slope_to - slope_from;
            return if rise > 0.0 { from + (to - from) * (-slope_from / rise).clamp(0.0, 1.0) } else { to };
        }
        (from, slope_from) = (to, slope_to);
    }
    from
}

/// True where a whole step leaves at most half of the slope and does not overshoot.
fn takes_most(at_start: f64, at_end: f64) -> bool {
    at_start >= 0.0 || (at_end <= 1e-3 * at_start.abs() && at_end >= -0.5 * at_start.abs())
}

/// A step length that takes most of the slope away, for a slope that rises along a smooth curve with corners.
///
/// The zero of the slope is bracketed and closed in by regula falsi (Illinois), so that the energy falls in every step.
fn curved_search(at_start: f64, mut slope: impl FnMut(f64) -> f64) -> f64 {
    let enough = 0.05 * at_start.abs();
    let (mut low, mut at_low, mut high) = (0.0, at_start, 1.0);
    let mut at_high = slope(high);
    while at_high < -enough && high < 1e3 {
        (low, at_low, high) = (high, at_high, 4.0 * high);
        at_high = slope(high);
    }
    let mut kept_low = None;
    for _ in 0..60 {
        if at_high.abs() <= enough {
            return high;
        }
        let mid = (low + (high - low) * at_low / (at_low - at_high)).clamp(low, high);
        let at_mid = slope(mid);
        if at_mid.abs() <= enough {
            return mid;
        }
        // An end that stays twice in a row counts half: the other one then moves too.
        if at_mid < 0.0 {
            (low, at_low) = (mid, at_mid);
            at_high *= if kept_low == Some(false) { 0.5 } else { 1.0 };
            kept_low = Some(false);
        } else {
            (high, at_high) = (mid, at_mid);
            at_low *= if kept_low == Some(true) { 0.5 } else { 1.0 };
            kept_low = Some(true);
        }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::plan::{Component, Law, Level};
    use crate::input::read_plan;
    use crate::structure::Machine;

    #[test]
    fn check_a_step_is_taken_whole_where_it_leaves_at_most_half_of_the_slope() {
        assert!(takes_most(-1.0, 0.0) && takes_most(-1.0, -0.5) && takes_most(-1.0, 0.001) && takes_most(-8.0, -4.0));
        assert!(!takes_most(-1.0, -0.51) && !takes_most(-1.0, 0.0011) && !takes_most(-8.0, -4.1));
        assert!(takes_most(0.0, 5.0) && takes_most(1.0, -5.0));
        for size in [0.01, 8.0] {
            assert!(takes_most(-size, 0.999e-3 * size) && !takes_most(-size, 1.001e-3 * size), "shares count, not sizes: {size}");
        }
    }

    /// Slopes whose zeros are known: inside the first step, beyond it, and at a corner between a flat and a steep part.
    #[test]
    fn check_curved_search_leaves_a_twentieth_of_the_slope() {
        let near = |slope: &dyn Fn(f64) -> f64, most: usize| {
            let mut asked = 0;
            let t = curved_search(slope(0.0), |t| {
                asked += 1;
                slope(t)
            });
            assert!(t > 0.0 && slope(t).abs() <= 0.05 * slope(0.0).abs(), "{t}: {}", slope(t));
            assert!(asked <= most, "{asked}");
        };
        near(&|t| t * t * t - 0.1, 12);
        near(&|t| t - 0.3, 3);
        near(&|t| t - 1.0, 1);
        near(&|t| 0.2 * t - 3.0, 6);
        near(&|t| 0.005 * t - 3.0, 7);
        near(&|t| if t < 0.9 { 0.01 * t - 1.0 } else { 1000.0 * (t - 0.9) - 0.991 }, 25);
        near(&|t| if t < 0.02 { 1000.0 * (t - 0.02) } else { 0.5 * (t - 0.02) }, 25);
        near(&|t| if t < 0.02 { 1000.0 * (t - 0.02) } else { 50.0 * (t - 0.02) }, 8);
        // No zero up to a thousand steps: it ends.
        assert!(curved_search(-1.0, |_| -1.0) > 100.0);
        assert_eq!(curved_search(-1.0, |t| t - 1.0), 1.0);
    }

    const FLOAT: Law = Law::Float { travel: 3.0, drag: 30.0, k_slide: 1000.0, k_stop: 5000.0 };

    /// A float along the first freedom.
    fn float(law: Law) -> JointElement {
        let mut row = Vector24::zeros();
        row[0] = 1.0;
        JointElement { end: 0, number: 0, axis: 0, row, component: Component { law, take_up: 0.0 } }
    }

    /// The first freedom held by `k` N/mm, the others by 1e5 N/mm or 1e9 N mm/rad.
    fn springs(k: f64) -> Matrix24 {
        Matrix24::from_fn(|i, j| match (i == j, i) {
            (false, _) => 0.0,
            (true, 0) => k,
            (true, _) => 1e5 / (freedom_scale(i) * freedom_scale(i)),
        })
    }

    fn along_first(value: f64) -> Vector24 {
        Vector24::from_fn(|i, _| if i == 0 { value } else { 0.0 })
    }

    /// Beside 100 N/mm: 2 + 20 N at 0.02 mm, 150 + 30 N at 1.5 mm, 400 + 30 + 5000 N at 4 mm, a millimetre past the stop.
    #[test]
    fn check_the_search_along_a_step_ends_where_the_forces_balance() {
        let (stiffness, elements) = (springs(100.0), [float(FLOAT)]);
        let floats = FloatSet { elements: &elements, offsets: &[0.0], drag: Drag::Law };
        let zero = |from: f64, load: f64, way: f64| {
            let load = along_first(load);
            let problem = Problem { stiffness: &stiffness, load: &load, floats, contacts: None };
            let pose = along_first(from);
            let slopes = Slopes::at(&problem, &State { pose, yields: Vec::new() }, Vec::new());
            from + way * line_search(&problem, &slopes.plain, &along_first(way), &pose)
        };
        for (to, load) in [(0.02, 22.0), (1.5, 180.0), (4.0, 5430.0), (-0.02, -22.0), (-1.5, -180.0), (-4.0, -5430.0)] {
            for from in [-3.5, -0.01, 0.0, 0.5, 3.2] {
                for way in [0.4, 1.0, 2.5] {
                    let got = zero(from, load, way * f64::signum(to - from));
                    assert!((got - to).abs() < 1e-9, "from {from} by steps of {way}: {got} instead of {to}");
                }
            }
        }
        // Also at more than twice the way to the last corner, and 2.5 steps away where there is none.
        assert!((zero(0.0, 650.0 + 30.0 + 17_500.0, 1.0) - 6.5).abs() < 1e-9);
        let (load, none) = (along_first(250.0), FloatSet { elements: &[], offsets: &[], drag: Drag::Law });
        let problem = Problem { stiffness: &stiffness, load: &load, floats: none, contacts: None };
        assert!((line_search(&problem, &-load, &along_first(1.0), &Vector24::zeros()) - 2.5).abs() < 1e-9);
    }

    /// Whole steps would go from 50 mm to -10 mm and back for ever: from either side the sliding float looks like no spring.
    #[test]
    fn check_a_float_that_slides_is_brought_back_to_rest() {
        let (stiffness, elements, load) =
            (springs(1.0), [float(Law::Float { travel: 1e3, drag: 30.0, k_slide: 1e3, k_stop: 1.0 })], along_first(20.0));
        let floats = FloatSet { elements: &elements, offsets: &[0.0], drag: Drag::Law };
        let problem = Problem { stiffness: &stiffness, load: &load, floats, contacts: None };
        let found = minimise(&problem, State { pose: along_first(50.0), yields: Vec::new() }).unwrap();
        assert!((found.state.pose - along_first(20.0 / 1001.0)).amax() < 1e-12, "{}", found.state.pose[0]);
        assert!(found.iterations <= 3 && found.residual <= 1e-13);
    }

    #[test]
    fn check_the_residual_is_a_share_of_the_largest_load_and_moments_count_at_100_mm() {
        let residual = |load: Vector24, pose: Vector24| {
            let stiffness = springs(100.0);
            let floats = FloatSet { elements: &[], offsets: &[], drag: Drag::Law };
            let problem = Problem { stiffness: &stiffness, load: &load, floats, contacts: None };
            Slopes::at(&problem, &State { pose, yields: Vec::new() }, Vec::new()).residual
        };
        let near = |got: f64, expected: f64| assert!((got - expected).abs() < 1e-12, "{got} instead of {expected}");
        // 100 N in balance, 2000 N mm not.
        let mut load = along_first(100.0);
        load[3] = 2000.0;
        near(residual(load, along_first(1.0)), 0.2);
        // Springs that push with 1000 N against 10 N are the largest load; less than 1 N counts as 1 N.
        near(residual(along_first(10.0), along_first(10.0)), 0.99);
        near(residual(along_first(0.2), Vector24::zeros()), 0.2);
    }

    /// Supports and pose moved together, any way: against the difference of energies.
    #[test]
    fn cross_the_slope_along_a_step_is_the_energys() {
        let mut plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        plan.block.level = Level::Contact;
        let machine = Machine::new(&plan, 1).unwrap();
        let imposed = vec![[0.0; 5]; plan.block_count()];
        let contacts = machine.contacts(&imposed);
        let load = machine.case_loads(0);
        let floats = FloatSet { elements: &[], offsets: &[], drag: Drag::Law };
        let problem = Problem { stiffness: &machine.springs, load: &load, floats, contacts };
        let wave = |i: usize, by: f64| (by * (i as f64 + 1.0)).sin();
        let pose = Vector24::from_fn(|i, _| 2e-3 * wave(i, 1.3) * freedom_scale(i));
        let step = Vector24::from_fn(|i, _| 3e-3 * wave(i, 2.1) * freedom_scale(i));
        let some = |by: f64| -> Vec<Yield> {
            (0..plan.block_count()).map(|b| [0, 1, 2].map(|i| 1e-3 * wave(3 * b + i, by) * freedom_scale(i + 1))).collect()
        };
        let (yields, steps) = (some(0.7), some(1.9));
        let state = State { pose, yields };
        let along = Slopes::at(&problem, &state, Vec::new()).along(&step, &steps);
        let energy = |share: f64| {
            let State { pose, yields } = state.moved(&step, &steps, share);
            0.5 * pose.dot(&(machine.springs * pose)) - load.dot(&pose) + contacts.unwrap().energy_n_mm(&pose, &yields)
        };
        let difference = (energy(1e-3) - energy(-1e-3)) / 2e-3;
        assert!((along / difference - 1.0).abs() < 1e-5, "{along} instead of {difference}");
        // The supports have their part in it.
        let alone = Slopes::at(&problem, &state, Vec::new()).along(&step, &vec![[0.0; 3]; plan.block_count()]);
        assert!((along - alone).abs() > 0.01 * along.abs(), "{along} {alone}");
    }
}
