//! Measured values against the plan's limits, decided by ISO 14253-1: pass, fail, or not yet decided.

use nalgebra::{DMatrix, DVector};
use rand_distr::{Distribution, StandardNormal};

use super::lines::line_weights;
use super::measured::{LATERAL, Measured, VERTICAL};
use crate::draw::run;
use crate::errors::SurveyReading;
use crate::geometry::line_fit::{least_squares, minimum_zone};
use crate::geometry::{Rails, detrended};
use crate::input::{ErrorKind, Plan, Source};
use crate::units::{A, B};

/// Guard band over standard uncertainty: conformity with 95 % (ISO 14253-1; the normal distribution's one-sided quantile).
pub const GUARD: f64 = 1.644_853_626_951_472_7;

/// Draws for the uncertainty of straightness.
const DRAWS: u64 = 2000;

/// Of them those whose minimum zone is looked for.
const ZONES: u64 = 200;

/// The verdict of one limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Conformity {
    /// Shown to be inside the limits.
    Pass,
    /// Shown to be outside.
    Fail,
    /// Not yet decided by these readings.
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
    /// Measured value; for straightness the median of what the readings allow, about the least-squares line.
    pub value: f64,
    /// Straightness by the minimum zone.
    pub minimum_zone: Option<f64>,
    /// Straightness: where it lies with 95 in 100.
    pub interval: Option<[f64; 2]>,
    /// Straightness of the rail's own readings as they are, noise and all; none where fewer than three places of it were read.
    pub as_read: Option<f64>,
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
        // The middle of two series that contradict each other may pass where neither does.
        let held = |direction: usize, seen: bool, decision: Decision| match (seen, measured.apart[direction] > 1.0) {
            (false, _) => Decision { verdict: Conformity::NotSeen, deciding_uncertainty: None },
            (_, true) => Decision { verdict: Conformity::NotDecidable, deciding_uncertainty: None },
            _ => Decision { deciding_uncertainty: decision.deciding_uncertainty.map(|u| u / scale), ..decision },
        };
        let check = |value: f64, uncertainty: f64, decision: Decision| Check {
            key: spec.key,
            label: spec.label,
            unit,
            value: value / scale,
            minimum_zone: None,
            interval: None,
            as_read: None,
            uncertainty: uncertainty / scale,
            lower: None,
            upper: source.upper / scale,
            decision,
        };
        if let Some((direction, value, uncertainty, seen)) = line_value(plan, measured, source) {
            let decision = held(direction, seen, decide(value, uncertainty, Some(source.lower), source.upper));
            list.push(Check { lower: Some(source.lower / scale), ..check(value, uncertainty, decision) });
        } else if let Some(SurveyReading::Straightness { direction, rail }) = spec.survey {
            let found = Straightness::new(plan, rails, measured, direction, rail, seed);
            let seen = measured.read[direction][rail] && measured.tells(direction, rail);
            let as_read = as_read(measured, direction, rail);
            let decision = held(direction, seen, found.decide(source.upper, as_read));
            let (minimum_zone, interval) = (Some(found.zone / scale), Some([found.ends[0] / scale, found.ends[3] / scale]));
            let as_read = as_read.map(|v| v / scale);
            list.push(Check { minimum_zone, interval, as_read, ..check(found.value, found.uncertainty, decision) });
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

/// Peak-to-valley of the drawn profiles about their least-squares line.
struct Straightness {
    /// Median, that of the minimum zone, and standard deviation.
    value: f64,
    zone: f64,
    uncertainty: f64,
    /// 2.5 and 5 in 100 of the draws as a beam, 95 and 97.5 of those with waves between the pads.
    ends: [f64; 4],
}

impl Straightness {
    /// A peak-to-valley is not linear in the profile: noise makes it larger, smoothing smaller. So the verdict is taken on what
    /// profiles that the readings allow have, not on that of the most likely one.
    ///
    /// Readings at pads do not see what a bay has for itself. A rail may run through its pads as a beam does, or have waves between
    /// them: it passes where it would with waves, and fails where it would as a beam.
    fn new(plan: &Plan, rails: &Rails, measured: &Measured, direction: usize, rail: usize, seed: u64) -> Self {
        let anchors = &plan.frame.anchors_x_mm;
        let grid = grid(anchors);
        let n = anchors.len();
        let (free, _) = detrended(anchors, 1.0);
        let weights: Vec<f64> = grid.iter().flat_map(|x| rails.spline().weights(*x).value).collect();
        let at = DMatrix::from_row_slice(grid.len(), n, &weights);
        let profile = &measured.profiles[direction];
        let along = at * free;
        let mean = &along * profile.mean.rows(rail * n, n);
        let root = &along * profile.root.rows(rail * n, n);
        // Streams apart from those of the predictions.
        let first = 1_000_000_000 + 10_000 * (2 * direction + rail) as u64;
        let drawn = run(
            first,
            DRAWS,
            seed,
            || (),
            |(), i, rng| {
                let mut line = &mean + &root * DVector::from_vec(profile.numbers(rng));
                let beam = line.max() - line.min();
                let zone =
                    (i < first + ZONES).then(|| minimum_zone(&grid, line.as_slice()).map_or(beam, |l| l.zone(&grid, line.as_slice())));
                for bay in 0..n - 1 {
                    let z: f64 = StandardNormal.sample(rng);
                    line[8 * bay + 4] += measured.between[direction][rail] * z;
                }
                let waves = beam.max(line.max() - line.min());
                (beam, waves, zone)
            },
        );
        let sorted = |mut list: Vec<f64>| {
            list.sort_by(f64::total_cmp);
            list
        };
        let beams = sorted(drawn.iter().map(|d| d.0).collect());
        let waves = sorted(drawn.iter().map(|d| d.1).collect());
        let zones = sorted(drawn.iter().filter_map(|d| d.2).collect());
        let at = |list: &[f64], p: f64| list[((p * list.len() as f64).ceil() as usize).clamp(1, list.len()) - 1];
        let middle = waves.iter().sum::<f64>() / waves.len() as f64;
        let square = waves.iter().map(|w| (w - middle).powi(2)).sum::<f64>() / waves.len() as f64;
        Self {
            value: at(&beams, 0.5),
            zone: at(&zones, 0.5),
            uncertainty: square.sqrt(),
            ends: [at(&beams, 0.025), at(&beams, 0.05), at(&waves, 0.95), at(&waves, 0.975)],
        }
    }

    /// Inside where 95 in 100 of what the readings allow is, outside where 95 in 100 is (ISO 14253-1). Noise widens readings more often
    /// than it narrows them: what the readings themselves span beyond the limit is never passed for a smooth rail's sake.
    fn decide(&self, upper: f64, as_read: Option<f64>) -> Decision {
        let verdict = if self.ends[2] <= upper && as_read.is_none_or(|span| span <= upper) {
            Conformity::Pass
        } else if self.ends[1] > upper {
            Conformity::Fail
        } else {
            Conformity::NotDecidable
        };
        let deciding_uncertainty = (verdict == Conformity::NotDecidable).then_some((upper - self.value).abs() / GUARD);
        Decision { verdict, deciding_uncertainty }
    }
}

/// Peak-to-valley of a rail's own readings about their least-squares line, several at one place by their mean.
fn as_read(measured: &Measured, direction: usize, rail: usize) -> Option<f64> {
    let own = measured.used[direction].iter().filter(|r| r.rail == Some(rail) && !r.quantity.is_difference());
    let mut places: Vec<(f64, f64, f64)> = Vec::new();
    for r in own {
        match places.iter_mut().find(|(x, ..)| (x - r.x_mm).abs() < 1.0) {
            Some((_, sum, count)) => (*sum, *count) = (*sum + r.value, *count + 1.0),
            None => places.push((r.x_mm, r.value, 1.0)),
        }
    }
    let (x, values): (Vec<f64>, Vec<f64>) = places.iter().map(|(x, sum, count)| (*x, sum / count)).unzip();
    if x.len() < 3 { None } else { least_squares(&x, &values).map(|fit| fit.line.zone(&x, &values)) }
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
