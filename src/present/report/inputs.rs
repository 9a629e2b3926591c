//! What a report rests on: title block, requirements, tolerances with their spread, classes of standards, and where every value
//! comes from.

use super::ReportInputs;
use super::values::{source, sources, tables};
use crate::input::callouts::{Allowed, Callouts};
use crate::input::classes::{ClassValue, Form, resolve};
use crate::input::sources::Spread;
use crate::input::{ErrorKind, FIELDS, Input, Plan, Provenance, Source, TitleBlock};
use crate::present::limits_rows::{short, spec, tolerance, unit_name};
use crate::present::numbers::{percent, plain};
use crate::present::page::{Cell, Mark, Section, Table};
use crate::present::summary::words;
use crate::present::tables::bound_of;
use crate::study::review::Assignment;

/// What stands where a field is to be filled in by hand.
const BLANK: &str = "not stated: ______________";

/// The head of a report: the plan's title block, and the drawing's beside it in a review.
pub(super) fn title_block(plan: &Plan, drawing: Option<&TitleBlock>) -> Section {
    let cell = |block: &TitleBlock, key: &str| Cell::text(block.get(key).unwrap_or(BLANK));
    let header = if drawing.is_some() { vec!["", "drawing under review", "plan"] } else { vec!["", "plan"] };
    let mut table = Table::new("Title block", header);
    for (key, name) in FIELDS {
        table = table.row(std::iter::once(Cell::text(name)).chain(drawing.map(|d| cell(d, key))).chain([cell(&plan.title_block, key)]));
    }
    Section::new("Drawing and machine").table(table)
}

/// What a verdict is about, in a sentence; marked where nothing ties it to one drawing.
pub(super) fn subject(block: &TitleBlock, of: &str) -> (Mark, String) {
    let needed = ["drawing", "revision"];
    let missing: Vec<&str> = block.fields().filter(|(k, _, v)| needed.contains(k) && v.is_none()).map(|(_, name, _)| name).collect();
    let known: Vec<String> = block.fields().filter_map(|(_, name, v)| v.map(|v| format!("{name} {v}"))).collect();
    if missing.is_empty() {
        return (Mark::Good, format!("This verdict is about the drawing of {of}: {}.", known.join(", ")));
    }
    let known = if known.is_empty() { String::new() } else { format!(" (stated: {})", known.join(", ")) };
    let text = format!(
        "The title block of {of} states no {}{known}: until that is filled in, this verdict belongs to no drawing.",
        missing.join(" and no ")
    );
    (Mark::Open, text)
}

/// How many values rest on nothing yet, in a sentence.
pub(super) fn grounds(plan: &Plan) -> (Mark, String) {
    let (assumed, silent) = (plan.assumed_values(), plan.values_from(Provenance::NotStated));
    let all = plan.inputs.iter().filter(|i| !matches!(i.provenance, Provenance::Choice | Provenance::Default)).count();
    let mark = if assumed + silent == 0 { Mark::Good } else { Mark::Open };
    (mark, format!("Of the plan's {all} values {assumed} are assumed and {silent} have no stated source; the rest is listed under Inputs."))
}

/// Every input of a study; `counted` are the errors with their limits as this report counts them.
pub(super) fn inputs(inputs: &ReportInputs<'_>, counted: &[Source], callouts: Option<(&Callouts, &Assignment)>) -> Section {
    let plan = inputs.plan;
    let mut section = Section::new("Inputs").text(
        "Every value that the numbers of this report were computed from, and what the plan says it rests on. Values in bold are assumed; in brackets the program's usual values, where the plan is silent.",
    );
    if !plan.assumed.is_empty() {
        section = section.text(format!("Assumed in the plan, not measured and from no data sheet: {}.", plan.assumed.join("; ")));
    }
    section = section.table(kinds(plan)).table(requirements(plan)).table(tolerances(plan, counted, callouts.is_some()));
    let classes = classes(plan, callouts);
    if !classes.is_empty() {
        section = section.table(class_table(&classes));
    }
    tables(plan, section)
}

/// Number of values of each provenance.
fn kinds(plan: &Plan) -> Table {
    let others = [
        ("not stated", Provenance::NotStated),
        ("left to the program's usual value", Provenance::Default),
        ("settings and names", Provenance::Choice),
    ];
    let mut table = Table::new("What the values rest on", ["source", "values"]);
    for (word, provenance) in Provenance::WORDS.into_iter().chain(others) {
        table = table.row([Cell::text(word), Cell::number(plain(plan.values_from(provenance) as f64))]);
    }
    table
}

