//! Laws of joint components that are no springs.

use crate::input::plan::Law;

/// Force (N, N mm) of a float at displacement `delta` (mm, rad), and its tangent.
///
/// `clamp(k_slide delta, -drag, drag) + k_stop sign(delta) max(|delta| - travel, 0)`: one state of a
/// path-dependent drag.
#[must_use]
pub fn float_force(law: &Law, delta: f64) -> (f64, f64) {
    match *law {
        Law::Elastic { k } => (k * delta, k),
        Law::Free => (0.0, 0.0),
        Law::Float { travel, drag, k_slide, k_stop } => {
            let (mut force, mut tangent) = (k_slide * delta, k_slide);
            if force.abs() > drag {
                (force, tangent) = (drag * delta.signum(), 0.0);
            }
            let (stop, stop_tangent) = stop_force(travel, k_stop, delta);
            (force + stop, tangent + stop_tangent)
        }
    }
}

/// Force and tangent of a float's stop.
pub(super) fn stop_force(travel: f64, k_stop: f64, delta: f64) -> (f64, f64) {
    let over = delta.abs() - travel;
    if over > 0.0 { (k_stop * over * delta.signum(), k_stop) } else { (0.0, 0.0) }
}

/// Energy of a float at `delta`, from rest.
pub(super) fn float_energy(law: &Law, delta: f64) -> f64 {
    match *law {
        Law::Elastic { k } => 0.5 * k * delta * delta,
        Law::Free => 0.0,
        Law::Float { travel, drag, k_slide, k_stop } => {
            let give = if k_slide > 0.0 { drag / k_slide } else { f64::INFINITY };
            let way = delta.abs();
            let slide = if way <= give { 0.5 * k_slide * way * way } else { drag * (way - give / 2.0) };
            slide + 0.5 * k_stop * (way - travel).max(0.0).powi(2)
        }
    }
}

/// Displacements at which a float's law has a corner.
pub(super) fn corners(law: &Law) -> [f64; 4] {
    match *law {
        Law::Float { travel, drag, k_slide, .. } => {
            let give = if k_slide > 0.0 { drag / k_slide } else { f64::NAN };
            [-give, give, -travel, travel]
        }
        _ => [f64::NAN; 4],
    }
}
