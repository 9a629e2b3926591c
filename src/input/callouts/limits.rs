//! What a callout sets to one error: limits, or why it sets none.

use super::{Allowed, Callout, Per, Shape};
use crate::input::ErrorKind;
use crate::input::classes::{Form, resolve};
use crate::input::plan::Frame;
use crate::input::sources::{ErrorSpec, ZoneMeaning};

/// Why a callout that feeds an error does not control it.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum NoLimit {
    /// Each pad has a zone of its own, and the zones float against each other (ISO 1101 without CZ).
    SeparateZones,
    /// The length that it holds for does not reach over three pads.
    ShortLength,
    /// Its class has no value here: why.
    NoValue(String),
}

/// Limits (mm or rad) that a callout sets to an error.
///
/// # Errors
/// Why it does not control the error.
pub fn limits_for(callout: &Callout, kind: ErrorKind, frame: &Frame) -> Result<(f64, f64), NoLimit> {
    let spec = kind.spec();
    match &callout.allowed {
        Allowed::Value { lower, upper, shape, over_mm } => {
            row_is_held(callout, kind)?;
            let factor = over_mm.map_or(Ok(1.0), |over| in_all(callout, kind, over, frame))?;
            Ok(shaped((factor * lower, factor * upper), *shape, spec.zone))
        }
        Allowed::Class(word) => {
            let class = resolve(word, spec, frame).map_err(|(what, _)| NoLimit::NoValue(what))?;
            // A class of crane tracks is about the rail as a whole; those of parts are about each face.
            if !class.class.starts_with("ISO 12488") {
                row_is_held(callout, kind)?;
            }
            let (v, shape) = (class.tolerance_mm, if class.form == Form::Zone { Shape::Zone } else { Shape::Limits });
            Ok(shaped(if shape == Shape::Zone { (0.0, v) } else { (-v, v) }, shape, spec.zone))
        }
        Allowed::Temperature(_) | Allowed::In(_) => Err(NoLimit::NoValue(String::new())),
    }
}

/// A profile along a row of pads is held by a combined zone, by one face, or by zones that a datum holds in place.
fn row_is_held(callout: &Callout, kind: ErrorKind) -> Result<(), NoLimit> {
    let held = matches!(callout.per, Some(Per::Combined | Per::One)) || (callout.held_by_datum && !callout.datum.is_empty());
    if !kind.is_profile() || held { Ok(()) } else { Err(NoLimit::SeparateZones) }
}

fn shaped((lower, upper): (f64, f64), shape: Shape, meaning: ZoneMeaning) -> (f64, f64) {
    match (shape, meaning) {
        // Plus and minus about a line that is free to lie anywhere is a zone of the whole width.
        (Shape::Limits, ZoneMeaning::PeakToValley) => (0.0, upper - lower),
        (Shape::Limits, _) => (lower, upper),
        (Shape::Zone, _) => meaning.limits(upper),
        // Each seat may be tilted by so much either way: two of them differ by twice that.
        (Shape::Tilt, ZoneMeaning::AboutNominal) => (-upper, upper),
        (Shape::Tilt, ZoneMeaning::EndToEnd) => (-2.0 * upper, 2.0 * upper),
        (Shape::Tilt, ZoneMeaning::PeakToValley) => (0.0, 2.0 * upper),
    }
}

/// What a tolerance for each `over_mm` comes to in all, as a factor.
///
/// Along a straight line it grows with the length. Where three points within `over_mm` lie in a zone t, the profile bends by
/// at most 8 t / over^2; an arc of that bend is t (L / over)^2 high over the length L.
fn in_all(callout: &Callout, kind: ErrorKind, over_mm: f64, frame: &Frame) -> Result<f64, NoLimit> {
    use ErrorKind as K;
    let times = |length_mm: f64| (length_mm / over_mm).max(1.0);
    match kind {
        K::Span | K::Height | K::BridgeLength => Ok(times(frame.span_mm)),
        K::StraightnessLateral(_) | K::StraightnessVertical(_) => {
            let pitch = frame.anchors_x_mm.windows(3).map(|w| w[2] - w[0]).fold(0.0, f64::max);
            let reaches = callout.per == Some(Per::One) || over_mm >= pitch;
            if reaches { Ok(times(frame.length_mm()).powi(2)) } else { Err(NoLimit::ShortLength) }
        }
        _ => Ok(times(frame.length_mm())),
    }
}

/// True for errors that a tolerance for each length can be about.
pub(super) fn has_a_length(spec: &ErrorSpec) -> bool {
    use ErrorKind as K;
    spec.angle
        || matches!(
            spec.kind,
            K::Span
                | K::Height
                | K::BridgeLength
                | K::Parallelism
                | K::VerticalParallelism
                | K::StraightnessLateral(_)
                | K::StraightnessVertical(_)
        )
}
