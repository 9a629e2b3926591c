//! An empty survey sheet: a CSV whose head says what to do, in which order, with which instrument.

use std::fmt::Write as _;

use super::numbers::{plain, significant};
use crate::input::Plan;
use crate::input::survey::{HEAD_KEYS, Quantity};
use crate::survey::planned::{Instrument, Need};
use crate::units::MRAD;

/// The sheet. Filled in, it is read by `railtrue survey`.
#[must_use]
pub fn sheet(plan: &Plan, plan_file: &str, needs: &[Need], instruments: &[Instrument]) -> String {
    let mut text = String::new();
    let mut say = |line: &str| {
        let _ = writeln!(text, "{}", one_cell(&format!("# {line}")));
    };
    say(&format!("SURVEY SHEET - {}", plan.title));
    say(&format!("Fill it in with a spreadsheet or an editor and run: railtrue survey {plan_file} THIS-FILE.csv"));
    say("");
    say("BEFORE YOU BEGIN");
    super::CAUTIONS.lines().for_each(&mut say);
    say("");
    say("HOW SIGNS ARE COUNTED");
    say("x runs along the rails from pad 1, y from rail A across to rail B, z up.");
    say("lateral      how far the rail lies from its nominal line, + towards +y (from A to B), both rails from one line");
    say("vertical     how far it lies above its nominal height, + up, both rails from one height");
    say("cross_level  slope of the rail's seat across, + where its side towards +y is higher; mm per m");
    say("gauge        distance between the two rails, as it is (about the span, not a deviation)");
    say("height       rail B over rail A, + where B is higher");
    say("Leave a cell empty where nothing was read. A point read twice stands in two lines. Tracker points go into columns");
    say(
        "rail,pad,x,y,z instead, in the tracker's own axes. Gauge and height belong to the station: write them in the line of either rail.",
    );
    say("");
    say("IN WHICH ORDER");
    orders(plan).iter().for_each(|l| say(l));
    say("");
    say("WHICH INSTRUMENT - largest standard uncertainty (k = 1) of one reading, if every pad is read once");
    for need in needs {
        instrument_lines(need, instruments).iter().for_each(|l| say(l));
    }
    say(&temperature(plan, needs));
    say("");
    say("WITH WHAT AND IN WHICH STATE - one line each; delete those that do not apply");
    for key in HEAD_KEYS.iter().filter(|k| k.name != "column") {
        // The columns below have the plan's signs.
        let filled = if key.name == "signs" { " plan" } else { "" };
        let _ = writeln!(text, "# {} ={filled}", key.name);
        let words = if key.words.is_empty() { String::new() } else { format!(" [{}]", key.words.join(" | ")) };
        let _ = writeln!(text, "{}", one_cell(&format!("#       {}{words}", key.meaning)));
    }
    text.push_str("rail,pad,station_mm,lateral_mm,vertical_mm,cross_level_mm_per_m,gauge_mm,height_mm\n");
    let pads = plan.frame.anchors_x_mm.len();
    let up = (1..=pads).map(|n| ("A", n));
    for (rail, n) in up.chain((1..=pads).rev().map(|n| ("B", n))) {
        let _ = writeln!(text, "{rail},{n},{},,,,,", plan.frame.anchors_x_mm[n - 1]);
    }
    text
}

/// A line of the head as one cell, so that no part of it is taken for a formula by a spreadsheet.
fn one_cell(line: &str) -> String {
    let line: String = line.trim_end().chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    if line.contains([',', ';', '"']) { format!("\"{}\"", line.replace('"', "\"\"")) } else { line }
}

fn orders(plan: &Plan) -> Vec<String> {
    let master = plan.site.correction.master.map_or("rail A", |r| ["rail A", "rail B"][r]);
    vec![
        "1. Write down the temperatures of frame and tape, and where the bridge stands.".into(),
        format!("2. The master rail first ({master}): lateral, vertical, cross-level at every pad, from pad 1 to the last."),
        "3. The other rail back from the last pad to pad 1; at each pad gauge and height against the master rail.".into(),
        "4. Turn the level end for end at every reading and write down the mean: that takes its zero out.".into(),
        "5. Read the first pads once more at the end: a drift of the instrument shows there.".into(),
        "6. After shimming and tightening to torque check the torque once more, then survey again with a new sheet.".into(),
    ]
}

fn unit(quantity: Quantity) -> (f64, &'static str) {
    if quantity == Quantity::CrossLevel { (MRAD, "mm/m") } else { (1.0, "mm") }
}

fn instrument_lines(need: &Need, instruments: &[Instrument]) -> Vec<String> {
    let (scale, unit) = unit(need.quantity);
    let tightest = need.limits.iter().min_by(|a, b| a.1.total_cmp(&b.1)).map_or("", |(label, _)| label);
    let mut lines = vec![format!(
        "{} readings: {} {unit} can just decide (by {tightest}), {} {unit} leaves room",
        need.quantity.name(),
        significant(need.most() / scale, 2),
        significant(need.advised() / scale, 2)
    )];
    for i in instruments.iter().filter(|i| i.reads.contains(&need.quantity)) {
        let can = need.limits.iter().filter(|(_, u)| i.uncertainty <= *u).count();
        let word = match (i.uncertainty <= need.advised(), can) {
            (true, _) => "good".to_string(),
            (_, n) if n == need.limits.len() => "just enough: a value near a limit stays undecided".into(),
            (_, 0) => "CANNOT decide any of it".into(),
            _ => {
                let left: Vec<&str> = need.limits.iter().filter(|(_, u)| i.uncertainty > *u).map(|(l, _)| *l).collect();
                format!("CANNOT decide {}", left.join("; "))
            }
        };
        lines.push(format!("    {} (about {} {unit}): {word}", i.name, significant(i.uncertainty / scale, 2)));
    }
    lines
}

/// How well the frame's temperature must be known for the span.
fn temperature(plan: &Plan, needs: &[Need]) -> String {
    let grows = plan.frame.expansion_per_k * plan.frame.span_mm;
    let half = plan.errors.get(crate::input::ErrorKind::Span).map_or(0.0, |s| s.half_width());
    let kelvin = if needs.is_empty() || half == 0.0 { "-".into() } else { significant(half / (4.0 * crate::survey::GUARD * grows), 2) };
    format!(
        "The frame's temperature: {} mm of span for each kelvin of the frame; read it to {kelvin} K (k = 1) or better, sizes hold at {} degC",
        significant(grows, 2),
        plain(plan.reference_c)
    )
}
