//! Rails with known truth for calibrations: the ways in which rails are out of straight, scaled to a stated peak-to-valley, and
//! readings of them with stated noise.

use railtrue::geometry::Rails;
use railtrue::geometry::line_fit::least_squares;
use railtrue::input::Plan;
use railtrue::input::survey::{Place, Quantity, Reading};
use railtrue::survey::Corrected;
use rand::{Rng, RngExt};
use rand_distr::{Distribution, StandardNormal};

/// How a rail is out of straight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Rough {
    /// As the plan draws it: waves of its correlation length.
    Smooth,
    /// Three times as far out, brought back pad by pad in steps of the shim box.
    Shimmed,
    /// One or two steps where lengths of rail meet.
    Stepped,
    /// Nearly smooth, one or two pads sunk: in height, across it is smooth.
    Settled,
    /// Each pad for itself.
    Padded,
    /// Waves of 600 to 1,500 mm that go on between the pads.
    Wavy,
}

impl Rough {
    /// All of them.
    pub(crate) const ALL: [Self; 6] = [Self::Smooth, Self::Shimmed, Self::Stepped, Self::Settled, Self::Padded, Self::Wavy];
}

fn normal(rng: &mut impl Rng) -> f64 {
    StandardNormal.sample(rng)
}

/// A wave of random modes with a squared-exponential spectrum of this correlation length.
fn waves(x: &[f64], length_mm: f64, rng: &mut impl Rng) -> Vec<f64> {
    let list: Vec<[f64; 3]> = (0..40).map(|_| [normal(rng) / length_mm, normal(rng), normal(rng)]).collect();
    x.iter().map(|x| list.iter().map(|[k, a, b]| a * (k * x).cos() + b * (k * x).sin()).sum()).collect()
}

/// Deviations of a rail from its line at the pads, scaled so that its peak-to-valley (eighths of a bay) is `wide`.
pub(crate) fn shape(plan: &Plan, rails: &Rails, rough: Rough, wide: f64, rng: &mut impl Rng) -> Vec<f64> {
    let x = &plan.frame.anchors_x_mm;
    let n = x.len();
    let mut grid: Vec<f64> = x.windows(2).flat_map(|w| (0..8).map(move |k| w[0] + (w[1] - w[0]) * f64::from(k) / 8.0)).collect();
    grid.extend(x.last());
    let length = plan.frame.correlation_length_mm;
    let mut at_grid = None;
    let at_pads: Vec<f64> = match rough {
        Rough::Smooth => waves(x, length, rng),
        Rough::Shimmed => {
            let step = 0.4 + rng.random::<f64>() * 0.4;
            waves(x, length, rng).iter().map(|v| v / 6.0 - (v / 6.0 / step).round() * step).collect()
        }
        Rough::Stepped => {
            let mut values: Vec<f64> = waves(x, length, rng).iter().map(|v| v / 40.0).collect();
            for _ in 0..1 + rng.random_range(0..2) {
                let (joint, by) = (rng.random_range(2..n - 2), normal(rng));
                values.iter_mut().skip(joint).for_each(|v| *v += by);
            }
            values
        }
        Rough::Settled => {
            let mut values: Vec<f64> = waves(x, length, rng).iter().map(|v| v / 40.0).collect();
            for _ in 0..1 + rng.random_range(0..2) {
                values[rng.random_range(0..n)] -= 0.7 + rng.random::<f64>();
            }
            values
        }
        Rough::Padded => (0..n).map(|_| normal(rng)).collect(),
        Rough::Wavy => {
            let list: Vec<[f64; 3]> = (0..3).map(|_| [600.0 * 2.5_f64.powf(rng.random()), normal(rng), normal(rng)]).collect();
            let wave = |x: f64| -> f64 {
                let one = |[l, a, b]: &[f64; 3]| a * (std::f64::consts::TAU * x / l).cos() + b * (std::f64::consts::TAU * x / l).sin();
                list.iter().map(one).sum()
            };
            at_grid = Some(grid.iter().map(|x| wave(*x)).collect::<Vec<f64>>());
            x.iter().map(|x| wave(*x)).collect()
        }
    };
    // Without own waves between the pads a rail runs through them as a beam does.
    let spline = |x: &f64| rails.spline().weights(*x).value.iter().zip(&at_pads).map(|(w, v)| w * v).sum::<f64>();
    let at_grid = at_grid.unwrap_or_else(|| grid.iter().map(spline).collect());
    let line = least_squares(x, &at_pads).unwrap().line;
    let free: Vec<f64> = at_grid.iter().zip(&grid).map(|(v, x)| v - line.at(*x)).collect();
    let found = free.iter().copied().fold(f64::MIN, f64::max) - free.iter().copied().fold(f64::MAX, f64::min);
    at_pads.iter().zip(x).map(|(v, x)| (v - line.at(*x)) * wide / found).collect()
}

/// What is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Tracker points on both rails.
    Points,
    /// Points on rail A, gauge and height to rail B.
    Gauge,
    /// Points on both, gauge, height, and cross-levels.
    Mixed,
}

impl Kind {
    /// All of them.
    pub(crate) const ALL: [Self; 3] = [Self::Points, Self::Gauge, Self::Mixed];
}

/// Standard uncertainty of points; of gauge and height; of cross-levels.
pub(crate) const POINT_MM: f64 = 0.015;
pub(crate) const BETWEEN_MM: f64 = 0.02;
pub(crate) const LEVEL_RAD: f64 = 0.02e-3;

/// Readings of rails given at the pads by direction and rail, at every pad or every second one; noise with their uncertainty.
pub(crate) fn readings(plan: &Plan, truth: &[[Vec<f64>; 2]; 3], kind: Kind, every: usize, rng: &mut impl Rng) -> Vec<Reading> {
    let mut list = Vec::new();
    let mut add = |quantity: Quantity, rail: Option<usize>, pad: usize, value: f64, u: f64, rng: &mut _| {
        let place = Place { line: list.len() + 2, column: quantity.name().into(), written: String::new() };
        let value = value + u * normal(rng);
        list.push(Reading { place, quantity, rail, x_mm: plan.frame.anchors_x_mm[pad], value, uncertainty: Some(u) });
    };
    for pad in (0..plan.frame.anchors_x_mm.len()).step_by(every) {
        let between = |d: usize| truth[d][1][pad] - truth[d][0][pad];
        for rail in (0..2).filter(|rail| *rail == 0 || kind != Kind::Gauge) {
            add(Quantity::Lateral, Some(rail), pad, truth[0][rail][pad], POINT_MM, rng);
            add(Quantity::Vertical, Some(rail), pad, truth[1][rail][pad], POINT_MM, rng);
            if kind == Kind::Mixed {
                add(Quantity::CrossLevel, Some(rail), pad, truth[2][rail][pad], LEVEL_RAD, rng);
            }
        }
        if kind != Kind::Points {
            add(Quantity::Gauge, None, pad, between(0), BETWEEN_MM, rng);
            add(Quantity::Height, None, pad, between(1), BETWEEN_MM, rng);
        }
    }
    list
}

/// Readings at the reference, nothing to be corrected.
pub(crate) fn corrected(readings: Vec<Reading>) -> Corrected {
    Corrected {
        readings,
        scale: 0.0,
        level_zero_rad: 0.0,
        keeps_common_yaw: false,
        height_is_seen: true,
        turn_with_rolls: false,
        said: Vec::new(),
        findings: Vec::new(),
    }
}
