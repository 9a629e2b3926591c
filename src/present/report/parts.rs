//! Sections that every report has.

use super::ReportInputs;
use crate::evaluate::Reading;
use crate::input::Plan;
use crate::input::plan::Level;
use crate::present::numbers::{percent, plain, significant};
use crate::present::page::{Cell, Figure, Page, Section, Table};
use crate::present::summary::{CAUTIONS, words};
use crate::present::tables::{bound, status, tail_cells};
use crate::study::{ArrangementResult, Finding, ONE_IN, StudyResult, Verdict};

/// What the model leaves out, and which way that errs.
const OUTSIDE: [&str; 8] = [
    "Rails that bend between pads under load: loads come out too high near pads, too low between.",
    "Truck plates and block bodies that flex: loads come out too high.",
    "Blocks that soften beyond row unloading, where they are springs: loads too high, life too short.",
    "Drag along a path and stick-slip: either way; full drag in both directions brackets it.",
    "Bolt slip and settling of shims in the first months: loads come out too high at first.",
    "Dynamics and modes of the frame: loads come out too low near a natural frequency.",
    "Wear, lubrication, edge stress, dirt: life comes out too long.",
    "Human and guarding questions, lifting, and the release of the machine: not looked at.",
];

/// A requirement and what the draws say, in words.
pub(super) fn requirement(v: &Verdict) -> String {
    format!("{} {}: {}", words(v.requirement.measure), bound(v), status(v))
}

/// The machine, and where its data come from.
pub(super) fn machine(inputs: &ReportInputs<'_>) -> Section {
    let plan = inputs.plan;
    let per_truck = plan.trucks.each_ref().map(|t| t.blocks.len());
    let level = if plan.block.level == Level::Contact { "rows of rolling elements" } else { "springs" };
    let facts = vec![
        ("span", format!("{} mm", plain(plan.frame.span_mm))),
        ("pads", format!("{} a rail, {} mm from first to last", plan.frame.anchors_x_mm.len(), plain(plan.frame.length_mm()))),
        (
            "blocks",
            format!(
                "{} on truck A, {} on truck B, as {level}; C {} N, C0 {} N",
                per_truck[0],
                per_truck[1],
                plain(plan.block.c_n),
                plain(plan.block.c0_n)
            ),
        ),
        ("bridge, slide", format!("{} kg, {} kg", plain(plan.bridge.mass_kg), plain(plan.slide_kg))),
        (
            "load cases",
            plan.duty.iter().map(|d| format!("{} ({} of the distance)", d.name, percent(d.share))).collect::<Vec<_>>().join("; "),
        ),
        ("sizes hold at", format!("{} °C", plain(plan.reference_c))),
        ("plan", format!("{}, SHA-256 {}", inputs.origin.plan_file, inputs.origin.plan_sha256)),
    ];
    let section = Section::new("Machine and data").facts(facts);
    section.text("Every value and its source are listed under Inputs.")
}

