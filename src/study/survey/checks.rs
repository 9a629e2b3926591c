//! Measured values against the plan's limits, decided by ISO 14253-1: pass, fail, or not decidable with this instrument.

use nalgebra::DVector;

use super::measured::{LATERAL, Measured, VERTICAL, line_weights};
use crate::errors::SurveyReading;
use crate::geometry::Rails;
use crate::geometry::line_fit::minimum_zone;
use crate::input::{ErrorKind, Plan, Source};
use crate::study::engine::run;
use crate::study::sampling::normals;
use crate::units::{A, B};

/// Guard band over standard uncertainty: conformity with 95 % (ISO 14253-1; the normal distribution's one-sided quantile).
pub const GUARD: f64 = 1.644_853_626_951_472_7;

/// Draws for the uncertainty of straightness.
const DRAWS: u64 = 2000;

/// The verdict of one limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Conformity {
    /// Shown to be inside the limits.
    Pass,
    /// Shown to be outside.
    Fail,
    /// Not decidable with this instrument.
    NotDecidable,
    /// Not read.
    NotSeen,
}

/// A value held against limits.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Decision {
    /// The verdict.
    pub verdict: Conformity,
    /// Standard uncertainty that would just decide it; `None` where it is decided, was not read or rests on readings that contradict
    /// each other, 0 where the value lies on the limit.
    pub deciding_uncertainty: Option<f64>,
}

/// One limit of the plan with what was measured.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Check {
    /// Key in the plan's errors.
    pub key: &'static str,
    /// What it is.
    pub label: &'static str,
    /// mm or mm/m.
    pub unit: &'static str,
    /// Measured value; for straightness about the least-squares line.
    pub value: f64,
    /// Straightness by the minimum zone.
    pub minimum_zone: Option<f64>,
    /// Its standard uncertainty.
    pub uncertainty: f64,
    /// Lower limit; none for straightness.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: f64,
    /// The verdict.
    pub decision: Decision,
}

/// Decides a value with its standard uncertainty: inside both limits by the guard band passes, outside one by it fails.
#[must_use]
pub fn decide(value: f64, uncertainty: f64, lower: Option<f64>, upper: f64) -> Decision {
    let guard = GUARD * uncertainty;
    let low = lower.unwrap_or(f64::NEG_INFINITY);
    // Distance to the nearest limit, inside positive.
    let inside = (upper - value).min(value - low);
    let verdict = if inside >= guard {
        Conformity::Pass
    } else if inside < -guard {
        Conformity::Fail
    } else {
        Conformity::NotDecidable
    };
    let deciding_uncertainty = (verdict == Conformity::NotDecidable).then_some(inside.abs() / GUARD);
    Decision { verdict, deciding_uncertainty }
}

/// Every rail tolerance of the plan against what was measured.
#[must_use]
pub fn checks(plan: &Plan, rails: &Rails, measured: &Measured, seed: u64) -> Vec<Check> {
    let mut list = Vec::new();
    for spec in &ErrorKind::ALL {
        let Some(source) = plan.errors.get(spec.kind) else { continue };
        let (unit, scale) = if spec.angle { ("mm/m", 1e-3) } else { ("mm", 1.0) };
        let check = |direction: usize, value: f64, zone: Option<f64>, uncertainty: f64, seen: bool, lower: Option<f64>| {
            let decision = if !seen {
                Decision { verdict: Conformity::NotSeen, deciding_uncertainty: None }
            } else if measured.apart[direction] > 1.0 {
                // The middle of two series may pass where neither does.
                Decision { verdict: Conformity::NotDecidable, deciding_uncertainty: None }
            } else {
                decide(value, uncertainty, lower, source.upper)
            };
            Check {
                key: spec.key,
                label: spec.label,
                unit,
                value: value / scale,
                minimum_zone: zone.map(|z| z / scale),
                uncertainty: uncertainty / scale,
                lower: lower.map(|l| l / scale),
                upper: source.upper / scale,
                decision: Decision { deciding_uncertainty: decision.deciding_uncertainty.map(|u| u / scale), ..decision },
            }
        };
        if let Some((direction, value, uncertainty, seen)) = line_value(plan, measured, source) {
            list.push(check(direction, value, None, uncertainty, seen, Some(source.lower)));
        } else if let Some(SurveyReading::Straightness { direction, rail }) = spec.survey {
            let (value, zone, uncertainty) = straightness(plan, rails, measured, direction, rail, seed);
            let seen = measured.read[direction][rail] && measured.tells(direction, rail);
            list.push(check(direction, value, Some(zone), uncertainty, seen, None));
        }
    }
    list
}

