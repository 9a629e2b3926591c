//! The largest scale of some tolerances at which a use of the requirements stays at 1: bracketed, then narrowed.
//!
//! On common random numbers the use is a continuous function of the scale, so its root is well defined; it rises with
//! the scale but for tolerances that happen to help. The greatest scale that was seen to hold is the one that is kept.

use super::usage::Usage;
use crate::structure::NotConverged;

/// Width of the last bracket, as a ratio.
pub(super) const NARROW: f64 = 1.02;

/// The same for a first look with few installations.
pub(super) const ROUGH: f64 = 1.25;

/// Smallest scale that is looked at: below it a tolerance counts as none.
const LEAST: f64 = 1e-3;

/// What a search came to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reach {
    /// Not met even with what is scaled at zero, or at no more than a thousandth.
    Never,
    /// Met at the greatest scale looked at.
    Always,
    /// Met up to this scale and not beyond.
    Scale(f64),
}

/// A use of the requirements over a scale, with every value that was computed.
pub(super) struct Curve<'f> {
    usage: Box<dyn FnMut(f64) -> Result<Usage, NotConverged> + 'f>,
    seen: Vec<(f64, Usage)>,
    most: f64,
}

impl<'f> Curve<'f> {
    /// A curve up to a scale `most`; `known` values need not be computed again.
    pub(super) fn new(
        most: f64,
        known: impl IntoIterator<Item = (f64, Usage)>,
        usage: impl FnMut(f64) -> Result<Usage, NotConverged> + 'f,
    ) -> Self {
        Self { usage: Box::new(usage), seen: known.into_iter().collect(), most }
    }

    /// The use at a scale.
    pub(super) fn at(&mut self, scale: f64) -> Result<Usage, NotConverged> {
        if let Some((_, usage)) = self.seen.iter().find(|(s, _)| *s == scale) {
            return Ok(*usage);
        }
        let usage = (self.usage)(scale)?;
        self.seen.push((scale, usage));
        Ok(usage)
    }

    /// Index of the requirement that stops it nearest above a scale.
    pub(super) fn stopped_by(&self, scale: f64) -> Option<usize> {
        let above = self.seen.iter().filter(|(s, u)| *s > scale && u.at > 1.0).min_by(|a, b| a.0.total_cmp(&b.0));
        above.or_else(|| self.seen.iter().find(|(s, u)| *s <= scale && u.at > 1.0)).map(|(_, u)| u.requirement)
    }

    /// Largest scale at which `of` the use is at most 1, looked for from `start` on until the bracket is `narrow`.
    pub(super) fn reach(&mut self, start: f64, narrow: f64, of: fn(&Usage) -> f64) -> Result<Reach, NotConverged> {
        self.at(start.min(self.most))?;
        // Widths of the last two brackets: where they do not halve in two steps, the next trial is the middle.
        let mut widths = [f64::INFINITY; 2];
        loop {
            let holds = self.seen.iter().filter(|(_, u)| of(u) <= 1.0).map(|(s, u)| (*s, of(u))).fold(None, greater);
            let fails = self
                .seen
                .iter()
                .filter(|(s, u)| !(of(u) <= 1.0) && holds.is_none_or(|h| *s > h.0))
                .map(|(s, u)| (*s, of(u)))
                .min_by(|a, b| a.0.total_cmp(&b.0));
            let next = match (holds, fails) {
                (Some((h, _)), None) if h >= self.most => return Ok(Reach::Always),
                (Some((h, use_h)), None) => (h.max(LEAST) * step(use_h)).min(self.most),
                (_, Some((0.0, _))) => return Ok(Reach::Never),
                (None, Some(_)) => 0.0,
                (Some((0.0, _)), Some((f, use_f))) => {
                    if f <= LEAST {
                        return Ok(Reach::Never);
                    }
                    (f / step(1.0 / use_f)).max(LEAST)
                }
                (Some((h, use_h)), Some((f, use_f))) => {
                    if f <= h * narrow {
                        return Ok(Reach::Scale(h));
                    }
                    let width = (f / h).ln();
                    let slow = width > 0.5 * widths[0];
                    widths = [widths[1], width];
                    if slow { (h * f).sqrt() } else { between((h, use_h), (f, use_f), narrow) }
                }
                (None, None) => start.min(self.most),
            };
            self.at(next)?;
        }
    }
}

