//! Values that look wrong: far from what their neighbours say, with a swapped sign, a factor 10 or 25.4. They are pointed
//! out, and stay in the evaluation until a person has decided.

use super::corrected::Corrected;
use super::finding;
use super::measured::Measured;
use crate::input::Plan;
use crate::input::survey::{Quantity, Reading};
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

/// Spreads from which a value is pointed out.
const FAR: f64 = 3.0;

/// Doubts about single readings, repeats, missing rails, and the roughness of the rails.
#[must_use]
pub fn doubts(plan: &Plan, corrected: &Corrected, measured: &Measured) -> Vec<Finding> {
    let mut list = Vec::new();
    for quantity in [Quantity::Lateral, Quantity::Vertical, Quantity::CrossLevel, Quantity::Gauge, Quantity::Height] {
        for rail in [None, Some(0), Some(1)] {
            let series: Vec<&Reading> = corrected.readings.iter().filter(|r| r.quantity == quantity && r.rail == rail).collect();
            neighbours(&series, &mut list);
            repeats(&series, &mut list);
        }
    }
    contradictions(measured, &mut list);
    rough(plan, measured, &mut list);
    missing(corrected, &mut list);
    list
}

/// What a series says at a reading's place without it: the line through its four nearest other stations.
fn expected(series: &[&Reading], i: usize) -> Option<f64> {
    let x = series[i].x_mm;
    let mut others: Vec<&&Reading> = series.iter().filter(|r| (r.x_mm - x).abs() > 1e-6).collect();
    others.sort_by(|a, b| (a.x_mm - x).abs().total_cmp(&(b.x_mm - x).abs()).then(a.x_mm.total_cmp(&b.x_mm)));
    let near = &others[..others.len().min(4)];
    if near.len() < 3 {
        return None;
    }
    // Median of the values that pairs of neighbours point to: one wrong neighbour does not move it.
    let mut pointed = Vec::new();
    for (k, a) in near.iter().enumerate() {
        for b in &near[k + 1..] {
            if (a.x_mm - b.x_mm).abs() > 1e-6 {
                pointed.push(a.value + (b.value - a.value) * (x - a.x_mm) / (b.x_mm - a.x_mm));
            }
        }
    }
    median(pointed)
}

/// What each reading of a series is off from what the others say.
pub(super) fn misfits(series: &[&Reading]) -> Vec<Option<f64>> {
    (0..series.len()).map(|i| expected(series, i).map(|e| series[i].value - e)).collect()
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    (n > 0).then(|| if n % 2 == 1 { values[n / 2] } else { f64::midpoint(values[n / 2 - 1], values[n / 2]) })
}

fn neighbours(series: &[&Reading], list: &mut Vec<Finding>) {
    if series.len() < 5 {
        return;
    }
    let misfits = misfits(series);
    // Spread of the misfits from their median size (1.4826 for a normal spread), never below what the instrument has.
    let own = median(series.iter().filter_map(|r| r.uncertainty).collect()).unwrap_or(0.0);
    let spread = (1.4826 * median(misfits.iter().flatten().map(|m| m.abs()).collect()).unwrap_or(0.0)).max(1.5 * own);
    let mut far: Vec<(f64, usize)> =
        misfits.iter().enumerate().filter_map(|(i, m)| m.filter(|m| m.abs() > FAR * spread).map(|m| (m.abs(), i))).collect();
    // The worst first; a neighbour of one that has been named is suspect only because of it.
    far.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut named: Vec<usize> = Vec::new();
    for (misfit, i) in far {
        let Some(expected) = without(series, i, &named) else { continue };
        let off = series[i].value - expected;
        if off.abs() <= FAR * spread || named.len() >= 5 {
            continue;
        }
        let _ = misfit;
        named.push(i);
        list.push(doubt(series[i], expected, off, spread));
    }
}

/// What the series says at a place without the reading there and without those already named.
fn without(series: &[&Reading], i: usize, named: &[usize]) -> Option<f64> {
    let kept: Vec<&Reading> = (0..series.len()).filter(|k| *k == i || !named.contains(k)).map(|k| series[k]).collect();
    let at = kept.iter().position(|r| std::ptr::eq(*r, series[i]))?;
    expected(&kept, at)
}

