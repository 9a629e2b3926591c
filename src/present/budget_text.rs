//! The cheapest tolerances for the terminal: every arrangement in one table, hours and money beside each other.

use std::fmt::Write as _;

use super::class_text::short;
use super::numbers::{percent, plain, significant};
use super::summary::largest_drag_n;
use super::tables::{align_right, plain_table};
use crate::input::Plan;
use crate::input::plan::Measure;
use crate::study::{ArrangementBudget, BudgetResult, CostedError, NoBudget, Set};

/// Table, totals, what floats save and cost, and how it was found.
#[must_use]
pub fn budget_text(plan: &Plan, result: &BudgetResult) -> String {
    let mut text = format!("{}\n\n", table(plan, result));
    for a in &result.arrangements {
        let _ = writeln!(text, "{}", about(plan, a));
    }
    text += &savings(plan, result);
    text += &kept(plan, result);
    if !plan.requirements.iter().any(|r| r.measure == Measure::ToolDisplacement) {
        text += "No requirement limits the tool point, so tolerances that only move the work are opened as far as may be: add\n\
                 [requirement] tool_displacement_mm where the work needs it.\n";
    }
    let _ = writeln!(
        text,
        "Each set holds as a whole: on {} fresh installations (seed {}) every requirement is shown to be met. Between the bounds it is\n\
         the cheapest that the search found, not one proved to be so; < and > mark the tightest and the loosest that may be asked for.\n\
         Tolerances are rounded down to two digits; choose the round value below for a drawing and run railtrue study with it.\n\
         The hours are yours: what is wrong in them is wrong here. They count keeping the tolerances, not buying or fitting joints.",
        plain(result.verified_by as f64),
        result.seed.wrapping_add(1)
    );
    text
}

fn tolerance(e: &CostedError, t: f64) -> String {
    if e.zone { format!("{} {} zone", short(t), e.unit) } else { format!("±{} {}", short(t), e.unit) }
}

fn hours(h: f64) -> String {
    format!("{h:.1}")
}

fn money(plan: &Plan, h: f64) -> String {
    plan.budget
        .money_per_hour
        .map_or_else(String::new, |per| format!("{} {}", significant(h * per, 3), plan.budget.currency).trim_end().into())
}

fn table(plan: &Plan, result: &BudgetResult) -> String {
    let mut header: Vec<String> = vec!["error".into(), "planned".into(), "hours".into()];
    for a in &result.arrangements {
        header.extend([format!("{}{}", a.name, if a.chosen { " (chosen)" } else { "" }), "hours".into()]);
    }
    let columns = header.len();
    let mut table = plain_table([""; 0]);
    table.set_header(header);
    for (i, e) in result.errors.iter().enumerate() {
        let mut row = vec![e.label.to_string(), tolerance(e, e.planned), hours(e.planned_hours)];
        for a in &result.arrangements {
            row.extend(match &a.set {
                Ok(set) => {
                    let mark = match (set.at_bound[i], set.tolerances[i] < e.planned) {
                        (false, _) => "",
                        (true, true) => "< ",
                        (true, false) => "> ",
                    };
                    [format!("{mark}{}", tolerance(e, set.tolerances[i])), hours(set.hours[i])]
                }
                Err(_) => ["none".into(), String::new()],
            });
        }
        table.add_row(row);
    }
    let total = |set: &Result<Set, NoBudget>| set.as_ref().ok().map(|s| s.hours.iter().sum::<f64>());
    let planned: f64 = result.errors.iter().map(|e| e.planned_hours).sum();
    let mut sums = vec!["together".to_string(), String::new(), hours(planned)];
    let mut monies = vec!["in money".to_string(), String::new(), money(plan, planned)];
    for a in &result.arrangements {
        let h = total(&a.set);
        sums.extend([String::new(), h.map_or_else(String::new, hours)]);
        monies.extend([String::new(), h.map_or_else(String::new, |h| money(plan, h))]);
    }
    table.add_row(sums);
    if plan.budget.money_per_hour.is_some() {
        table.add_row(monies);
    }
    align_right(&mut table, 1..columns);
    table.to_string()
}

/// What there is to say about one arrangement.
fn about(plan: &Plan, a: &ArrangementBudget) -> String {
    let planned = if a.planned_meets {
        "the planned tolerances meet the requirements"
    } else {
        "the planned tolerances do NOT meet the requirements"
    };
    match &a.set {
        Ok(set) => {
            let own: f64 = set.hours.iter().sum();
            let alike = set
                .scaled_hours
                .map_or_else(String::new, |h| format!("; all planned tolerances scaled alike would take {} hours", hours(h)));
            let floats = if a.has_floats {
                format!(
                    "; travel used {} at 95 in 100, drag up to {} N",
                    percent(set.float_travel_used),
                    plain(largest_drag_n(plan, &a.name))
                )
            } else {
                String::new()
            };
            format!(
                "{} joints: {planned}; this set does with {} hours{alike}. Life {} km at 95 in 100, tool point off {} mm{floats}.",
                a.name,
                hours(own),
                significant(set.life_km, 3),
                significant(set.tool_displacement_mm, 2)
            )
        }
        Err(none) if none.without_errors => format!(
            "{} joints: NO SET. Without any error the machine already fails {} in service: temperatures, loads or the requirement, no tolerance.",
            a.name, none.requirement
        ),
        Err(none) => format!(
            "{} joints: NO SET was found. With every costed tolerance at its tightest, {} comes to {} at its quantile: tighten what has no cost, or allow tighter.",
            a.name,
            none.requirement,
            significant(none.at_tightest, 3)
        ),
    }
}

/// What floating arrangements save against those without floats.
fn savings(plan: &Plan, result: &BudgetResult) -> String {
    let total = |a: &ArrangementBudget| a.set.as_ref().ok().map(|s| s.hours.iter().sum::<f64>());
    let mut text = String::new();
    for floating in result.arrangements.iter().filter(|a| a.has_floats) {
        for rigid in result.arrangements.iter().filter(|a| !a.has_floats) {
            let line = match (total(floating), total(rigid)) {
                (Some(f), Some(r)) => {
                    let money = match plan.budget.money_per_hour {
                        Some(_) => format!(" ({})", money(plan, (r - f).abs())),
                        None => String::new(),
                    };
                    let word = if r >= f { "saves" } else { "costs" };
                    format!("{} against {} joints {word} {} hours{money} a machine.", floating.name, rigid.name, hours((r - f).abs()))
                }
                (Some(_), None) => {
                    format!("{} against {} joints: there is nothing to compare, {} has no set.", floating.name, rigid.name, rigid.name)
                }
                _ => continue,
            };
            let _ = writeln!(text, "{line}");
        }
    }
    text
}

/// Errors without a cost.
fn kept(plan: &Plan, result: &BudgetResult) -> String {
    let costed = |key: &str| result.errors.iter().any(|e| e.key == key);
    let keys = plan.errors.sources.iter().filter_map(|s| crate::input::ErrorKind::ALL.iter().find(|e| e.kind == s.kind));
    let kept: Vec<&str> = keys.map(|e| e.key).filter(|k| !costed(k)).collect();
    if kept.is_empty() {
        return String::new();
    }
    let lines: Vec<String> = kept.chunks(6).map(|c| c.join(", ")).collect();
    format!("Without a cost, kept as planned: {}.\n", lines.join(",\n  "))
}