/// Name of a measure, what it reads, how it is written.
type Compared = (&'static str, Reading, fn(f64) -> String);

const COMPARED: [Compared; 6] = [
    ("life, km", Reading::Life, |x| significant(x, 3)),
    ("largest block load, N", Reading::PeakLoad, |x| significant(x, 3)),
    ("extra load, N", Reading::ExtraLoad, |x| significant(x, 3)),
    ("static safety", Reading::StaticSafety, |x| significant(x, 2)),
    ("float travel used", Reading::FloatTravel, percent),
    ("tool point off by, mm", Reading::ToolDisplacement, |x| significant(x, 2)),
];

/// Arrangements beside each other: perfect, the bad 5 %, and each requirement.
pub(super) fn compared(plan: &Plan, study: &StudyResult, heading: &str) -> Section {
    let head = |a: &ArrangementResult| format!("{} joints{}", a.name, if a.chosen { ", chosen" } else { "" });
    let header: Vec<String> = std::iter::once(String::from("quantity")).chain(study.arrangements.iter().map(head)).collect();
    let mut table = Table::new("Perfect installation, then what 95 in 100 installations reach or stay below", header.clone());
    for (name, reading, write) in COMPARED {
        let cell = |a: &ArrangementResult| {
            Cell::number(match name.starts_with("float") && !a.has_floats {
                true => "no floats".into(),
                false => format!("{}, then {}", write(reading.of(&a.perfect)), write(a.tally.bad_end(reading))),
            })
        };
        table = table.row(std::iter::once(Cell::text(name)).chain(study.arrangements.iter().map(cell)));
    }
    let mut yields = Table::new("Share of installations that meet each requirement", header);
    for (i, r) in plan.requirements.iter().enumerate() {
        let first = study.arrangements.first().map_or_else(String::new, |a| bound(&a.verdicts[i]));
        let cells = study.arrangements.iter().map(|a| Cell::text(status(&a.verdicts[i])));
        yields = yields.row(std::iter::once(Cell::text(format!("{} {first}", words(r.measure)))).chain(cells));
    }
    Section::new(heading).table(table).table(yields).table(tails(study))
}

/// What one machine in 100 and one in 1,000 reaches or is beyond.
fn tails(study: &StudyResult) -> Table {
    let header = ["quantity", "joints", "one machine in", "is at or beyond", "95 % confidence interval", "counted in draws"];
    let mut table = Table::new("Tail quantiles: order statistics of plain draws, whatever the distribution", header);
    for (a, tail) in study.arrangements.iter().flat_map(|a| a.tails.iter().map(move |tail| (a, tail))) {
        let Some((name, _, write)) = COMPARED.into_iter().find(|c| c.1 == tail.reading) else { continue };
        for (one_in, quantile) in ONE_IN.iter().zip(&tail.quantiles) {
            let [value, interval] = tail_cells(quantile, write);
            table = table.row([
                Cell::text(name),
                Cell::text(&a.name),
                Cell::number(plain(f64::from(*one_in))),
                Cell::number(value),
                Cell::number(interval),
                Cell::number(plain(quantile.draws() as f64)),
            ]);
        }
    }
    table
}

/// The worst that the tolerances allow.
pub(super) fn worst(study: &StudyResult) -> Section {
    let mut section = Section::new("Worst case").text(
        "Attained: an installation inside the tolerances that was found and can be replayed. Bound: what no installation inside the tolerances can pass.",
    );
    for a in &study.arrangements {
        let mut table = Table::new(format!("{} joints", a.name), ["quantity", "perfect", "attained", "bound"]);
        for b in &a.worst.brackets {
            let name = if b.unit.is_empty() {
                b.key.replace('_', " ")
            } else {
                format!(
                    "{}, {}",
                    b.key
                        .trim_end_matches("_km")
                        .trim_end_matches("_n")
                        .trim_end_matches("_mm")
                        .trim_end_matches("_mrad")
                        .replace('_', " "),
                    b.unit
                )
            };
            let number = |x: f64| Cell::number(significant(x, 3));
            table = table.row([Cell::text(name), number(b.perfect), number(b.attained), b.bound.map_or(Cell::text("none"), number)]);
        }
        section = section.table(table);
        if let Some(why) = &a.worst.no_bound {
            section = section.text(format!("{} joints have no bound: {why}", a.name));
        }
    }
    section
}

/// The figures that were drawn, each with words for who cannot see it.
pub(super) fn figures(inputs: &ReportInputs<'_>, study: &StudyResult) -> Section {
    let mut section = Section::new("Drawn installations").text(format!(
        "{} installations were drawn inside the tolerances, the same ones for every arrangement.",
        plain(study.draws as f64)
    ));
    for (name, svg) in inputs.figures {
        let (title, what) = match *name {
            "life-and-extra-load" => (
                "Life and extra load of the drawn installations",
                sentence(study, "life 5 in 100 stay below", Reading::Life, |x| format!("{} km", significant(x, 3))),
            ),
            "load-along-stroke" => (
                "Largest block load along the stroke",
                sentence(study, "largest load 5 in 100 pass", Reading::PeakLoad, |x| format!("{} N", significant(x, 3))),
            ),
            "float-travel" => (
                "Share of the floats' travel that is used",
                sentence(study, "share of the travel 5 in 100 pass", Reading::FloatTravel, percent),
            ),
            "least-life-rails" => (
                "Rails of the least life found inside the tolerances",
                "Both rails from above, from the side and in cross-level, drawn out of scale.".into(),
            ),
            _ => ("Figure", String::new()),
        };
        section = section.figure(Figure::new(svg.clone(), title, what.clone()).caption(format!("{title}. {what}")));
    }
    section
}

fn sentence(study: &StudyResult, what: &str, reading: Reading, write: fn(f64) -> String) -> String {
    let one = |a: &ArrangementResult| format!("{} joints {}", a.name, write(a.tally.bad_end(reading)));
    let list: Vec<String> = study.arrangements.iter().map(one).collect();
    format!("{}: {}.", capital(what), list.join(", "))
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// Each source of error alone at its limits.
pub(super) fn alone(study: &StudyResult) -> Section {
    let mut section = Section::new("What each error costs by itself").text(
        "Each stands alone at its limit, all else perfect. These rank the errors; they do not hold together and are not for a drawing.",
    );
    for a in &study.arrangements {
        let mut table = Table::new(format!("{} joints, the six costliest", a.name), ["error", "at", "life left, km", "extra load, N"]);
        for s in a.alone.iter().take(6) {
            let at = s.limit.map_or_else(|| "as in service".into(), |l| format!("{} {}", significant(l, 2), s.unit));
            table = table.row([
                Cell::text(s.source.clone()),
                Cell::text(at),
                Cell::number(significant(s.life_km, 3)),
                Cell::number(significant(s.extra_load_n, 3)),
            ]);
        }
        section = section.table(table);
    }
    section
}

/// Findings, each once.
pub(super) fn findings(list: &[&Finding]) -> Section {
    let mut lines: Vec<String> = Vec::new();
    for f in list {
        let line = capital(&f.sentence());
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    let section = Section::new("Findings");
    if lines.is_empty() { section.text("None.") } else { section.list(lines) }
}

/// What closes a report: outside the model, cautions, how to reproduce, revisions, signatures.
pub(super) fn ending(page: Page, inputs: &ReportInputs<'_>, seed: u64, draws: u64) -> Page {
    let mut facts = vec![
        ("command".to_string(), inputs.command.to_string()),
        ("program".into(), format!("railtrue {}", inputs.origin.version)),
        ("seed, draws".into(), format!("{seed}, {draws}")),
        ("plan".into(), format!("{}, SHA-256 {}", inputs.origin.plan_file, inputs.origin.plan_sha256)),
    ];
    if let Some((file, hash)) = inputs.callouts {
        facts.push(("callouts".into(), format!("{file}, SHA-256 {hash}")));
    }
    let data = if inputs.callouts.is_some() { "review.json" } else { "study.json" };
    facts.push(("data".into(), format!("{data}, SHA-256 {}; it holds the plan's text and the figures' hashes", inputs.data_sha256)));
    let blank = || [Cell::text("—"), Cell::text(""), Cell::text(""), Cell::text("")];
    let revisions = Table::new("Revisions of this report", ["revision", "date", "what changed", "by"])
        .row([Cell::text("first"), Cell::text(""), Cell::text("first issue"), Cell::text("")])
        .row(blank())
        .row(blank());
    page.section(
        Section::new("Assumptions, and what is outside the model")
            .text("Errors are independent of each other and spread as the plan says; bodies are rigid but for the springs of blocks, supports, joints, bridge and drives.")
            .list(OUTSIDE),
    )
    .section(Section::new("Cautions").caution(CAUTIONS.replace('\n', " ")))
    .section(Section::new("How to reproduce").facts(facts).text("railtrue recheck with the folder of this report computes it again from its data and holds page, data, table and figures against each other; with the plan and the table it tells what has changed in them."))
    .section(Section::new("Revisions and signatures").table(revisions).signatures(["Made by", "Reviewed by", "Released by"]))
}
