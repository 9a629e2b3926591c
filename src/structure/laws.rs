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

#[cfg(test)]
mod tests {
    use super::*;

    const FLOAT: Law = Law::Float { travel: 2.0, drag: 30.0, k_slide: 100.0, k_stop: 5000.0 };

    /// By hand: slides up to 30 N at 0.3 mm, drags on, meets its stop at 2 mm.
    #[test]
    fn check_a_float_sticks_slides_and_stops() {
        for (delta, force, tangent) in [(0.2, 20.0, 100.0), (0.3, 30.0, 100.0), (0.4, 30.0, 0.0), (2.0, 30.0, 0.0), (2.5, 2530.0, 5000.0)] {
            assert_eq!(float_force(&FLOAT, delta), (force, tangent), "{delta}");
            assert_eq!(float_force(&FLOAT, -delta), (-force, tangent), "-{delta}");
        }
        assert_eq!(float_force(&Law::Elastic { k: 7.0 }, -3.0), (-21.0, 7.0));
        assert_eq!(float_force(&Law::Free, 5.0), (0.0, 0.0));
    }

    #[test]
    fn check_full_drag_is_the_same_everywhere_and_the_stop_adds_to_it() {
        for delta in [-1.5, 0.0, 0.1, 2.0] {
            assert_eq!(Drag::Plus.force(&FLOAT, delta), (30.0, 0.0));
            assert_eq!(Drag::Minus.force(&FLOAT, delta), (-30.0, 0.0));
            assert_eq!(Drag::Law.force(&FLOAT, delta), float_force(&FLOAT, delta));
        }
        assert_eq!(Drag::Plus.force(&FLOAT, -2.5), (30.0 - 2500.0, 5000.0));
        assert_eq!(Drag::Minus.force(&FLOAT, 2.5), (2500.0 - 30.0, 5000.0));
        assert_eq!(Drag::Plus.force(&Law::Elastic { k: 2.0 }, 3.0), (6.0, 2.0));
        assert_eq!([Drag::Law, Drag::Plus, Drag::Minus].map(Drag::name), ["law", "plus", "minus"]);
    }

    /// The energy's slope is the force, also where a float that does not slide has its drag from the start.
    #[test]
    fn check_the_energy_is_the_forces_integral() {
        let no_slide = Law::Float { travel: 2.0, drag: 0.0, k_slide: 0.0, k_stop: 5000.0 };
        for law in [FLOAT, no_slide, Law::Elastic { k: 7.0 }, Law::Free] {
            assert_eq!(float_energy(&law, 0.0), 0.0);
            let n = 4000;
            for end in [0.25, -0.9, 3.0] {
                let step = end / f64::from(n);
                let sum: f64 = (0..n).map(|i| float_force(&law, step * (f64::from(i) + 0.5)).0 * step).sum();
                assert!((sum - float_energy(&law, end)).abs() < 1e-3 * sum.abs().max(1.0), "{law:?} {end}: {sum}");
            }
        }
    }

    #[test]
    fn check_corners_are_where_the_tangent_jumps() {
        assert_eq!(corners(&FLOAT), [-0.3, 0.3, -2.0, 2.0]);
        assert!(corners(&Law::Elastic { k: 1.0 }).iter().all(|c| c.is_nan()));
        let no_slide = Law::Float { travel: 2.0, drag: 30.0, k_slide: 0.0, k_stop: 5000.0 };
        assert!(corners(&no_slide)[0].is_nan() && corners(&no_slide)[1].is_nan() && corners(&no_slide)[3] == 2.0);
    }
}
