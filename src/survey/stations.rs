//! Stations, sizes and temperatures held against the plan: units that only a slip of the pen explains.

use super::consensus::{across_mm, pitch_mm};
use super::misplaced::{Misplaced, Unit};
use crate::input::survey::{Quantity, Reading, Reference, State, Survey};
use crate::input::{ErrorKind, Plan};

/// Kelvin beyond the plan's seasons up to which a frame's temperature is nothing to ask about.
const BEYOND_SEASONS_K: f64 = 10.0;

/// A frame's temperature far outside the plan's seasons, and inside them in degrees Fahrenheit.
pub(super) fn temperature(plan: &Plan, state: &State) -> Result<(), Misplaced> {
    if state.temperature_unit_stated {
        return Ok(());
    }
    let seasons = plan.seasons.iter().map(|s| plan.reference_c + s.thermal.frame_dt_k).chain([plan.reference_c]);
    let [low, high] = seasons.fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], c| [l.min(c), h.max(c)]);
    let usual = |c: f64| c >= low - BEYOND_SEASONS_K && c <= high + BEYOND_SEASONS_K;
    let stated = [state.frame_dt_k.map(|dt| plan.reference_c + dt), state.tape_dt_k.map(|dt| crate::units::REFERENCE_TEMPERATURE_C + dt)];
    let celsius = |f: f64| (f - 32.0) / 1.8;
    match stated.into_iter().flatten().find(|c| !usual(*c) && usual(celsius(*c))) {
        Some(stated) => Err(Misplaced::Fahrenheit { stated, would_be_c: celsius(stated), seasons_c: [low, high] }),
        None => Ok(()),
    }
}

/// Different stations of a survey's readings and points, in order.
pub(super) fn distinct(survey: &Survey) -> Vec<f64> {
    let mut list: Vec<f64> = survey.readings.iter().map(|r| r.x_mm).chain(survey.points.iter().filter_map(|p| p.x_mm)).collect();
    list.sort_by(f64::total_cmp);
    list.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    list
}

/// Distance of a station from the nearest pad, signed.
pub(super) fn from_pad(anchors: &[f64], x: f64) -> f64 {
    anchors.iter().map(|a| x - a).min_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(f64::NAN)
}

/// Stations that lie close together and in another unit lie on pads.
pub(super) fn units(plan: &Plan, survey: &Survey) -> Result<(), Misplaced> {
    let anchors = &plan.frame.anchors_x_mm;
    let list = distinct(survey);
    let (Some(first), Some(last)) = (list.first(), list.last()) else { return Ok(()) };
    let long = plan.frame.length_mm();
    if survey.state.station_zero_mm.is_some() || list.len() < 4 || last - first > 0.2 * long {
        return Ok(());
    }
    let fits = |factor: f64| {
        let on_pad = list.iter().all(|x| from_pad(anchors, x * factor).abs() <= 0.02 * pitch_mm(plan).max(1.0));
        on_pad && (last - first) * factor >= 0.3 * long
    };
    match [1000.0, 25.4, 10.0, 304.8].into_iter().find(|f| fits(*f)) {
        Some(factor) => Err(Misplaced::Stations { to_mm: *last, pads_to_mm: anchors[anchors.len() - 1], factor }),
        None => Ok(()),
    }
}

/// Readings that are far larger than any rail is out, and would not be in another unit; a gauge of another machine.
pub(super) fn sizes(plan: &Plan, survey: &Survey) -> Result<(), Misplaced> {
    let tolerance = |kinds: &[ErrorKind]| {
        let of = |k: &ErrorKind| plan.errors.get(*k).map(|s| s.upper.abs().max(s.lower.abs()));
        kinds.iter().filter_map(of).fold(0.0, f64::max)
    };
    let level = tolerance(&[ErrorKind::CrossLevel(0), ErrorKind::CrossLevel(1)]).max(0.1e-3);
    let rail = tolerance(&[ErrorKind::Span, ErrorKind::Height, ErrorKind::StraightnessLateral(0), ErrorKind::StraightnessVertical(0)]);
    let of = |q: Quantity| survey.readings.iter().filter(move |r| r.quantity == q);
    let leaning = survey.state.levels_by_instrument;
    let units: [(Unit, f64); 2] = [(Unit::MicrometresPerMetre, 1e-3), (Unit::Arcseconds, std::f64::consts::PI / 648.0)];
    let too_large = (20.0 * level).max(10e-3);
    if !leaning {
        large(Quantity::CrossLevel, &of(Quantity::CrossLevel).collect::<Vec<_>>(), too_large, level, &units)?;
    }
    // A line of its own may lie anywhere beside its rail.
    let own_line = survey.state.reference == Reference::EachRail;
    for quantity in [Quantity::Lateral, Quantity::Vertical, Quantity::Height].into_iter().filter(|q| q.is_difference() || !own_line) {
        large(quantity, &of(quantity).collect::<Vec<_>>(), across_mm(plan), rail, &[(Unit::Micrometres, 1e-3)])?;
    }
    let mut gauges: Vec<f64> = of(Quantity::Gauge).map(|r| r.value).collect();
    gauges.sort_by(f64::total_cmp);
    match gauges.get(gauges.len() / 2) {
        Some(off) if off.abs() > across_mm(plan) => Err(Misplaced::Span { read_mm: plan.frame.span_mm + off, plan_mm: plan.frame.span_mm }),
        _ => Ok(()),
    }
}

fn large(quantity: Quantity, list: &[&Reading], most: f64, tolerance: f64, units: &[(Unit, f64)]) -> Result<(), Misplaced> {
    let mut sizes: Vec<f64> = list.iter().map(|r| r.value.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let Some(half_over) = sizes.get(sizes.len() / 2).copied().filter(|s| *s > most) else { return Ok(()) };
    let would: Vec<(Unit, f64)> = units.iter().map(|(u, f)| (*u, f * half_over)).filter(|(_, s)| *s <= 3.0 * tolerance).collect();
    if would.is_empty() { Ok(()) } else { Err(Misplaced::Size { quantity, half_over, tolerance, would }) }
}