/// Direction, offset or drift with its standard uncertainty, exact from the posterior, and whether it was seen.
fn line_value(plan: &Plan, measured: &Measured, source: &Source) -> Option<(usize, f64, f64, bool)> {
    let Some(SurveyReading::Line { direction, part: i, rail }) = source.kind.spec().survey else { return None };
    let (a, b) = (line_weights(&plan.frame, A), line_weights(&plan.frame, B));
    let weights: DVector<f64> = match rail {
        None => &b[i] - &a[i],
        Some(rail) => [&a, &b][rail][i].clone(),
    };
    let (value, uncertainty) = measured.profiles[direction].of(&weights);
    let seen = match (direction, rail) {
        (LATERAL, _) => measured.seen.lateral[i],
        (VERTICAL, _) => measured.seen.vertical[i],
        (_, rail) => measured.seen.roll[rail.unwrap_or(A)][i] && !measured.turned_with_rolls,
    };
    Some((direction, value, uncertainty, seen))
}

/// Peak-to-valley of the most likely profile about its least-squares line and by the minimum zone, with the root mean square
/// distance of the drawn profiles' peak-to-valley from it.
fn straightness(plan: &Plan, rails: &Rails, measured: &Measured, direction: usize, rail: usize, seed: u64) -> (f64, f64, f64) {
    let grid = grid(&plan.frame.anchors_x_mm);
    let weights: Vec<Vec<f64>> = grid.iter().map(|x| rails.spline().weights(*x).value).collect();
    let along = |values: &[f64]| -> Vec<f64> {
        let [offset, drift] = super::measured::line(&plan.frame, values);
        let free: Vec<f64> = values.iter().zip(&plan.frame.anchors_x_mm).map(|(v, x)| v - offset - drift * plan.frame.s(*x)).collect();
        weights.iter().map(|w| w.iter().zip(&free).map(|(w, v)| w * v).sum()).collect()
    };
    let width = |values: &[f64]| {
        let (low, high) = along(values).iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
        high - low
    };
    let profile = &measured.profiles[direction];
    let mean = &profile.mean_profiles()[rail];
    let value = width(mean);
    let line = along(mean);
    let zone = minimum_zone(&grid, &line).map_or(value, |l| l.zone(&grid, &line));
    // Streams apart from those of the predictions.
    let first = 1_000_000_000 + 10_000 * (2 * direction + rail) as u64;
    let squares = run(
        first,
        DRAWS,
        seed,
        || (),
        |(), _, rng| {
            let drawn = profile.draw(&normals(profile.dimension(), rng));
            (width(&drawn[rail]) - value).powi(2)
        },
    );
    (value, zone, (squares.iter().sum::<f64>() / DRAWS as f64).sqrt())
}

/// Eight points a bay, as everywhere a peak-to-valley is taken.
fn grid(anchors: &[f64]) -> Vec<f64> {
    let mut points: Vec<f64> = anchors.windows(2).flat_map(|w| (0..8).map(move |k| w[0] + (w[1] - w[0]) * f64::from(k) / 8.0)).collect();
    points.extend(anchors.last());
    points
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 14253-1 with k = 1.645 on limits -1 and 2: by hand, from well inside to well outside on both sides.
    #[test]
    fn ref_decisions_by_guard_bands() {
        let verdict = |value: f64| decide(value, 0.1, Some(-1.0), 2.0).verdict;
        for (value, expected) in [
            (0.5, Conformity::Pass),
            (1.83, Conformity::Pass),
            (1.84, Conformity::NotDecidable),
            (2.16, Conformity::NotDecidable),
            (2.17, Conformity::Fail),
            (-0.83, Conformity::Pass),
            (-0.84, Conformity::NotDecidable),
            (-1.16, Conformity::NotDecidable),
            (-1.17, Conformity::Fail),
        ] {
            assert_eq!(verdict(value), expected, "{value}");
        }
        // Without uncertainty a value on its limit keeps it.
        assert_eq!(decide(2.0, 0.0, None, 2.0).verdict, Conformity::Pass);
        assert_eq!(decide(-50.0, 0.1, None, 2.0).verdict, Conformity::Pass);
        let open = decide(2.1, 0.1, None, 2.0).deciding_uncertainty.unwrap();
        assert!((open - 0.1 / GUARD).abs() < 1e-12);
        assert!(decide(0.0, 0.1, None, 2.0).deciding_uncertainty.is_none());
    }

    #[test]
    fn check_the_grid_takes_eight_points_a_bay() {
        let expected: Vec<f64> = (0..8).map(|k| 1.0 + f64::from(k)).chain((0..8).map(|k| 9.0 + 2.0 * f64::from(k))).chain([25.0]).collect();
        assert_eq!(grid(&[1.0, 9.0, 25.0]), expected);
    }
}