fn requirements(plan: &Plan) -> Table {
    let header = ["requirement", "limit", "share of installations that must meet it", "confidence of showing it", "source"];
    let mut table = Table::new("Requirements", header);
    for r in &plan.requirements {
        let own: Vec<&Input> = plan.inputs.iter().filter(|i| i.table == format!("requirement.{}", r.measure.key())).collect();
        let source = if own.is_empty() { "not in the plan: common practice, no source".into() } else { sources(&own) };
        let limit = bound_of(r).split(" for ").next().unwrap_or_default().to_string();
        table = table.row([
            Cell::text(words(r.measure)),
            Cell::text(limit),
            Cell::number(percent(r.quantile)),
            Cell::number(percent(r.confidence)),
            Cell::text(source),
        ]);
    }
    table
}

/// How an error spreads between its limits, in words.
fn spread(s: &Source) -> String {
    if s.in_service {
        return "both limits, each for half of the distance".into();
    }
    let kind = match s.spread {
        Spread::Normal { capability } => {
            let cut = if s.inspected { "" } else { ", limits passed now and then" };
            format!("normal, capability {}{cut}", short(capability))
        }
        Spread::Uniform => "uniform".into(),
        Spread::Triangular => "triangular".into(),
    };
    if s.inspected { format!("{kind}, each inspected") } else { kind }
}

/// Every error with its limits and its spread. In a review the limits are the drawing's, and the mapping names their callouts.
fn tolerances(plan: &Plan, counted: &[Source], review: bool) -> Table {
    let mut header = vec!["error", "limits", "spread between them"];
    if !review {
        header.push("source");
    }
    let caption = if review { "Tolerances as drawn (the mapping names their callouts)" } else { "Tolerances" };
    let mut table = Table::new(caption, header);
    for s in counted {
        let spec = spec(s.kind);
        let own: Vec<&Input> = plan.inputs.iter().filter(|i| i.table == format!("errors.{}", spec.key)).collect();
        let assumed = !review && own.iter().any(|i| i.provenance == Provenance::Assumed);
        let limits = Cell::text(format!("{} {}", tolerance(s), unit_name(s.kind)));
        let limits = if assumed { limits.strong() } else { limits };
        let cells = [Cell::text(spec.label), limits, Cell::text(spread(s))];
        let from = (!review).then(|| Cell::text(own.first().map_or_else(|| "not stated".into(), |_| source_of(&own))));
        table = table.row(cells.into_iter().chain(from));
    }
    table
}

fn source_of(own: &[&Input]) -> String {
    let list = sources(own);
    if list.is_empty() { own.first().map_or_else(String::new, |i| source(i)) } else { list }
}

/// Every class of a standard in use, made a number for each of its errors.
fn classes(plan: &Plan, callouts: Option<(&Callouts, &Assignment)>) -> Vec<(ErrorKind, ClassValue)> {
    let planned = plan.errors.classes.iter().map(|c| (c.kind, c.value.clone()));
    let Some((callouts, assignment)) = callouts else { return planned.collect() };
    let drawn = assignment.sources.iter().filter_map(|a| {
        let Allowed::Class(word) = &callouts.list[a.callout()?].allowed else { return None };
        resolve(word, spec(a.kind), &plan.frame).ok().map(|value| (a.kind, value))
    });
    drawn.collect()
}

fn class_table(list: &[(ErrorKind, ClassValue)]) -> Table {
    let header = ["class", "error", "value", "entered with", "edition", "values of its table"];
    let mut table = Table::new("Classes of standards", header);
    for (kind, v) in list {
        let value = match v.form {
            Form::PlusMinus => format!("±{} mm", short(v.tolerance_mm)),
            Form::Zone => format!("{} mm zone", short(v.tolerance_mm)),
        };
        table = table.row([
            Cell::text(format!("{}: {}", v.class, v.quantity)),
            Cell::text(spec(*kind).label),
            Cell::text(value),
            Cell::text(format!("{} mm", plain(v.nominal_mm))),
            Cell::text(v.edition),
            Cell::text(v.sure.words()),
        ]);
    }
    table
}