fn doubt(r: &Reading, expected: f64, off: f64, spread: f64) -> Finding {
    let fits = |value: f64| (value - expected).abs() <= FAR * spread;
    let big = expected.abs() > FAR * spread;
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
        format!("{:+.3} {unit} from what they say, {:.0} times their spread; {likely}", off / scale, off.abs() / spread),
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
        let off = |&(rail, pad): &(usize, usize)| {
            let values = &measured.profiles[direction].mean_profiles()[rail];
            let others: Vec<usize> = settled.iter().filter(|s| s.0 == rail).map(|s| s.1).collect();
            values[pad] - beside(values, &plan.frame.anchors_x_mm, pad, &others)
        };
        // Pads beside a deep one are freed with it; only those that are out themselves are worth reading again.
        let most = settled.iter().map(|s| off(s).abs()).fold(0.0, f64::max);
        for place in settled.iter().filter(|s| off(s).abs() > most / 4.0) {
            let (rail, pad) = *place;
            list.push(finding(
                "a pad stands out for itself",
                format!("{name}, rail {}, pad {} at {:.0} mm", SIDES[rail].to_uppercase(), pad + 1, plan.frame.anchors_x_mm[pad]),
                format!("{:+.3} {unit} from the line through sound neighbours", off(place) / scale),
                "It has settled, or its reading is wrong: read it again before shimming.",
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

    /// Readings every 500 mm.
    fn along(values: &[f64]) -> Vec<Reading> {
        values.iter().enumerate().map(|(i, v)| reading(500.0 * i as f64, *v)).collect()
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
        assert!(words(1.1, 1.0).starts_with("+0.100 mm from what they say, 10 times their spread;"));
        let level = Reading { quantity: Quantity::CrossLevel, ..reading(1500.0, 0.8e-3) };
        let told = doubt(&level, 1e-3, -0.2e-3, 5e-6);
        assert!(told.amount.starts_with("-0.200 mm/m from what they say, 40 times their spread;"), "{}", told.amount);
        assert_eq!(told.place, "line 7, z = 0.0008, rail A, station 1500 mm");
    }

    #[test]
    fn check_five_readings_are_enough_to_show_the_one_that_is_out() {
        // A rail that rises by 0.1 a pad; the last reading stands 1.0 over it. With it the others miss what they say of each other
        // by 1/6, 0, 0 and 1/4, so that the spread is 1.4826 / 6.
        let list = found(neighbours, &along(&[0.0, 0.1, 0.2, 0.3, 1.4]));
        assert_eq!(list.len(), 1);
        assert!(list[0].place.contains("station 2000 mm"), "{}", list[0].place);
        assert!(list[0].amount.starts_with("+1.000 mm from what they say, 4 times"), "{}", list[0].amount);
    }

    #[test]
    fn check_neighbours_of_a_wrong_reading_are_not_named_and_at_most_five_are() {
        let with = |wrong: &[usize]| along(&(0..42).map(|i| if wrong.contains(&i) { 1.0 } else { 0.0 }).collect::<Vec<_>>());
        assert_eq!(found(neighbours, &with(&[17])).len(), 1);
        assert_eq!(found(neighbours, &with(&[3, 17, 31])).len(), 3);
        assert_eq!(found(neighbours, &with(&[3, 10, 17, 24, 31, 38])).len(), 5);
        assert!(found(neighbours, &with(&[])).is_empty());
    }

    #[test]
    fn check_what_is_expected_comes_from_other_stations() {
        let of = |readings: &[Reading], i: usize| expected(&readings.iter().collect::<Vec<_>>(), i);
        // The same station read again says nothing of its neighbours, and two others are too few.
        let twice = [reading(0.0, 0.5), reading(0.0, 0.7), reading(500.0, 0.2), reading(1000.0, 0.3)];
        assert_eq!(of(&twice, 0), None);
        let more: Vec<Reading> = twice.into_iter().chain([reading(1500.0, 0.4)]).collect();
        assert!(of(&more, 0).is_some_and(|e| (e - 0.1).abs() < 1e-12));
        // The four nearest count: what lies farther may do what it likes.
        let bent = along(&[9.0, 0.1, 0.2, 0.9, 0.4, 0.5, -9.0]);
        assert!(of(&bent, 3).is_some_and(|e| (e - 0.3).abs() < 1e-12));
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
