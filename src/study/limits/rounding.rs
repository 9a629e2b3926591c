//! Values that a drawing carries: 1, 2, 3, 5, 8 and their tens and tenths, always rounded to the tighter side.

use crate::input::Source;
use crate::input::sources::ErrorKind;
use crate::units::MRAD;

/// Steps of a decade, as tolerances on drawings mostly have them (common practice, no source).
const STEPS: [f64; 5] = [1.0, 2.0, 3.0, 5.0, 8.0];

/// Finest step, mm or mrad: nothing finer is drawn.
const FINEST: f64 = 0.001;

/// The largest drawn value that is not above `x` (0 or more); 0 below the finest step.
#[must_use]
pub fn drawn_below(x: f64) -> f64 {
    // What was computed as 0.3 may be a hair below it.
    let x = x * (1.0 + 1e-9);
    if !(x >= FINEST) || !x.is_finite() {
        return 0.0;
    }
    let decade = x.log10().floor() as i32;
    (decade - 1..=decade + 1).flat_map(|d| STEPS.map(|s| value(s, d))).filter(|v| *v <= x).fold(0.0, f64::max)
}

/// The smallest drawn value that is not below `x` (0 or more).
fn drawn_above(x: f64) -> f64 {
    let x = x * (1.0 - 1e-9);
    if x <= 0.0 {
        return 0.0;
    }
    let decade = x.log10().floor() as i32;
    (decade - 1..=decade + 1).flat_map(|d| STEPS.map(|s| value(s, d))).filter(|v| *v >= x).fold(f64::INFINITY, f64::min).max(FINEST)
}

/// A step of a decade as the number nearest to how it is written.
fn value(step: f64, decade: i32) -> f64 {
    if decade < 0 { step / 10.0_f64.powi(-decade) } else { step * 10.0_f64.powi(decade) }
}

/// Limits rounded to drawn values inside them; the source as it is where nothing would be left between them.
///
/// A profile's zone and a symmetric tolerance become 0 below the finest step.
#[must_use]
pub fn rounded_inside(source: &Source) -> Source {
    let unit = unit(source.kind);
    let toward = |x: f64, up: bool| {
        let size = (x / unit).abs();
        // Up for a negative number and down for a positive one both mean smaller in size.
        let size = if up == (x < 0.0) { drawn_below(size) } else { drawn_above(size) };
        if size == 0.0 { 0.0 } else { size.copysign(x) * unit }
    };
    let (lower, upper) = (toward(source.lower, true), toward(source.upper, false));
    if lower <= upper { Source { lower, upper, ..*source } } else { *source }
}

/// Unit in which an error is drawn: 1 for mm, a milliradian for angles.
#[must_use]
pub fn unit(kind: ErrorKind) -> f64 {
    if ErrorKind::ALL.iter().any(|s| s.kind == kind && s.angle) { MRAD } else { 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::sources::Spread;

    fn source(kind: ErrorKind, lower: f64, upper: f64) -> Source {
        Source { kind, lower, upper, spread: Spread::Uniform, inspected: false, in_service: false }
    }

    #[test]
    fn values_fall_to_the_next_drawn_step_and_stay_on_one() {
        for (x, drawn) in [(0.049, 0.03), (0.05, 0.05), (0.0799, 0.05), (0.3, 0.3), (0.1 + 0.2, 0.3), (0.99, 0.8), (1.0, 1.0), (7.9, 5.0)] {
            assert_eq!(drawn_below(x), drawn, "{x}");
            assert_eq!(drawn_below(drawn), drawn);
        }
        assert_eq!((drawn_below(0.0009), drawn_below(0.0), drawn_below(f64::NAN), drawn_below(36.0)), (0.0, 0.0, 0.0, 30.0));
        assert_eq!((drawn_above(0.31), drawn_above(0.3), drawn_above(0.0001)), (0.5, 0.3, 0.001));
    }

    #[test]
    fn limits_are_rounded_inwards_on_both_sides() {
        let r = rounded_inside(&source(ErrorKind::Span, -0.34, 0.17));
        assert_eq!((r.lower, r.upper), (-0.3, 0.1));
        let r = rounded_inside(&source(ErrorKind::Span, 0.21, 0.9));
        assert_eq!((r.lower, r.upper), (0.3, 0.8));
        // Nothing drawn lies between them: they stay.
        let r = rounded_inside(&source(ErrorKind::Span, 0.21, 0.28));
        assert_eq!((r.lower, r.upper), (0.21, 0.28));
        let r = rounded_inside(&source(ErrorKind::CrossLevel(0), -0.45e-3, 0.45e-3));
        assert!((r.upper - 0.3e-3).abs() < 1e-18 && r.lower == -r.upper);
    }
}
