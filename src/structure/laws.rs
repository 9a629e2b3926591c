//! Laws of joint components that are no springs, and the state of their drag.

use crate::input::plan::Law;

/// State of the drag of every float.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Drag {
    /// As the law says: with the way slid, up to its full value.
    Law,
    /// Full, against motion towards +.
    Plus,
    /// Full, against motion towards -.
    Minus,
}

impl Drag {
    /// Name in tables and files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Law => "law",
            Self::Plus => "plus",
            Self::Minus => "minus",
        }
    }

    /// Force and tangent of a float in this state.
    #[must_use]
    pub fn force(self, law: &Law, delta: f64) -> (f64, f64) {
        let Law::Float { travel, drag, k_stop, .. } = *law else { return float_force(law, delta) };
        let sign = match self {
            Self::Law => return float_force(law, delta),
            Self::Plus => 1.0,
            Self::Minus => -1.0,
        };
        let (stop, tangent) = stop_force(travel, k_stop, delta);
        (sign * drag + stop, tangent)
    }
}

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
fn stop_force(travel: f64, k_stop: f64, delta: f64) -> (f64, f64) {
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
