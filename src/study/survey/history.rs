//! Two or more surveys of one machine: what moved, by more than the uncertainty or not, and where a straight line through it
//! leads.

use nalgebra::DVector;

use super::checks::{Check, Conformity};
use super::measured::{Measured, line_weights};
use crate::geometry::Rails;
use crate::input::Plan;
use crate::units::MRAD;

/// Two-sided 95 % of the normal distribution.
const SURE: f64 = 1.959_963_984_540_054;

/// A pad is named where it moved by more than this many uncertainties: there are many pads, and chance moves some by two.
const PAD: f64 = 3.5;

/// One survey in time.
#[derive(Debug, Clone)]
pub struct Epoch {
    /// File, for messages.
    pub file: String,
    /// Its date as a day number; `None` where it is not dated.
    pub day: Option<i64>,
    /// The rails.
    pub measured: Measured,
    /// The limits.
    pub checks: Vec<Check>,
}

/// One limit over time.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Change {
    /// What it is.
    pub label: &'static str,
    /// mm or mm/m.
    pub unit: &'static str,
    /// Limits.
    pub limits: (Option<f64>, f64),
    /// Value and standard uncertainty at each survey where it was read: number of the survey, value, uncertainty.
    pub values: Vec<(usize, f64, f64)>,
    /// Survey from which on it differs from the first by more than the uncertainty.
    pub moved_at: Option<usize>,
    /// Straight line through the values, where dates allow one.
    pub trend: Option<Trend>,
}

/// A straight line through values in time.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Trend {
    /// Rise in a year.
    pub per_year: f64,
    /// Its standard uncertainty.
    pub uncertainty: f64,
    /// Day on which the line leaves the limits, where the rise is more than its uncertainty.
    pub leaves_day: Option<i64>,
}

/// A pad that moved against its own rail between the first survey and the last.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct PadMoved {
    /// 0 lateral, 1 vertical, 2 cross-level.
    pub direction: usize,
    /// Rail.
    pub rail: usize,
    /// Number of the pad, from 1.
    pub pad: usize,
    /// By how much, mm or mm/m.
    pub by: f64,
    /// Standard uncertainty of that.
    pub uncertainty: f64,
}

/// Compares surveys in the order of the list.
#[must_use]
pub fn changes(epochs: &[Epoch]) -> Vec<Change> {
    let Some(first) = epochs.first() else { return Vec::new() };
    let one = |k: usize| {
        let c = &first.checks[k];
        let read = |(i, e): (usize, &Epoch)| {
            let check = e.checks.get(k).filter(|c| c.decision.verdict != Conformity::NotSeen)?;
            Some((i, check.value, check.uncertainty))
        };
        let values: Vec<(usize, f64, f64)> = epochs.iter().enumerate().filter_map(read).collect();
        let moved_at = values
            .first()
            .and_then(|(_, v0, u0)| values.iter().skip(1).find(|(_, v, u)| (v - v0).abs() > SURE * u.hypot(*u0)).map(|(i, _, _)| *i));
        Change {
            label: c.label,
            unit: c.unit,
            limits: (c.lower, c.upper),
            trend: trend(epochs, &values, (c.lower, c.upper)),
            moved_at,
            values,
        }
    };
    (0..first.checks.len()).map(one).filter(|c| c.values.len() > 1).collect()
}

/// Weighted least squares in time. The deviation comes from the stated uncertainties alone.
fn trend(epochs: &[Epoch], values: &[(usize, f64, f64)], (lower, upper): (Option<f64>, f64)) -> Option<Trend> {
    let days: Vec<(f64, f64, f64)> =
        values.iter().map(|(i, v, u)| epochs[*i].day.map(|d| (d as f64, *v, 1.0 / (u * u)))).collect::<Option<_>>()?;
    let sum = |f: &dyn Fn(&(f64, f64, f64)) -> f64| days.iter().map(f).sum::<f64>();
    let weight = sum(&|d| d.2);
    let (mid, mean) = (sum(&|d| d.2 * d.0) / weight, sum(&|d| d.2 * d.1) / weight);
    let spread = sum(&|d| d.2 * (d.0 - mid).powi(2));
    if !(spread > 0.0) || !weight.is_finite() {
        return None;
    }
    let slope = sum(&|d| d.2 * (d.0 - mid) * (d.1 - mean)) / spread;
    let uncertainty = spread.sqrt().recip();
    let last = days.last()?.0;
    let target = if slope > 0.0 { Some(upper) } else { lower };
    let leaves = target.map(|t| mid + (t - mean) / slope).filter(|day| slope.abs() > SURE * uncertainty && *day < last + 365.25 * 100.0);
    let year = 365.25;
    Some(Trend { per_year: slope * year, uncertainty: uncertainty * year, leaves_day: leaves.map(|d| d.floor() as i64) })
}

/// Pads that moved against their own rail's line between the first survey and the last, the surest first.
#[must_use]
pub fn pads_moved(plan: &Plan, rails: &Rails, first: &Measured, last: &Measured) -> Vec<PadMoved> {
    let frame = &plan.frame;
    let n = frame.anchors_x_mm.len();
    let mut list = Vec::new();
    for direction in 0..3 {
        let scale = if direction == 2 { MRAD } else { 1.0 };
        for rail in 0..2 {
            if !(first.read[direction][rail] && last.read[direction][rail]) {
                continue;
            }
            let [offset, drift] = line_weights(frame, rail);
            for (i, x) in frame.anchors_x_mm.iter().enumerate() {
                let mut weights = DVector::zeros(2 * n);
                weights.rows_mut(rail * n, n).copy_from_slice(&rails.spline().weights(*x).value);
                weights -= &offset + &drift * frame.s(*x);
                let (a, ua) = first.profiles[direction].of(&weights);
                let (b, ub) = last.profiles[direction].of(&weights);
                let uncertainty = ua.hypot(ub);
                if (b - a).abs() > PAD * uncertainty {
                    list.push(PadMoved { direction, rail, pad: i + 1, by: (b - a) / scale, uncertainty: uncertainty / scale });
                }
            }
        }
    }
    list.sort_by(|a, b| (b.by.abs() / b.uncertainty).total_cmp(&(a.by.abs() / a.uncertainty)));
    list
}
