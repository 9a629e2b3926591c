//! A review of callouts in words: tables, mapping, what to tighten and what to relax.

use std::fmt::Write as _;

use super::limits_rows::{spec, tolerance, unit_name};
use super::numbers::{percent, plain, significant};
use super::summary::words;
use super::tables::{align_right, bound, plain_table, status};
use crate::input::Source;
use crate::input::callouts::{Callouts, Made};
use crate::input::plan::Measure;
use crate::study::review::{ArrangementReview, Assignment, CalloutReview, Judgement, Review, factor, met, to_draw};
use crate::study::{Reach, Status, StudyResult};

/// A callout on one arrangement, as text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct CalloutRow {
    pub(super) item: String,
    pub(super) controls: String,
    pub(super) allows: String,
    pub(super) needs: String,
    pub(super) headroom: String,
    pub(super) life: String,
    pub(super) load: String,
    pub(super) verdict: String,
}

/// Rows of one arrangement in the order of the callouts.
pub(super) fn rows(callouts: &Callouts, a: &ArrangementReview) -> Vec<CalloutRow> {
    let one = |c: &CalloutReview| {
        let callout = &callouts.list[c.callout];
        let adjusted = if callout.shimmed_after { ", shimmed after" } else { "" };
        let made = match callout.made {
            Made::Welded => "welded",
            Made::Machined => "machined",
            Made::Set => "set",
        };
        let none = c.headroom.is_none();
        CalloutRow {
            item: callout.item.clone(),
            controls: callout.controls.clone(),
            allows: format!("{}, {} ({made}{adjusted})", callout.written, callout.per),
            needs: c.headroom.map_or_else(|| "-".into(), |h| needs(c, h.reach)),
            headroom: c.headroom.map_or_else(|| "-".into(), |h| shown(h.reach)),
            life: if none { "-".into() } else { percent(c.shares[0]) },
            load: if none { "-".into() } else { percent(c.shares[1]) },
            verdict: judgement(c.judgement).into(),
        }
    };
    a.callouts.iter().map(one).collect()
}

/// A headroom as text.
fn shown(reach: Reach) -> String {
    match reach {
        Reach::Never => "none".into(),
        Reach::Always => "no limit".into(),
        Reach::Scale(s) => format!("{} x", significant(s, 2)),
    }
}

/// The limits of a callout's errors at its headroom, each different one once.
fn needs(c: &CalloutReview, reach: Reach) -> String {
    let Reach::Scale(scale) = reach else {
        return if reach == Reach::Never { "the rest fails by itself".into() } else { "nothing: no limit was found".into() };
    };
    let one = |s: &Source| {
        let scaled = Source { lower: scale * s.lower, upper: scale * s.upper, ..*s };
        format!("{} {}", tolerance(&scaled), unit_name(s.kind))
    };
    let mut list: Vec<String> = c.sources.iter().map(one).collect();
    list.dedup();
    list.join("; ")
}

fn judgement(j: Judgement) -> &'static str {
    match j {
        Judgement::TooLoose => "too loose",
        Judgement::Right => "right",
        Judgement::TighterThanItPays => "tighter than it pays",
        Judgement::OthersFirst => "tighten the other first",
        Judgement::NoToleranceHelps => "no tolerance helps",
        Judgement::Nothing => "controls nothing counted",
    }
}

/// Each error, its limits as drawn, where they come from, and its limits after adjustment.
pub(super) fn mapping(callouts: &Callouts, assignment: &Assignment) -> Vec<[String; 4]> {
    let one = |((assigned, drawn), adjusted): ((&crate::study::review::Assigned, &Source), &Source)| {
        let from = assigned.callout.map_or_else(
            || "the plan (no callout)".into(),
            |i| {
                let c = &callouts.list[i];
                let own = if c.overridden { ", by the file's own mapping" } else { "" };
                format!("item {}, {}{own}", c.item, c.controls)
            },
        );
        let unit = unit_name(drawn.kind);
        let after = if assigned.shimmed_after { format!("{} {unit}", tolerance(adjusted)) } else { "the same".into() };
        [spec(drawn.kind).label.to_string(), format!("{} {unit}", tolerance(drawn)), from, after]
    };
    assignment.sources.iter().zip(&assignment.drawn).zip(&assignment.adjusted).map(one).collect()
}

