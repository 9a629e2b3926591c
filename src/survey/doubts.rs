//! Values that look wrong: far from what their neighbours say, with a swapped sign, a factor 10 or 25.4. They are pointed
//! out, and stay in the evaluation until a person has decided.

use super::corrected::Corrected;
use super::finding;
use super::measured::{Measured, VERTICAL};
use super::neighbours::expected;
use crate::input::survey::{Quantity, Reading};
use crate::input::{ErrorKind, Plan};
use crate::study::Finding;
use crate::units::{A, B, SIDES};

/// A value that is far from what the others of its series say.
const UNFIT: &str = "a reading does not fit its neighbours";

/// Series that cannot both be right.
const CONTRADICTION: &str = "readings contradict each other";

/// Doubts about readings themselves, which are to be settled before anything is moved.
#[must_use]
pub fn about_readings(findings: &[Finding]) -> Vec<&Finding> {
    findings.iter().filter(|f| [UNFIT, CONTRADICTION].contains(&f.what.as_str())).collect()
}

/// Uncertainties from which a single reading is pointed out, and deviations of what its rail's pads err by.
const FAR: f64 = 5.0;
const BEYOND: f64 = 3.5;

/// How much farther than any other pad of its rail a wrong reading stands out.
const ALONE: f64 = 2.0;

/// Surprise from which a reading does not fit others of the same place.
const SURPRISE: f64 = 4.5;

/// Doubts about single readings, repeats, missing rails, and the roughness of the rails.
#[must_use]
pub fn doubts(plan: &Plan, corrected: &Corrected, measured: &Measured) -> Vec<Finding> {
    let mut list = Vec::new();
    for direction in 0..3 {
        for (reading, expected, off) in unfit(plan, measured, direction) {
            list.push(doubt(reading, expected, off, reading.uncertainty.unwrap_or(f64::NAN)));
        }
    }
    for quantity in [Quantity::Lateral, Quantity::Vertical, Quantity::CrossLevel, Quantity::Gauge, Quantity::Height] {
        for rail in [None, Some(0), Some(1)] {
            let series: Vec<&Reading> = corrected.readings.iter().filter(|r| r.quantity == quantity && r.rail == rail).collect();
            repeats(&series, &mut list);
        }
    }
    contradictions(measured, &mut list);
    rough(plan, measured, &mut list);
    missing(corrected, &mut list);
    list
}

/// How far a pad that stands out is from the line through sound neighbours.
fn off(plan: &Plan, measured: &Measured, direction: usize, (rail, pad): (usize, usize)) -> f64 {
    let values = &measured.profiles[direction].mean_profiles()[rail];
    let others: Vec<usize> = measured.settled[direction].iter().filter(|s| s.0 == rail).map(|s| s.1).collect();
    values[pad] - beside(values, &plan.frame.anchors_x_mm, pad, &others)
}

/// How far a pad stands out beyond both of its neighbours: what one wrong reading does, and a step between lengths of rail does not.
fn spike(values: &[f64], pad: usize) -> f64 {
    let to = |i: Option<usize>| i.and_then(|i| values.get(i)).map(|v| values[pad] - v);
    match (to(pad.checked_sub(1)), to(Some(pad + 1))) {
        (Some(l), Some(r)) if l * r > 0.0 => l.signum() * l.abs().min(r.abs()),
        (Some(only), None) | (None, Some(only)) => only,
        _ => 0.0,
    }
}

/// Readings that are likely wrong, with what the others say and by how much they are off it.
///
/// A pad that stands out where two readings say so is a property of the rail, and so is one that sank by no more than its zone:
/// pads do (a quarter for the noise). One reading that says anything else, and readings that miss others of the same place, are doubted.
fn unfit<'m>(plan: &Plan, measured: &'m Measured, direction: usize) -> Vec<(&'m Reading, f64, f64)> {
    let used = &measured.used[direction];
    let mut list: Vec<(&Reading, f64, f64)> = Vec::new();
    for place in &measured.settled[direction] {
        if let Some(r) = single(plan, measured, direction, *place) {
            let off = off(plan, measured, direction, *place) * if r.quantity.is_difference() && place.0 == A { -1.0 } else { 1.0 };
            list.push((r, r.value - off, off));
        }
    }
    if measured.apart[direction] == 1.0 {
        for (r, surprise) in used.iter().zip(&measured.profiles[direction].surprise) {
            if surprise.abs() > SURPRISE && !list.iter().any(|(named, _, _)| (named.x_mm - r.x_mm).abs() < 1e-6) {
                let series: Vec<&Reading> = used.iter().filter(|o| o.rail == r.rail && o.quantity == r.quantity).collect();
                let said = expected(&series, r.x_mm).unwrap_or(r.value - surprise * r.uncertainty.unwrap_or(f64::NAN));
                list.push((r, said, r.value - said));
            }
        }
    }
    list
}

