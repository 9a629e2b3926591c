//! Two or more surveys of one machine: what moved, by more than the uncertainty or not, and where a straight line through it
//! leads.

use nalgebra::DVector;

use super::checks::{Check, Conformity};
use super::lines::line_weights;
use super::measured::Measured;
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

/// Compares surveys in the order of the list. Where pads were shimmed between them, what moved holds that too, and no line is drawn.
#[must_use]
pub fn changes(epochs: &[Epoch], shimmed: bool) -> Vec<Change> {
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
            trend: if shimmed { None } else { trend(epochs, &values, (c.lower, c.upper)) },
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::read_plan;
    use crate::input::survey::Reference;
    use crate::survey::checks::{Decision, decide};
    use crate::survey::corrected::Corrected;

    /// Surveys of one limit, -1 to 1: day, value and standard uncertainty of each.
    fn epochs(list: &[(Option<i64>, f64, f64)]) -> Vec<Epoch> {
        let plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "plan.toml").unwrap();
        let nothing = Corrected {
            readings: Vec::new(),
            scale: 0.0,
            level_zero_rad: 0.0,
            keeps_common_yaw: false,
            height_is_seen: true,
            turn_with_rolls: false,
            said: Vec::new(),
            findings: Vec::new(),
        };
        let measured = Measured::new(&plan, &Rails::new(&plan).unwrap(), &nothing, Reference::Common).unwrap();
        let check = |value: f64, uncertainty: f64| Check {
            key: "height",
            label: "height",
            unit: "mm",
            value,
            minimum_zone: None,
            as_read: None,
            interval: None,
            uncertainty,
            lower: Some(-1.0),
            upper: 1.0,
            decision: decide(value, uncertainty, Some(-1.0), 1.0),
        };
        let one = |(day, value, u): &(Option<i64>, f64, f64)| Epoch {
            file: String::new(),
            day: *day,
            measured: measured.clone(),
            checks: vec![check(*value, *u)],
        };
        list.iter().map(one).collect()
    }

    /// The line through values of 8 years, every four years (1,461 days).
    fn line(values: [f64; 3], uncertainty: [f64; 3], limits: (Option<f64>, f64)) -> Option<Trend> {
        let days = [20_000, 21_461, 22_922];
        let list: Vec<_> = (0..3).map(|i| (Some(days[i]), values[i], uncertainty[i])).collect();
        let values: Vec<_> = (0..3).map(|i| (i, values[i], uncertainty[i])).collect();
        trend(&epochs(&list), &values, limits)
    }

    /// 0.025 mm a year from 0.2 mm at day 21,461; with equal u its deviation is u / sqrt(4^2 + 0 + 4^2).
    #[test]
    fn check_a_line_through_dated_surveys_by_hand() {
        let (rising, sharp) = ([0.1, 0.2, 0.3], [0.01; 3]);
        let t = line(rising, sharp, (Some(-1.0), 1.001)).unwrap();
        assert!((t.per_year - 0.025).abs() < 1e-12 && (t.uncertainty - 0.01 / 32.0_f64.sqrt()).abs() < 1e-12, "{t:?}");
        // (1.001 - 0.2) / 0.025 = 32.04 years = 11,702.6 days later.
        assert_eq!(t.leaves_day, Some(33_163));
        // Falling it leaves by the lower limit, (0.2 + 1.001) / 0.025 = 48.04 years later, and never where there is none.
        let falling = [0.3, 0.2, 0.1];
        assert_eq!(line(falling, sharp, (Some(-1.001), 1.0)).unwrap().leaves_day, Some(21_461 + 17_546));
        assert_eq!(line(falling, sharp, (None, 1.0)).unwrap().leaves_day, None);
        // A day is named within 100 years of the last survey: 0.3 + 0.025 x 99 and x 101.
        assert!(line(rising, sharp, (None, 2.775)).unwrap().leaves_day.is_some());
        assert_eq!(line(rising, sharp, (None, 2.825)).unwrap().leaves_day, None);
        // 1.96 x 0.08 / sqrt 32 = 0.0277: no rise is shown, so no day is named; with 0.07 it is.
        assert_eq!(line(rising, [0.08; 3], (None, 1.0)).unwrap().leaves_day, None);
        assert!(line(rising, [0.07; 3], (None, 1.0)).unwrap().leaves_day.is_some());
        // A survey counts by its uncertainty: a wild one hardly moves the line.
        let t = line([0.1, 9.0, 0.3], [0.01, 1e3, 0.01], (None, 1.0)).unwrap();
        assert!((t.per_year - 0.025).abs() < 1e-6 && (t.uncertainty - 0.01 / 32.0_f64.sqrt()).abs() < 1e-6, "{t:?}");
        let t = line([0.1, 0.2, 9.0], [0.01, 0.01, 1e3], (None, 1.0)).unwrap();
        assert!((t.per_year - 0.1 / 4.0).abs() < 1e-6, "{t:?}");
    }

    #[test]
    fn check_surveys_of_one_day_or_without_a_day_have_no_trend() {
        let two = |days: [Option<i64>; 2]| epochs(&[(days[0], 0.1, 0.01), (days[1], 0.4, 0.01)]);
        let of = |days: [Option<i64>; 2]| changes(&two(days), false)[0].trend;
        assert!(of([Some(20_000), Some(20_100)]).is_some());
        // Shims are no drift.
        let shimmed = &changes(&two([Some(20_000), Some(20_100)]), true)[0];
        assert_eq!((shimmed.trend, shimmed.moved_at), (None, Some(1)));
        assert_eq!(of([Some(20_000); 2]), None);
        assert_eq!(of([Some(20_000), None]), None);
    }

    #[test]
    fn check_a_limit_has_moved_when_it_differs_from_the_first_survey_by_more_than_both_uncertainties() {
        // 1.96 x sqrt(0.03^2 + 0.04^2) = 0.098. The step from 0.09 to 0.12 alone would be none.
        let list = epochs(&[(None, 0.0, 0.03), (None, -0.09, 0.04), (None, 0.09, 0.04), (None, -0.12, 0.04), (None, 0.5, 0.04)]);
        let found = changes(&list, false);
        assert_eq!((found.len(), found[0].moved_at, found[0].values.len()), (1, Some(3), 5));
        assert_eq!(changes(&list[..3], false)[0].moved_at, None);
        // Surveys that did not see it are passed over; seen once it has no history.
        let mut some = list;
        let unseen = Decision { verdict: Conformity::NotSeen, deciding_uncertainty: None };
        some[0].checks[0].decision = unseen;
        some[2].checks[0].decision = unseen;
        let found = changes(&some, false);
        assert_eq!(found[0].values.iter().map(|v| v.0).collect::<Vec<_>>(), [1, 3, 4]);
        assert_eq!(found[0].moved_at, Some(4), "-0.12 against -0.09 is no movement");
        assert!(changes(&some[..3], false).is_empty() && changes(&[], false).is_empty());
    }
}
