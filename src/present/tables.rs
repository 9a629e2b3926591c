//! Tables of a study for the terminal.

use std::fmt::Write as _;
use std::sync::atomic::{AtomicU16, Ordering};

use comfy_table::{CellAlignment, ContentArrangement, LineStyle, Table, TableStyle};

use super::numbers::{percent, plain, significant, years};
use crate::evaluate::Reading;
use crate::input::Plan;
use crate::input::plan::{Element, Measure, Requirement};
use crate::study::{ArrangementResult, ONE_IN, Status, StudyResult, TailQuantile, Verdict};

/// One row of the table: what, what it reads, how it is written, which measure of a requirement it is.
type Row = (&'static str, Reading, fn(f64) -> String, Option<Measure>);

const ROWS: [Row; 14] = [
    ("life, km", Reading::Life, |x| significant(x, 3), Some(Measure::Life)),
    (LIFE_BY_LOAD, Reading::LifeByLoad, |x| significant(x, 3), None),
    ("life loss", Reading::LifeLoss, percent_or_gain, Some(Measure::LifeLoss)),
    ("extra load, N", Reading::ExtraLoad, |x| significant(x, 3), None),
    ("largest block load, N", Reading::PeakLoad, |x| significant(x, 3), None),
    ("load over row unloading", Reading::RowUnloading, |x| significant(x, 2), Some(Measure::RowUnloading)),
    ("static safety", Reading::StaticSafety, |x| significant(x, 2), Some(Measure::StaticSafety)),
    ("most loaded ball, MPa", Reading::PeakPressure, |x| significant(x, 3), None),
    ("its static safety", Reading::ElementSafety, |x| significant(x, 2), None),
    ("float travel used", Reading::FloatTravel, percent, Some(Measure::FloatTravel)),
    ("slot used at tightening", Reading::SlotUsed, percent, None),
    ("tool point off by, mm", Reading::ToolDisplacement, |x| significant(x, 2), Some(Measure::ToolDisplacement)),
    ("tool yaw, mrad", Reading::ToolYaw, |x| significant(x, 2), Some(Measure::ToolYaw)),
    ("largest joint force, N", Reading::JointForce, |x| significant(x, 3), Some(Measure::JointForce)),
];

/// The other life model, shown at the contact level, where life is that of the rows.
const LIFE_BY_LOAD: &str = "life by summed loads, km";

fn percent_or_gain(x: f64) -> String {
    if x < -0.0005 { format!("gain {}", percent(-x)) } else { percent(x.max(0.0)) }
}

/// One table an arrangement: perfect, median, the bad 5 % and the requirement.
#[must_use]
pub fn study_tables(plan: &Plan, study: &StudyResult) -> String {
    let mut text = String::new();
    for a in &study.arrangements {
        let mark = if a.chosen { " (chosen: it sets the exit code)" } else { "" };
        let _ = writeln!(text, "Arrangement \"{}\"{mark}", a.name);
        let _ = writeln!(text, "{}", table(plan, a));
        let _ = writeln!(text, "\n{}\n", tail_table(a));
    }
    text
}

fn table(plan: &Plan, a: &ArrangementResult) -> Table {
    let mut table = plain_table(["", "perfect", "median", "95 in 100", "95 % confidence interval", "worst by search", "requirement"]);
    for (name, reading, write, measure) in ROWS {
        let shown = match measure {
            Some(Measure::FloatTravel) => a.has_floats,
            Some(Measure::RowUnloading) => a.verdicts.iter().any(|v| v.requirement.measure == Measure::RowUnloading),
            None if name.starts_with("slot") => a.tally.of(Reading::SlotUsed).high() > 0.0,
            _ => !reading.of(&a.perfect).is_nan(),
        };
        if !shown {
            continue;
        }
        let name = match plan.block.element {
            Element::Roller if name == "most loaded ball, MPa" => "most loaded roller, MPa",
            _ if name == "life, km" && a.perfect.rows.is_some() => "life of the rows, km",
            _ => name,
        };
        let (median, bad) = (a.tally.quantile(reading, 0.5), a.tally.at_bad_end(reading));
        let requirement = measure.and_then(|m| a.verdicts.iter().find(|v| v.requirement.measure == m));
        let cell = |x: Option<f64>| x.map_or_else(|| "-".into(), write);
        let range = bad.map_or_else(|| "-".into(), |q| format!("{} to {}", write(q.low), write(q.high)));
        let perfect = reading.of(&a.perfect);
        table.add_row([
            name.into(),
            write(perfect),
            cell(median.map(|q| q.value)),
            cell(bad.map(|q| q.value)),
            range,
            worst(a, name, write),
            requirement.map_or_else(String::new, required),
        ]);
        if measure == Some(Measure::Life)
            && let Some(km) = plan.km_per_year
        {
            let span = |x: Option<f64>| x.map_or_else(|| "-".into(), |x| years(x, km));
            table.add_row([
                "".into(),
                years(perfect, km),
                span(median.map(|q| q.value)),
                span(bad.map(|q| q.value)),
                String::new(),
                String::new(),
                String::new(),
            ]);
        }
    }
    let stiffness = |k: Option<f64>| k.map_or_else(|| "held by the floats alone".into(), |k| significant(k, 3));
    let (rest, sliding) = a.lateral_stiffness_n_per_um;
    let slides = if a.has_floats { format!("floats sliding: {}", stiffness(sliding)) } else { String::new() };
    table.add_row(["lateral stiffness at the tool, N/um".into(), stiffness(rest), String::new(), String::new(), slides, String::new()]);
    align_right(&mut table, 1..6);
    table
}

/// What one machine in 100 and one in 1,000 reaches or is beyond.
fn tail_table(a: &ArrangementResult) -> Table {
    let [first, second] = ONE_IN.map(|n| format!("one machine in {}", plain(f64::from(n))));
    let draws = a.tails.first().map_or(0, |tail| tail.quantiles[0].draws());
    let head = format!("tail quantiles of {} draws", plain(draws as f64));
    let mut table = plain_table([head.as_str(), &first, "95 % confidence interval", &second, "95 % confidence interval"]);
    for tail in &a.tails {
        let (name, _, write, _) = ROWS.into_iter().find(|row| row.1 == tail.reading).unwrap_or(ROWS[0]);
        let cells = tail.quantiles.iter().flat_map(|q| tail_cells(q, write));
        table.add_row(std::iter::once(name.to_string()).chain(cells));
    }
    align_right(&mut table, 1..5);
    table
}

/// A tail quantile and its interval, or why it is not given.
pub(super) fn tail_cells(found: &TailQuantile, write: fn(f64) -> String) -> [String; 2] {
    match found {
        TailQuantile::Counted { quantile: q, .. } => [write(q.value), format!("{} to {}", write(q.low), write(q.high))],
        TailQuantile::TooFewDraws { needed, .. } => ["cannot be given".into(), format!("needs {} draws", plain(*needed as f64))],
    }
}

/// The worst that was found inside the tolerances, for the rows that have a bracket of their own.
fn worst(a: &ArrangementResult, row: &str, write: fn(f64) -> String) -> String {
    let key = match row {
        "life, km" | "life of the rows, km" => "life_km",
        "largest block load, N" => "peak_load_n",
        "static safety" => "static_safety",
        "float travel used" => "float_travel_used",
        "tool point off by, mm" => "tool_displacement_mm",
        "tool yaw, mrad" => "tool_yaw_mrad",
        "largest joint force, N" => "joint_force_n",
        _ => return String::new(),
    };
    a.worst.get(key).map_or_else(String::new, |b| write(b.attained))
}

/// A table with a rule above, below and under its header.
pub(super) fn plain_table<const N: usize>(header: [&str; N]) -> Table {
    let rule = LineStyle::none().fill('─').junction('─');
    let mut table = Table::new();
    table.load_style(TableStyle::new().top_border(rule).header_separator(rule).bottom_border(rule));
    table.set_header(header);
    match WIDTH.load(Ordering::Relaxed) {
        0 => {}
        width => {
            table.set_content_arrangement(ContentArrangement::Dynamic).set_width(width);
        }
    }
    table
}

/// Characters in a line of the terminal that tables go to; 0 where they go to a file and may be as wide as they are.
static WIDTH: AtomicU16 = AtomicU16::new(0);

/// Narrowest table: below it columns would be broken in their middle.
const NARROWEST: u16 = 70;

/// Lets tables that are made from now on keep inside a terminal: longer cells go on in a further line.
pub fn keep_tables_inside(columns: u16) {
    WIDTH.store(columns.max(NARROWEST), Ordering::Relaxed);
}

/// Sets columns of numbers flush right.
pub(super) fn align_right(table: &mut Table, columns: std::ops::Range<usize>) {
    for column in columns {
        if let Some(c) = table.column_mut(column) {
            c.set_cell_alignment(CellAlignment::Right);
        }
    }
}

/// A requirement with its verdict in words.
fn required(v: &Verdict) -> String {
    format!("{}: {}", bound(v), status(v))
}

/// A requirement in words: bound, and the share that must meet it where that is not 95 in 100.
pub(super) fn bound(v: &Verdict) -> String {
    bound_of(&v.requirement)
}

/// The same of a requirement that was not held against draws.
pub(super) fn bound_of(r: &Requirement) -> String {
    let word = if r.measure.more_is_better() { "at least" } else { "at most" };
    let share = plain((1e8 * r.quantile).round() / 1e6);
    let of = if share == "95" { String::new() } else { format!(" for {share} in 100") };
    format!("{word} {}{of}", limit_of(r))
}

/// The limit as it is written in the table.
pub(super) fn limit(v: &Verdict) -> String {
    limit_of(&v.requirement)
}

fn limit_of(r: &Requirement) -> String {
    match r.measure {
        Measure::FloatTravel | Measure::LifeLoss => format!("{} %", plain((1e6 * r.limit).round() / 1e4)),
        _ => plain(r.limit),
    }
}

/// The verdict in words.
pub(super) fn status(v: &Verdict) -> String {
    match v.status {
        Status::Met => format!("MET by {}", percent(v.share)),
        Status::NotMet => format!("NOT MET, {} do", percent(v.share)),
        Status::Undecided => format!("UNDECIDED, {} to {} do", percent(v.share_low), percent(v.share_high)),
        Status::NotApplicable => "no floats".into(),
    }
}