/// The one reading that says that a pad stands out, where it is to be doubted.
fn single<'m>(plan: &Plan, measured: &'m Measured, direction: usize, (rail, pad): (usize, usize)) -> Option<&'m Reading> {
    let x = &plan.frame.anchors_x_mm;
    let nearest = |r: &Reading| (0..x.len()).min_by(|&a, &b| (x[a] - r.x_mm).abs().total_cmp(&(x[b] - r.x_mm).abs()));
    let here = || measured.used[direction].iter().filter(|r| nearest(r) == Some(pad));
    let own = |of: usize| here().filter(move |r| r.rail == Some(of) && !r.quantity.is_difference());
    // A difference says something of this rail only where the other one was read itself.
    let across = here().filter(|r| r.quantity.is_difference() && own(1 - rail).next().is_some());
    let mut of = own(rail).chain(across);
    let (Some(reading), None) = (of.next(), of.next()) else { return None };
    let zone = plan.errors.get(ErrorKind::StraightnessVertical(rail)).map_or(0.0, |s| s.upper);
    let values = &measured.profiles[direction].mean_profiles()[rail];
    let off = spike(values, pad);
    let next = (0..x.len()).filter(|i| *i != pad).map(|i| spike(values, i).abs()).fold(0.0, f64::max);
    // Both rails sunk alike at one pad, of which one is known by the other alone: that other reading is wrong, more likely.
    let alike = measured.settled[direction].contains(&(1 - rail, pad)) && (own(A).next().is_none() || own(B).next().is_none());
    let sank = direction == VERTICAL && off < 0.0 && -off <= 1.25 * zone && !alike;
    let least = (FAR * reading.uncertainty?).max(BEYOND * measured.pad_sizes[direction][rail]).max(ALONE * next);
    (!sank && off.abs() > least).then_some(reading)
}

fn doubt(r: &Reading, expected: f64, off: f64, spread: f64) -> Finding {
    let fits = |value: f64| (value - expected).abs() <= 3.0 * spread;
    let big = expected.abs() > 3.0 * spread;
    let likely = if big && fits(-r.value) {
        "the sign may be swapped"
    } else if fits(r.value / 10.0) && r.value.abs() > 5.0 * spread {
        "it may be ten times too large: a misplaced decimal mark"
    } else if big && fits(r.value * 10.0) {
        "it may be ten times too small: a misplaced decimal mark"
    } else if fits(r.value / 25.4) && r.value.abs() > 5.0 * spread {
        "it may be 25.4 times too large: inches for millimetres"
    } else if big && fits(r.value * 25.4) {
        "it may be 25.4 times too small: inches for millimetres"
    } else {
        "a pad may have settled, or the reading is wrong"
    };
    let (scale, unit) = unit(r.quantity);
    finding(
        UNFIT,
        format!("line {}, {} = {}, {}", r.place.line, r.place.column, r.place.written, place(r)),
        format!("{:+.3} {unit} from what they say, {:.0} times its uncertainty; {likely}", off / scale, off.abs() / spread),
        "It is used as it stands. Read that point again; correct the line or delete it.",
    )
}

fn repeats(series: &[&Reading], list: &mut Vec<Finding>) {
    let (mut sum, mut count, mut stated) = (0.0, 0_usize, 0.0);
    let mut done: Vec<f64> = Vec::new();
    for r in series {
        if done.iter().any(|x| (x - r.x_mm).abs() < 1e-6) {
            continue;
        }
        done.push(r.x_mm);
        let same: Vec<&&Reading> = series.iter().filter(|o| (o.x_mm - r.x_mm).abs() < 1e-6).collect();
        let mean = same.iter().map(|o| o.value).sum::<f64>() / same.len() as f64;
        sum += same.iter().map(|o| (o.value - mean).powi(2)).sum::<f64>();
        stated += same.iter().filter_map(|o| o.uncertainty).map(|u| u * u).sum::<f64>() * (same.len() - 1) as f64 / same.len() as f64;
        count += same.len() - 1;
    }
    if count < 2 || !(stated > 0.0) {
        return;
    }
    let ratio = (sum / stated).sqrt();
    // 2 is beyond chance (below 1 in 50) from two repeats on.
    if ratio > 2.0
        && let Some(r) = series.first()
    {
        let (scale, unit) = unit(r.quantity);
        list.push(finding(
            "repeated readings spread more than the instrument should",
            format!("{}{}", r.quantity.name(), r.rail.map_or_else(String::new, |i| format!(" of rail {}", SIDES[i].to_uppercase()))),
            format!("{:.3} {unit}, {ratio:.1} times the stated uncertainty, from {count} repeats", (sum / count as f64).sqrt() / scale),
            "State the larger figure, or find out what moves.",
        ));
    }
}

