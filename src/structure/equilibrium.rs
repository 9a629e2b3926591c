//! The pose with floats: the minimiser of a convex energy, quadratic but for the floats.

use super::elements::JointElement;
use super::laws::Drag;
use super::laws::corners;
use super::mechanism::freedom_scale;
use super::{Matrix24, Vector24};

/// Most Newton steps that are tried.
const MOST_STEPS: usize = 200;

/// Residual, as a share of the largest load, at which the search stops trying to do better.
const WANTED_RESIDUAL: f64 = 1e-13;

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
    pub(super) elements: &'a [&'a JointElement],
    pub(super) offsets: &'a [f64],
    pub(super) drag: Drag,
}

/// An equilibrium.
#[derive(Debug, Clone)]
pub(super) struct Minimum {
    pub(super) pose: Vector24,
    pub(super) iterations: usize,
    pub(super) residual: f64,
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
            *tangent += element.row * element.row.transpose() * stiffness;
        }
    }
}

/// Minimises `1/2 q'Kq - f'q` + the floats' energy from `start`.
///
/// `stiffness` K is that of everything but the floats, positive semidefinite; together with the floats'
/// pre-sliding stiffness it must hold every direction. Newton with the exact tangent, regularised where
/// sliding floats leave it singular, and an exact search along each step: the energy is piecewise
/// quadratic, so its slope along a line is piecewise linear and rising. The residual is the largest
/// unbalanced force (moments over 100 mm) over the largest load (at least 1 N).
///
/// # Errors
/// The residual after 200 steps is above 1e-8.
pub(super) fn minimise(stiffness: &Matrix24, load: &Vector24, floats: FloatSet<'_>, start: Vector24) -> Result<Minimum, NotConverged> {
    let size = |v: &Vector24| (0..super::DOF).map(|i| (v[i] * freedom_scale(i)).abs()).fold(0.0, f64::max);
    let mut best = Minimum { pose: start, iterations: 0, residual: f64::INFINITY };
    let mut pose = start;
    let mut stalled = 0;
    for iterations in 0..=MOST_STEPS {
        let mut gradient = stiffness * pose - load;
        let mut tangent = *stiffness;
        floats.add_to(&pose, &mut gradient, &mut tangent);
        let scale = size(load).max(size(&(gradient + load))).max(1.0);
        let residual = size(&gradient) / scale;
        stalled = if residual < 0.5 * best.residual { 0 } else { stalled + 1 };
        if residual < best.residual {
            best = Minimum { pose, iterations, residual };
        }
        let settled = best.residual <= ALLOWED_RESIDUAL * 1e-2 && stalled >= 3;
        if best.residual <= WANTED_RESIDUAL || settled || !residual.is_finite() {
            break;
        }
        let step = newton_step(&tangent, &gradient);
        pose += step * line_search(stiffness, &gradient, &step, &pose, floats);
    }
    if best.residual <= ALLOWED_RESIDUAL { Ok(best) } else { Err(NotConverged { iterations: MOST_STEPS, residual: best.residual }) }
}

fn newton_step(tangent: &Matrix24, gradient: &Vector24) -> Vector24 {
    let scaled = Matrix24::from_fn(|i, j| tangent[(i, j)] * freedom_scale(i) * freedom_scale(j));
    let right = Vector24::from_fn(|i, _| -gradient[i] * freedom_scale(i));
    let largest = scaled.diagonal().max();
    let mut added = 0.0;
    for _ in 0..12 {
        let held = scaled + Matrix24::identity() * added;
        if let Some(factor) = held.cholesky() {
            let least = factor.l_dirty().diagonal().min().powi(2);
            if least > 1e-14 * largest {
                let step = factor.solve(&right);
                return Vector24::from_fn(|i, _| step[i] * freedom_scale(i));
            }
        }
        added = if added == 0.0 { 1e-12 * largest } else { added * 10.0 };
    }
    Vector24::from_fn(|i, _| right[i] * freedom_scale(i) / largest)
}

/// The step length at which the energy along `step` is least.
fn line_search(stiffness: &Matrix24, gradient: &Vector24, step: &Vector24, pose: &Vector24, floats: FloatSet<'_>) -> f64 {
    let own = step.dot(&(stiffness * step));
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