impl Curve<'_> {
    /// Where `of` the use would be 1 if the limit lay exactly at a computed scale: shifted by the distance of `of` from the
    /// value that counts, over the curve's slope there (in logarithms).
    pub(super) fn shifted(&self, scale: f64, of: fn(&Usage) -> f64) -> Reach {
        let Some((_, here)) = self.seen.iter().find(|(s, _)| *s == scale) else { return Reach::Never };
        let used = of(here);
        if !used.is_finite() {
            return Reach::Never;
        }
        // Equal values, both nothing included, shift nothing.
        let away = if used == here.at { 0.0 } else { (used / here.at).ln() };
        let shifted = scale * (-away / self.slope(scale, here.at)).exp();
        if !(shifted < self.most) { Reach::Always } else { Reach::Scale(shifted) }
    }

    /// Slope of the use over the scale, both in logarithms, from the nearest point that is not too near.
    fn slope(&self, scale: f64, here: f64) -> f64 {
        let apart = |s: f64| (s / scale).ln().abs();
        let others = self.seen.iter().filter(|(s, u)| *s > 0.0 && apart(*s) > 0.03 && u.at.is_finite() && u.at > 0.0);
        let nearest = others.min_by(|a, b| apart(a.0).total_cmp(&apart(b.0)));
        let slope = nearest.map_or(1.0, |(s, u)| (u.at / here).ln() / (s / scale).ln());
        // A measure never grows much slower than the error, nor a life falls much faster than its fifth power, but at a stop.
        if slope.is_finite() { slope.clamp(0.3, 20.0) } else { 1.0 }
    }
}

fn greater(best: Option<(f64, f64)>, x: (f64, f64)) -> Option<(f64, f64)> {
    if best.is_none_or(|b| x.0 > b.0) { Some(x) } else { best }
}

/// Factor of the next trial when only one side of the root is known: travel grows with errors and lives fall with their
/// cube, so between the cube root of what is left and all of it, and a little more.
fn step(usage: f64) -> f64 {
    let left = if usage > 0.0 { 1.0 / usage } else { f64::INFINITY };
    (1.03 * left.powf(0.7)).clamp(1.03, 6.0)
}