/// Named first among all doubts.
fn contradictions(measured: &Measured, list: &mut Vec<Finding>) {
    for (direction, own, between) in [(0, "lateral readings", "the gauge"), (1, "vertical readings", "the heights of B over A")] {
        let apart = measured.apart[direction];
        if apart > 1.0 {
            let doubt = finding(
                CONTRADICTION,
                format!("{own} and {between}"),
                format!("{apart:.0} times what their uncertainties allow"),
                "No rails can show both, so all of them count that much less. Check signs, and on which rail each was read; move no pad before.",
            );
            list.insert(0, doubt);
        }
    }
}

fn rough(plan: &Plan, measured: &Measured, list: &mut Vec<Finding>) {
    for (direction, name, scale, unit) in [(0, "lateral", 1.0, "mm"), (1, "vertical", 1.0, "mm"), (2, "cross-level", 1e-3, "mm/m")] {
        let tells = [A, B].map(|rail| measured.tells(direction, rail));
        if tells == [false; 2] && measured.used[direction].iter().any(|r| r.quantity.is_difference()) {
            list.push(finding(
                "which rail is out is not told",
                name,
                "gauge and height alone",
                "What they show is shared evenly between the rails. Read the master rail itself before touching a pad.",
            ));
        }
        let settled: Vec<(usize, usize)> = measured.settled[direction].iter().copied().filter(|(rail, _)| tells[*rail]).collect();
        let off = |place: &(usize, usize)| off(plan, measured, direction, *place);
        // Pads beside a deep one are freed with it; only those that are out themselves are worth reading again.
        let most = settled.iter().map(|s| off(s).abs()).fold(0.0, f64::max);
        for place in settled.iter().filter(|s| off(s).abs() > most / 4.0 && single(plan, measured, direction, **s).is_none()) {
            let (rail, pad) = *place;
            list.push(finding(
                "a pad stands out for itself",
                format!("{name}, rail {}, pad {} at {:.0} mm", SIDES[rail].to_uppercase(), pad + 1, plan.frame.anchors_x_mm[pad]),
                format!("{:+.3} {unit} from the line through sound neighbours", off(place) / scale),
                &format!("It has settled, if its reading is right: read pad {} again before shimming.", pad + 1),
            ));
        }
        let (factor, pad) = measured.roughness[direction];
        if factor == 1.0 && pad == 0.0 {
            continue;
        }
        let mut parts = Vec::new();
        if factor > 1.0 {
            parts.push(format!("waves {factor:.0} times as high as its tolerance"));
        }
        if pad > 0.0 {
            parts.push(format!("each pad out by {:.3} {unit} for itself", pad / scale));
        }
        list.push(finding(
            "the rails are rougher than the plan's straightness",
            format!("{name}, {} pads", plan.frame.anchors_x_mm.len()),
            parts.join(", "),
            "The profile follows the readings that much more closely; between them it is known that much less.",
        ));
    }
}

/// What the nearest pads on both sides that have not settled themselves say at a pad's place.
fn beside(values: &[f64], x: &[f64], pad: usize, settled: &[usize]) -> f64 {
    let sound = |i: &usize| !settled.contains(i);
    match ((0..pad).rev().find(sound), (pad + 1..values.len()).find(sound)) {
        (Some(a), Some(b)) => values[a] + (values[b] - values[a]) * (x[pad] - x[a]) / (x[b] - x[a]),
        (Some(i), None) | (None, Some(i)) => values[i],
        (None, None) => values[pad],
    }
}

fn missing(corrected: &Corrected, list: &mut Vec<Finding>) {
    for (rail, side) in SIDES.iter().enumerate() {
        let any = corrected.readings.iter().any(|r| r.rail.is_none_or(|of| of == rail));
        if !any {
            list.push(finding(
                "a rail was not read",
                format!("rail {}", side.to_uppercase()),
                "",
                "What depends on it is drawn from the plan's tolerances. Check the column that names the rail.",
            ));
        }
    }
}

fn unit(quantity: Quantity) -> (f64, &'static str) {
    if quantity == Quantity::CrossLevel { (1e-3, "mm/m") } else { (1.0, "mm") }
}

