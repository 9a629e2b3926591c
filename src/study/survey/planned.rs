//! Which instrument can decide the plan's limits, before anybody measures: readings at every pad, and what their uncertainty
//! makes of each limit.

use super::checks::GUARD;
use super::measured::line_weights;
use crate::input::survey::Quantity;
use crate::input::{ErrorKind, Plan};
use crate::units::{A, B, MRAD};

/// One kind of reading with what it must be able to.
#[derive(Debug, Clone, PartialEq)]
pub struct Need {
    /// The reading.
    pub quantity: Quantity,
    /// Limits that it decides, with the largest standard uncertainty that still can: mm, or rad for cross-level.
    pub limits: Vec<(&'static str, f64)>,
}

impl Need {
    /// Largest standard uncertainty that can still decide every limit: a value on nominal just passes.
    #[must_use]
    pub fn most(&self) -> f64 {
        self.limits.iter().map(|(_, u)| *u).fold(f64::INFINITY, f64::min)
    }

    /// Uncertainty with which the guard bands leave three quarters of each limit (common practice, no source).
    #[must_use]
    pub fn advised(&self) -> f64 {
        self.most() / 4.0
    }
}

/// An instrument as it is usually met, with its standard uncertainty for a reading on a machine of this span.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Instrument {
    /// What it is.
    pub name: &'static str,
    /// Readings that it gives.
    pub reads: &'static [Quantity],
    /// Standard uncertainty, mm or rad.
    pub uncertainty: f64,
}

/// What each kind of reading must be able to, if every pad is read once.
#[must_use]
pub fn needs(plan: &Plan) -> Vec<Need> {
    let single = [Quantity::Lateral, Quantity::Vertical, Quantity::CrossLevel];
    let list =
        single.into_iter().chain([Quantity::Gauge, Quantity::Height]).map(|quantity| Need { quantity, limits: limits(plan, quantity) });
    list.filter(|n| !n.limits.is_empty()).collect()
}

fn limits(plan: &Plan, quantity: Quantity) -> Vec<(&'static str, f64)> {
    let [offset, drift] = line_weights(&plan.frame, A).map(|w| w.norm());
    // A difference of two rails, each read for itself, has root two of the uncertainty of one.
    let pair = 2.0_f64.sqrt();
    let wanted: Vec<(ErrorKind, f64)> = match quantity {
        Quantity::Lateral => vec![
            (ErrorKind::Span, pair * offset),
            (ErrorKind::Parallelism, pair * drift),
            (ErrorKind::StraightnessLateral(A), pair),
            (ErrorKind::StraightnessLateral(B), pair),
        ],
        Quantity::Vertical => vec![
            (ErrorKind::Height, pair * offset),
            (ErrorKind::VerticalParallelism, pair * drift),
            (ErrorKind::StraightnessVertical(A), pair),
            (ErrorKind::StraightnessVertical(B), pair),
        ],
        Quantity::CrossLevel => [A, B]
            .into_iter()
            .flat_map(|r| {
                [(ErrorKind::CrossLevel(r), offset), (ErrorKind::CrossLevelTwist(r), drift), (ErrorKind::StraightnessRoll(r), pair)]
            })
            .collect(),
        // Tape and rod are out by the same at every pad: reading more pads does not help the span.
        Quantity::Gauge => vec![(ErrorKind::Span, 1.0), (ErrorKind::Parallelism, drift)],
        Quantity::Height => vec![(ErrorKind::Height, offset), (ErrorKind::VerticalParallelism, drift)],
    };
    wanted
        .into_iter()
        .filter_map(|(kind, factor)| {
            let source = plan.errors.get(kind)?;
            let label = ErrorKind::ALL.iter().find(|s| s.kind == kind).map_or("", |s| s.label);
            // A peak-to-valley has one limit; an offset two, half the width from its middle.
            let profile =
                matches!(kind, ErrorKind::StraightnessLateral(_) | ErrorKind::StraightnessVertical(_) | ErrorKind::StraightnessRoll(_));
            let room = if profile { source.upper } else { source.half_width() };
            (room > 0.0).then(|| (label, room / (GUARD * factor)))
        })
        .collect()
}

/// Instruments that are usually at hand.
///
/// Tapes: greatest permitted error of MID Annex X (MI-008), classes I and II, length in metres rounded up, evenly spread.
/// The others: common practice, no source; look into the certificate of yours.
#[must_use]
pub fn instruments(plan: &Plan) -> Vec<Instrument> {
    use Quantity::{CrossLevel, Gauge, Height, Lateral, Vertical};
    let metres = (plan.frame.span_mm / 1000.0).ceil();
    let long = plan.frame.length_mm().hypot(plan.frame.span_mm) / 1000.0;
    let even = 3.0_f64.sqrt();
    let points: &[Quantity] = &[Lateral, Vertical];
    vec![
        Instrument { name: "tape, class II", reads: &[Gauge], uncertainty: (0.3 + 0.2 * metres) / even },
        Instrument { name: "tape, class I", reads: &[Gauge], uncertainty: (0.1 + 0.1 * metres) / even },
        Instrument { name: "rod with dial gauge, set by a calibrated length", reads: &[Gauge], uncertainty: 0.02 },
        Instrument { name: "digital or optical level, short sights", reads: &[Vertical, Height], uncertainty: 0.2 },
        Instrument { name: "laser tracker", reads: points, uncertainty: (0.015 + 0.006 * long) / 2.0 },
        Instrument { name: "stretched wire or laser line with microscope", reads: points, uncertainty: 0.03 },
        Instrument { name: "machinist level, 0.1 mm/m", reads: &[CrossLevel], uncertainty: 0.1 * MRAD / even },
        Instrument { name: "machinist level, 0.02 mm/m", reads: &[CrossLevel], uncertainty: 0.02 * MRAD / even },
    ]
}