/// What would make it pass, and what may be relaxed.
pub(super) fn advice(callouts: &Callouts, a: &ArrangementReview) -> Vec<String> {
    let item = |i: usize| format!("item {} ({})", callouts.list[i].item, callouts.list[i].controls);
    let draw = |i: usize, scale: f64| {
        let sources = &a.callouts[i].sources;
        let mut list: Vec<String> = sources
            .iter()
            .map(|s| {
                let sign = if s.lower == -s.upper { "±" } else { "up to " };
                format!("{sign}{} {}", plain(to_draw(s, scale)), unit_name(s.kind))
            })
            .collect();
        list.dedup();
        list.join("; ")
    };
    let mut lines = Vec::new();
    match a.tighten {
        Some((i, s)) => {
            lines.push(format!(
                "{} joints: tighten {} to {} of what is drawn, {}, and all requirements hold with the rest as drawn.",
                a.name,
                item(i),
                percent(s),
                draw(i, s)
            ));
        }
        None if a.passes => {}
        None if a.all.reach == Reach::Never => {
            lines.push(format!("{} joints: no tolerances help, the requirements fail with every error at zero.", a.name));
        }
        None if factor(a.all.reach) < 1.0 => {
            lines.push(format!(
                "{} joints: no single callout makes it pass; everything at {} of what is drawn does.",
                a.name,
                percent(factor(a.all.sure))
            ));
        }
        None => {}
    }
    if let Some((list, scale)) = &a.relax {
        let names: Vec<String> = list.iter().map(|i| item(*i)).collect();
        let by =
            if scale.is_finite() { format!("to {} times what is drawn", significant(*scale, 2)) } else { "as far as was looked at".into() };
        lines.push(format!("{} joints: relax {} {by}, both at once, and the requirements still hold.", a.name, names.join(" and ")));
    }
    lines
}

/// Yields and values of one state.
fn whole(study: &StudyResult) -> String {
    let mut table = plain_table(["requirement", "arrangement", "at the quantile", "worst attained", "worst bound", "yield"]);
    for a in &study.arrangements {
        for v in a.verdicts.iter().filter(|v| v.status != Status::NotApplicable) {
            let worst = a.worst.get(v.requirement.measure.key());
            let written = |x: f64| match v.requirement.measure {
                Measure::FloatTravel | Measure::LifeLoss => percent(x),
                _ => significant(x, 3),
            };
            let number = |x: Option<f64>| x.map_or_else(|| "-".into(), written);
            table.add_row([
                format!("{} {}", words(v.requirement.measure), bound(v)),
                a.name.clone(),
                number(v.at_quantile.map(|q| q.value)),
                number(worst.map(|b| b.attained)),
                number(worst.and_then(|b| b.bound)),
                status(v),
            ]);
        }
    }
    align_right(&mut table, 2..5);
    table.to_string()
}

/// The whole review as text.
#[must_use]
pub fn review_text(callouts: &Callouts, review: &Review) -> String {
    let mut text = String::from("VERDICT\n");
    for (when, study) in [("as drawn", &review.drawn), ("after installation adjustment", &review.adjusted)] {
        for (i, a) in study.arrangements.iter().enumerate() {
            let chosen = if a.chosen { " (chosen)" } else { "" };
            let word = if met(study, i) { "all requirements met" } else { "NOT all requirements are shown to be met" };
            let _ = writeln!(text, "{when}, {} joints{chosen}: {word}", a.name);
        }
    }
    for line in review.arrangements.iter().flat_map(|a| advice(callouts, a)) {
        let _ = writeln!(text, "{line}");
    }
    for a in &review.arrangements {
        let chosen = if a.chosen { " (chosen)" } else { "" };
        let mut table = plain_table(["item", "controls", "allows", "machine needs", "headroom", "of life loss", "of peak load", "verdict"]);
        for r in rows(callouts, a) {
            table.add_row([r.item, r.controls, r.allows, r.needs, r.headroom, r.life, r.load, r.verdict]);
        }
        align_right(&mut table, 4..7);
        let _ = writeln!(text, "\nCALLOUTS with {} joints{chosen}\n{table}", a.name);
    }
    let _ = writeln!(
        text,
        "Headroom: factor on what is drawn up to which the requirements hold, the rest as drawn; single headrooms do not hold together."
    );
    let mut table = plain_table(["error", "as drawn", "from", "after adjustment"]);
    for row in mapping(callouts, &review.assignment) {
        table.add_row(row);
    }
    let _ = writeln!(text, "\nMAPPING\n{table}\nTo change it, write keys of the plan's errors into the column feeds of a callout.");
    let _ = writeln!(
        text,
        "\nTHE WHOLE, as drawn\n{}\n\nTHE WHOLE, after installation adjustment\n{}",
        whole(&review.drawn),
        whole(&review.adjusted)
    );
    if !review.assignment.findings.is_empty() {
        text += "\nFINDINGS\n";
        for f in &review.assignment.findings {
            let _ = writeln!(text, "- {}: {}, {}. {}", f.what, f.place, f.amount, f.advice);
        }
    }
    text
}