fn place(r: &Reading) -> String {
    let rail = r.rail.map_or_else(String::new, |i| format!("rail {}, ", SIDES[i].to_uppercase()));
    format!("{rail}station {:.0} mm", r.x_mm)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::survey::Place;

    fn reading(x_mm: f64, value: f64) -> Reading {
        let place = Place { line: 7, column: "z".into(), written: value.to_string() };
        Reading { place, quantity: Quantity::Vertical, rail: Some(A), x_mm, value, uncertainty: Some(0.01) }
    }

    fn found(of: fn(&[&Reading], &mut Vec<Finding>), readings: &[Reading]) -> Vec<Finding> {
        let mut list = Vec::new();
        of(&readings.iter().collect::<Vec<_>>(), &mut list);
        list
    }

    /// What neighbours say, read with each slip of the pen and two spreads of 0.01 beside it.
    #[test]
    fn check_slips_of_the_pen_are_told_from_settled_pads() {
        let words = |value: f64, expected: f64| doubt(&reading(0.0, value), expected, value - expected, 0.01).amount;
        for (value, expected, likely) in [
            (-1.02, 1.0, "the sign may be swapped"),
            (10.2, 1.0, "ten times too large"),
            (0.098, 1.0, "ten times too small"),
            (25.9, 1.0, "25.4 times too large"),
            (1.02 / 25.4, 1.0, "25.4 times too small"),
            (1.1, 1.0, "a pad may have settled"),
            // Around zero neither a sign nor a factor of what is expected can be told, only that a large value may be a small one.
            (-0.04, 0.02, "a pad may have settled"),
            (0.4, 0.02, "ten times too large"),
            (0.9, 0.02, "25.4 times too large"),
        ] {
            assert!(words(value, expected).contains(likely), "{value} for {expected}: {}", words(value, expected));
        }
        assert!(words(1.1, 1.0).starts_with("+0.100 mm from what they say, 10 times its uncertainty;"));
        let level = Reading { quantity: Quantity::CrossLevel, ..reading(1500.0, 0.8e-3) };
        let told = doubt(&level, 1e-3, -0.2e-3, 5e-6);
        assert!(told.amount.starts_with("-0.200 mm/m from what they say, 40 times its uncertainty;"), "{}", told.amount);
        assert_eq!(told.place, "line 7, z = 0.0008, rail A, station 1500 mm");
    }

    /// For repeats of the same standard uncertainty u, sum (value - mean)^2 over the number of repeats is an estimate of u^2.
    #[test]
    fn check_repeats_are_held_against_the_stated_uncertainty() {
        let pairs = |d: f64| [reading(0.0, 0.2), reading(0.0, 0.2 + d), reading(500.0, 0.1 + d), reading(500.0, 0.1)];
        // Differences of two readings: d / sqrt 2 is their spread, 0.0212 and 0.0198 against 0.01.
        let list = found(repeats, &pairs(0.03));
        assert_eq!(list.len(), 1);
        assert_eq!(list[0].amount, "0.021 mm, 2.1 times the stated uncertainty, from 2 repeats");
        assert_eq!(list[0].place, "vertical of rail A");
        assert!(found(repeats, &pairs(0.028)).is_empty());
        // Three at one station: (0.03^2 + 0 + 0.03^2) / 2 = 0.03^2.
        let three = [reading(0.0, -0.03), reading(0.0, 0.0), reading(0.0, 0.03), reading(500.0, 7.0)];
        assert_eq!(found(repeats, &three)[0].amount, "0.030 mm, 3.0 times the stated uncertainty, from 2 repeats");
        // One repeat is chance, however far; and without a stated uncertainty there is nothing to hold it against.
        assert!(found(repeats, &[reading(0.0, 0.0), reading(0.0, 0.5), reading(500.0, 0.1)]).is_empty());
        let silent = three.map(|r| Reading { uncertainty: None, ..r });
        assert!(found(repeats, &silent).is_empty());
        let gauge = silent.map(|r| Reading { quantity: Quantity::Gauge, rail: None, uncertainty: Some(0.01), ..r });
        assert_eq!(found(repeats, &gauge)[0].place, "gauge");
    }

    #[test]
    fn check_a_step_is_no_spike() {
        for (values, expected) in [([0.0, 1.0, 0.2], 0.8), ([0.0, 1.0, 1.0], 0.0), ([0.0, -1.0, -0.4], -0.6), ([0.0, 1.0, 2.0], 0.0)] {
            assert!((spike(&values, 1) - expected).abs() < 1e-12, "{values:?}");
        }
        assert_eq!([spike(&[3.0, 1.0], 0), spike(&[3.0, 1.0], 1)], [2.0, -2.0]);
    }

    #[test]
    fn check_a_pad_is_held_against_the_sound_ones_beside_it() {
        let (values, x) = ([0.0, 1.0, 9.0, 3.0, 5.0], [0.0, 100.0, 200.0, 400.0, 600.0]);
        for (settled, expected) in [
            (vec![2], 1.0 + 2.0 / 3.0),
            (vec![], 1.0 + 2.0 / 3.0),
            (vec![1, 2], 1.5),
            (vec![2, 3, 4], 1.0),
            (vec![0, 1, 2], 3.0),
            (vec![0, 1, 2, 3, 4], 9.0),
        ] {
            assert!((beside(&values, &x, 2, &settled) - expected).abs() < 1e-12, "{settled:?}");
        }
    }
}
