//! Which instrument can decide the plan's limits, before anybody measures: readings at every pad, and what their uncertainty
//! makes of each limit.

use super::checks::GUARD;
use super::lines::line_weights;
use super::measured::{LATERAL, ROLL, VERTICAL};
use crate::errors::{ErrorSpec, SurveyReading};
use crate::input::cost::tolerance_of;
use crate::input::survey::Quantity;
use crate::input::{ErrorKind, Plan};
use crate::units::{A, MRAD};

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
    let (direction, single) = match quantity {
        Quantity::Lateral => (LATERAL, true),
        Quantity::Gauge => (LATERAL, false),
        Quantity::Vertical => (VERTICAL, true),
        Quantity::Height => (VERTICAL, false),
        Quantity::CrossLevel => (ROLL, true),
    };
    let factor = |spec: &ErrorSpec| match spec.survey? {
        SurveyReading::Line { direction: own, .. } | SurveyReading::Straightness { direction: own, .. } if own != direction => None,
        SurveyReading::Straightness { rail, .. } => single.then_some((Some(rail), pair)),
        // Tape and rod are out by the same at every pad: reading more pads does not help the span.
        SurveyReading::Line { part: 0, rail: None, .. } if quantity == Quantity::Gauge => Some((None, 1.0)),
        SurveyReading::Line { part, rail, .. } => {
            let of_line = [offset, drift][part];
            Some((rail, if rail.is_none() && single { pair * of_line } else { of_line }))
        }
    };
    let mut wanted: Vec<(&ErrorSpec, (Option<usize>, f64))> = ErrorKind::ALL.iter().filter_map(|s| Some((s, factor(s)?))).collect();
    wanted.sort_by_key(|(_, (rail, _))| *rail);
    wanted
        .into_iter()
        .filter_map(|(spec, (_, factor))| {
            let source = plan.errors.get(spec.kind)?;
            // A peak-to-valley has one limit; an offset two, half the width from its middle.
            let room = tolerance_of(source, spec);
            (room > 0.0).then(|| (spec.label, room / (GUARD * factor)))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::checks::{Conformity, decide};

    /// With the most uncertainty a value on nominal just passes; with the advised one three quarters of the limit are left.
    #[test]
    fn check_the_strictest_limit_decides_what_an_instrument_must_be_able_to() {
        let need = Need { quantity: Quantity::Gauge, limits: vec![("wide", 0.9), ("strict", 0.5 / GUARD), ("middle", 0.4)] };
        let verdict = |value: f64, u: f64| decide(value, u, Some(-0.5), 0.5).verdict;
        assert_eq!(verdict(0.0, need.most() * 0.999), Conformity::Pass);
        assert_eq!(verdict(0.0, need.most() * 1.001), Conformity::NotDecidable);
        assert_eq!(verdict(0.374, need.advised()), Conformity::Pass);
        assert_eq!(verdict(0.376, need.advised()), Conformity::NotDecidable);
    }

    /// The demo's span may be out by 1 mm and its drift by 1 mm. Tapes are out by the same at every pad; a drift of readings at
    /// 14 even places from -1/2 to 1/2 has the deviation u / sqrt(sum s^2) = u / sqrt(14 x 15 / (12 x 13)).
    #[test]
    fn check_needs_of_the_demo_by_hand() {
        let plan = crate::input::read_plan(include_str!("../../examples/panel-bridge.toml"), "plan.toml").unwrap();
        let all = needs(&plan);
        let of = |quantity: Quantity| &all.iter().find(|n| n.quantity == quantity).unwrap().limits;
        let drift = (14.0 * 15.0 / (12.0 * 13.0_f64)).sqrt().recip();
        let close = |found: f64, expected: f64| assert!((found / expected - 1.0).abs() < 1e-9, "{found} against {expected}");
        let gauge = of(Quantity::Gauge);
        close(gauge[0].1, 1.0 / GUARD);
        close(gauge[1].1, 1.0 / (GUARD * drift));
        // Height differences at 14 pads are each for themselves; two rails read one by one have root two of that.
        close(of(Quantity::Height)[0].1, 14.0_f64.sqrt() / GUARD);
        close(of(Quantity::Vertical)[0].1, 7.0_f64.sqrt() / GUARD);
        close(of(Quantity::Vertical)[1].1, 1.0 / (GUARD * drift * 2.0_f64.sqrt()));
        close(of(Quantity::Lateral)[2].1, 0.15 / (GUARD * 2.0_f64.sqrt()));
        close(of(Quantity::CrossLevel)[0].1, 0.5e-3 * 14.0_f64.sqrt() / GUARD);
        assert_eq!(of(Quantity::CrossLevel).len(), 6);
    }
}
