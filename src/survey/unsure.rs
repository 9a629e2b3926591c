//! What no geometry can tell, and what is too good to have been read: asked for or doubted, never passed in silence.

use super::checks::Check;
use super::consensus::pitch_mm;
use super::corrected::Corrected;
use super::neighbours::expected;
use super::placed::Placed;
use super::stations::{distinct, from_pad};
use crate::input::Plan;
use crate::input::survey::{Quantity, Reading, Survey};

/// A doubt about a whole survey, to be settled before anything rests on it.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[serde(tag = "doubt", rename_all = "snake_case")]
pub enum Doubt {
    /// Readings of one kind do not scatter as their instrument must.
    NoScatter {
        /// What was read.
        quantity: Quantity,
        /// Rail, for what belongs to one.
        rail: Option<usize>,
        /// Root mean square distance of the readings from what their neighbours say, mm or rad.
        scatter: f64,
        /// Their stated standard uncertainty, mm or rad.
        stated: f64,
    },
    /// Nobody says which way z counts.
    ZNotStated,
    /// Nobody says what + means in these readings.
    SignsNotStated {
        /// Kinds of readings.
        kinds: Vec<Quantity>,
    },
    /// All stations lie off the pads by the same.
    StationsOff {
        /// By this, mm.
        by_mm: f64,
    },
    /// Most stations lie at no pad.
    StationsBetween {
        /// Stations.
        stations: usize,
        /// Those of them at pads.
        at_pads: usize,
        /// Distance of neighbouring stations (median), mm.
        apart_mm: f64,
        /// Distance of neighbouring pads, mm.
        pitch_mm: f64,
    },
    /// A point lies off its pad along the rails.
    PointOff {
        /// Line of the file.
        line: usize,
        /// By this, mm.
        by_mm: f64,
    },
}

impl Doubt {
    /// True for a sign that is only asked for: taken as the sheet has it, and no limit that is the same both ways is decided otherwise.
    #[must_use]
    pub fn is_question(&self) -> bool {
        matches!(self, Self::ZNotStated | Self::SignsNotStated { .. })
    }
}

/// Doubts that leave a survey in doubt; a sign that nobody states only where a limit is not the same both ways.
#[must_use]
pub fn settle_first<'d>(unsure: &'d [Doubt], checks: &[Check]) -> Vec<&'d Doubt> {
    let signed = checks.iter().any(|c| c.lower.is_some_and(|low| (low + c.upper).abs() > 1e-9 * c.upper.abs()));
    unsure.iter().filter(|d| signed || !d.is_question()).collect()
}

/// Readings scatter at least by this part of their stated uncertainty: a careful person states three times too much, nobody twenty.
const LEAST_SCATTER: f64 = 0.05;

/// Every doubt about a survey as a whole.
#[must_use]
pub fn unsure(plan: &Plan, survey: &Survey, placed: &Placed, corrected: &Corrected) -> Vec<Doubt> {
    let mut list = Vec::new();
    points_off(plan, survey, placed, &mut list);
    stations(plan, survey, &mut list);
    scatter(corrected, &mut list);
    signs(survey, &mut list);
    list
}

/// Points a quarter of a pitch and more from their pad, where a reading of the rail at the pad was meant.
fn points_off(plan: &Plan, survey: &Survey, placed: &Placed, list: &mut Vec<Doubt>) {
    let Some(motion) = placed.motion else { return };
    for p in &survey.points {
        let Some(x) = p.x_mm else { continue };
        let by_mm = motion.of(p.xyz_mm)[0] - x;
        if by_mm.abs() > 0.25 * pitch_mm(plan) {
            list.push(Doubt::PointOff { line: p.place.line, by_mm });
        }
    }
}

fn stations(plan: &Plan, survey: &Survey, list: &mut Vec<Doubt>) {
    let anchors = &plan.frame.anchors_x_mm;
    let pitch_mm = pitch_mm(plan);
    let of = distinct(survey);
    if survey.state.station_zero_mm.is_some() || of.len() < 4 || of.len() > anchors.len() {
        return;
    }
    let off: Vec<f64> = of.iter().map(|x| from_pad(anchors, *x)).collect();
    let (low, high) = off.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), d| (l.min(*d), h.max(*d)));
    let at_pads = off.iter().filter(|d| d.abs() <= 0.1 * pitch_mm).count();
    if high - low <= 0.02 * pitch_mm && f64::midpoint(low, high).abs() > 0.02 * pitch_mm {
        list.push(Doubt::StationsOff { by_mm: f64::midpoint(low, high) });
    } else if 2 * at_pads < of.len() {
        let mut gaps: Vec<f64> = of.windows(2).map(|w| w[1] - w[0]).collect();
        gaps.sort_by(f64::total_cmp);
        list.push(Doubt::StationsBetween { stations: of.len(), at_pads, apart_mm: gaps[gaps.len() / 2], pitch_mm });
    }
}

fn scatter(corrected: &Corrected, list: &mut Vec<Doubt>) {
    for quantity in [Quantity::Lateral, Quantity::Vertical, Quantity::CrossLevel, Quantity::Gauge, Quantity::Height] {
        for rail in [None, Some(0), Some(1)] {
            let series: Vec<&Reading> = corrected.readings.iter().filter(|r| r.quantity == quantity && r.rail == rail).collect();
            let of: Vec<f64> = misfits(&series);
            let stated: Vec<f64> = series.iter().filter_map(|r| r.uncertainty).collect();
            if series.len() < 5 || of.is_empty() || stated.is_empty() {
                continue;
            }
            let rms = |list: &[f64]| (list.iter().map(|v| v * v).sum::<f64>() / list.len() as f64).sqrt();
            let (scatter, stated) = (rms(&of), rms(&stated));
            if scatter < LEAST_SCATTER * stated {
                list.push(Doubt::NoScatter { quantity, rail, scatter, stated });
            }
        }
    }
}

/// What each reading of a series is off the line through its nearest four other stations.
fn misfits(series: &[&Reading]) -> Vec<f64> {
    series.iter().filter_map(|r| expected(series, r.x_mm).map(|e| r.value - e)).collect()
}

fn signs(survey: &Survey, list: &mut Vec<Doubt>) {
    if !survey.points.is_empty() && survey.state.z_up.is_none() && !survey.state.axes_stated {
        list.push(Doubt::ZNotStated);
    }
    let signed = [Quantity::Lateral, Quantity::Vertical, Quantity::CrossLevel, Quantity::Height];
    let kinds: Vec<Quantity> = signed.into_iter().filter(|q| survey.readings.iter().any(|r| r.quantity == *q)).collect();
    if !survey.state.signs_stated && !kinds.is_empty() {
        list.push(Doubt::SignsNotStated { kinds });
    }
}