/// A trial inside a bracket: the root of a power law through both ends, kept off the ends so that the bracket shrinks
/// on both sides.
fn between((h, use_h): (f64, f64), (f, use_f): (f64, f64), narrow: f64) -> f64 {
    let width = (f / h).ln();
    let (a, b) = (use_h.max(1e-9).ln(), use_f.ln());
    let share = if b.is_finite() && b > a { -a / (b - a) } else { 0.5 };
    // Aim a little to the nearer side of the root: the far end comes in then.
    let margin = (0.4 * narrow.ln() / width).min(0.5);
    let aimed = if share < 0.5 { share + margin } else { share - margin };
    h * (width * aimed.clamp(0.08, 0.92)).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn usage(u: f64) -> Usage {
        Usage { at: u, low: 0.9 * u, high: 1.1 * u, requirement: 0 }
    }

    #[test]
    fn roots_of_power_laws_are_found_in_few_steps_from_either_side() {
        for power in [1.0, 3.0, 10.0 / 3.0] {
            for root in [0.003, 0.2, 0.9, 1.02, 7.0, 150.0] {
                let mut count = 0;
                let mut curve = Curve::new(1e4, [(0.0, usage(0.01))], |s: f64| {
                    count += 1;
                    Ok(usage(0.01 + 0.99 * (s / root).powf(power)))
                });
                let Ok(Reach::Scale(found)) = curve.reach(1.0, NARROW, |u| u.at) else { panic!("no root") };
                assert!(found <= root * (1.0 + 1e-12) && found >= root / NARROW, "{found} against {root}");
                drop(curve);
                assert!(count <= 14, "{count} steps for {root} at power {power}");
            }
        }
    }

    #[test]
    fn ends_of_an_interval_follow_the_slope() {
        let mut curve = Curve::new(1e4, [], |s: f64| Ok(usage((s / 2.0).powi(3))));
        let Ok(Reach::Scale(root)) = curve.reach(1.0, NARROW, |u| u.at) else { panic!("no root") };
        let (Reach::Scale(sure), Reach::Scale(possible)) = (curve.shifted(root, |u| u.high), curve.shifted(root, |u| u.low)) else {
            panic!("no ends")
        };
        assert!((sure / root - 1.1_f64.powf(-1.0 / 3.0)).abs() < 1e-3 && (possible / root - 0.9_f64.powf(-1.0 / 3.0)).abs() < 1e-3);
    }

    #[test]
    fn no_root_is_said_as_such() {
        let reach = |most: f64, f: fn(f64) -> f64| {
            Curve::new(most, [], move |s| Ok(usage(f(s)))).reach(1.0, NARROW, |u| u.at).unwrap_or(Reach::Scale(f64::NAN))
        };
        assert_eq!(reach(20.0, |_| 1.5), Reach::Never);
        assert_eq!(reach(20.0, |s| if s > 0.0 { 1.5 } else { 0.5 }), Reach::Never);
        assert_eq!(reach(20.0, |s| 0.04 * s), Reach::Always);
        assert_eq!(reach(20.0, |_| 0.0), Reach::Always);
        // A jump, as where a float meets its stop.
        let Reach::Scale(found) = reach(20.0, |s| if s > 2.5 { f64::INFINITY } else { 0.1 }) else { panic!("no root") };
        assert!(found <= 2.5 && found > 2.5 / NARROW);
    }

    /// A tolerance may help where a larger one and a smaller one do not: the greatest scale that holds counts.
    #[test]
    fn check_a_hole_below_a_scale_that_holds_is_not_its_limit() {
        let with_hole = |s: f64| usage(if s > 0.4 && s < 0.8 { 1.5 } else { s / 2.0 });
        let mut curve = Curve::new(20.0, [(0.5, with_hole(0.5))], |s| Ok(with_hole(s)));
        let Ok(Reach::Scale(found)) = curve.reach(1.0, NARROW, |u| u.at) else { panic!("no root") };
        assert!(found <= 2.0 && found > 2.0 / NARROW, "{found}");
    }

    #[test]
    fn check_what_stops_it_is_the_next_failure_above_or_else_one_below() {
        let seen = [(1.0, 0.5), (2.0, 0.9), (4.0, 1.5), (3.0, 1.2), (0.5, 1.3)];
        let known = seen.iter().enumerate().map(|(requirement, (scale, u))| (*scale, Usage { requirement, ..usage(*u) }));
        let curve = Curve::new(9.0, known, |_| Ok(usage(0.0)));
        // 3 fails next above 1 and 2, 4 above 3; nothing above 4, so what was seen to fail first.
        assert_eq!([1.0, 2.0, 3.0].map(|scale| curve.stopped_by(scale)), [Some(3), Some(3), Some(2)]);
        assert_eq!(curve.stopped_by(4.0), Some(2));
        let holds = Curve::new(9.0, [(1.0, usage(0.5)), (3.0, usage(1.0))], |_| Ok(usage(0.0)));
        assert_eq!([0.0, 2.0, 5.0].map(|scale| holds.stopped_by(scale)), [None; 3]);
    }
}
