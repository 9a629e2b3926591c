//! A review of callouts in words: tables, mapping, what to tighten and what to relax.

use std::fmt::Write as _;

use super::limits_rows::{short, spec, tolerance, unit_name};
use super::numbers::{percent, significant};
use super::review_findings::{amount, refusal, review_findings, written};
use super::review_verdict::{grounds, headline, item};
use super::summary::words;
use super::tables::{align_right, bound, plain_table, status};
use crate::input::callouts::{Allowed, Callout, Callouts, Made, Per};
use crate::input::plan::Measure;
use crate::input::{Plan, Source};
use crate::study::review::{Adjustment, ArrangementReview, Assigned, Assignment, CalloutReview, Control, Judgement, Review, factor};
use crate::study::{Reach, Status, StudyResult, farthest_scale, unit};

/// A callout on one arrangement, as text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct CalloutRow {
    pub(super) item: String,
    pub(super) controls: String,
    pub(super) allows: String,
    pub(super) needs: String,
    pub(super) stopped_by: String,
    pub(super) headroom: String,
    pub(super) life: String,
    pub(super) load: String,
    pub(super) verdict: String,
}

/// Rows of one arrangement in the order of the callouts.
pub(super) fn rows(plan: &Plan, callouts: &Callouts, a: &ArrangementReview) -> Vec<CalloutRow> {
    let one = |c: &CalloutReview| {
        let callout = &callouts.list[c.callout];
        let none = c.headroom.is_none();
        let stop = c.headroom.and_then(|h| h.stopped_by).and_then(|i| plan.requirements.get(i));
        CalloutRow {
            item: callout.item.clone(),
            controls: callout.controls.clone(),
            allows: allows(callout),
            needs: needs(c),
            stopped_by: stop.map_or_else(|| "-".into(), |r| words(r.measure).into()),
            headroom: c.headroom.map_or_else(|| "-".into(), |h| shown(h.sure)),
            life: if none { "-".into() } else { percent(c.shares[0]) },
            load: if none { "-".into() } else { percent(c.shares[1]) },
            verdict: judgement(callout, c.judgement).into(),
        }
    };
    a.callouts.iter().map(one).collect()
}

/// What a callout allows, with what its other cells say; an empty cell says nothing.
fn allows(c: &Callout) -> String {
    let per = match c.per {
        None => String::new(),
        Some(Per::Each) => "each".into(),
        Some(Per::Combined) => "CZ".into(),
        Some(Per::One) => "one face".into(),
        Some(Per::All) => "all".into(),
        Some(Per::Count(n)) => format!("{n} x"),
    };
    let datum = if c.datum.is_empty() { String::new() } else { format!("to {}", c.datum) };
    let made = match c.made {
        None => "",
        Some(Made::Welded) => "welded",
        Some(Made::Machined) => "machined",
        Some(Made::Set) => "set",
    };
    let after = if c.shimmed_after { "shimmed after" } else { "" };
    let written = if matches!(c.allowed, Allowed::In(_)) { "the plan's, by ".to_string() + &c.written } else { c.written.clone() };
    let parts = [written, per, datum, made.into(), after.into()];
    parts.into_iter().filter(|p| !p.is_empty()).collect::<Vec<_>>().join(", ")
}

/// A sure headroom as text, cut to two digits.
fn shown(sure: Reach) -> String {
    match sure {
        Reach::Never => "none".into(),
        Reach::Always => "no limit".into(),
        Reach::Scale(s) => {
            let step = 10.0_f64.powf(s.log10().floor() - 1.0);
            format!("{} x", significant((s / step * (1.0 + 1e-9)).floor() * step, 2))
        }
    }
}

/// Each different one of some limits once.
fn listed(sources: &[Source]) -> String {
    let mut list: Vec<String> = sources.iter().map(|s| format!("{} {}", tolerance(s), unit_name(s.kind))).collect();
    list.dedup();
    list.join("; ")
}

/// What the machine needs of a callout.
fn needs(c: &CalloutReview) -> String {
    if !c.needs.is_empty() {
        return listed(&c.needs);
    }
    match (c.judgement, c.headroom.map(|h| h.sure)) {
        (Judgement::NothingDepends, _) => {
            let size = |s: &Source| s.upper.max(-s.lower) / unit(s.kind);
            let largest = c.sources.iter().max_by(|a, b| size(a).total_cmp(&size(b)));
            largest.map_or_else(String::new, |s| format!("no limit up to {} {}", short(size(s) * farthest_scale(s)), unit_name(s.kind)))
        }
        (_, None) => "-".into(),
        (_, Some(Reach::Never)) => "the rest fails by itself".into(),
        _ => "no value is shown to hold".into(),
    }
}

fn judgement(callout: &Callout, j: Judgement) -> &'static str {
    match j {
        Judgement::TooLoose if callout.shimmed_after => "too loose until it is set",
        Judgement::TooLoose => "too loose",
        Judgement::NotDecided => "not decided by these draws",
        Judgement::Right => "right",
        Judgement::TighterThanItPays => "tighter than it pays",
        Judgement::RoomNotJudged => "room, not judged yet",
        Judgement::NothingDepends => "no requirement of this plan depends on it",
        Judgement::NotToBlame => "not to blame: the rest fails",
        Judgement::OthersFirst => "tighten the other first",
        Judgement::NoToleranceHelps => "no tolerance helps",
        Judgement::Elsewhere => "controlled elsewhere",
        Judgement::Nothing if matches!(callout.allowed, Allowed::Temperature(_)) => "for the sizes",
        Judgement::Nothing if callout.is_general => "for what has no callout; controls nothing counted",
        Judgement::Nothing => "controls nothing counted",
    }
}

/// Each error, its limits as drawn, where they come from, and its limits after adjustment.
pub(super) fn mapping(callouts: &Callouts, assignment: &Assignment) -> Vec<[String; 4]> {
    let one = |((assigned, drawn), adjusted): ((&Assigned, &Source), &Source)| {
        let from = match assigned.control {
            Control::Nothing => "NOT CONTROLLED by this drawing; as planned".into(),
            Control::Elsewhere(row) => format!("by {}; as planned", callouts.list[row].written),
            Control::Callout(row) => {
                let own = if callouts.list[row].overridden { ", by the file's own mapping" } else { "" };
                format!("{}{own}", item(callouts, row))
            }
        };
        let limits = |s: &Source| written((s.lower, s.upper), s.kind);
        [spec(drawn.kind).label.to_string(), limits(drawn), from, after(callouts, assigned, &limits(adjusted))]
    };
    assignment.sources.iter().zip(&assignment.drawn).zip(&assignment.adjusted).map(one).collect()
}

/// What is left of an error after adjustment, how it is set and who measures it.
fn after(callouts: &Callouts, assigned: &Assigned, left: &str) -> String {
    match assigned.adjustment {
        None => "the same".into(),
        Some(Adjustment::Refused(why)) => format!("the same: {}", refusal(why).0),
        Some(Adjustment::Set { needed, reach, step, measured_by }) => {
            let by = measured_by.map_or("nobody is named", |row| callouts.list[row].measured_by.as_str());
            let kind = assigned.kind;
            format!(
                "{left}; up to {} to move, {} allowed, steps of {}; measured by: {by}",
                amount(needed, kind),
                amount(reach, kind),
                amount(step, kind)
            )
        }
    }
}

/// What would make it pass, and what may be relaxed.
pub(super) fn advice(callouts: &Callouts, a: &ArrangementReview) -> Vec<String> {
    let name = |i: usize| format!("item {} ({})", callouts.list[i].item, callouts.list[i].controls);
    let mut lines = Vec::new();
    match a.tighten {
        Some(i) => {
            let needs = listed(&a.callouts[i].needs);
            lines.push(format!("{} joints: tighten {} to {needs}, and all requirements hold with the rest as drawn.", a.name, name(i)));
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
    if let Some((list, limits)) = &a.relax {
        let one = |i: &usize| {
            let of: Vec<Source> = limits.iter().filter(|l| a.callouts[*i].sources.iter().any(|s| s.kind == l.kind)).copied().collect();
            format!("{} to {}", name(*i), listed(&of))
        };
        let names: Vec<String> = list.iter().map(one).collect();
        lines.push(format!("{} joints: relax {}, both at once, and the requirements still hold.", a.name, names.join(" and ")));
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
pub fn review_text(plan: &Plan, callouts: &Callouts, review: &Review) -> String {
    let mut text = String::from("VERDICT\n");
    for (i, a) in review.arrangements.iter().enumerate() {
        let _ = writeln!(text, "{}", headline(a));
        for ground in grounds(callouts, review, i) {
            let _ = writeln!(text, "    {ground}");
        }
    }
    for line in review.arrangements.iter().flat_map(|a| advice(callouts, a)) {
        let _ = writeln!(text, "{line}");
    }
    for a in &review.arrangements {
        let chosen = if a.chosen { " (chosen)" } else { "" };
        let mut table = plain_table(HEADER);
        for r in rows(plan, callouts, a) {
            table.add_row([r.item, r.controls, r.allows, r.needs, r.headroom, r.stopped_by, r.life, r.load, r.verdict]);
        }
        align_right(&mut table, 4..5);
        align_right(&mut table, 6..8);
        let _ = writeln!(text, "\nCALLOUTS with {} joints{chosen}\n{table}", a.name);
    }
    let _ = writeln!(text, "{HEADROOM}");
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
    let findings = review_findings(callouts, &review.assignment);
    if !findings.is_empty() {
        text += "\nFINDINGS\n";
        for f in findings {
            let _ = writeln!(text, "- {}", f.sentence());
        }
    }
    text
}

/// Headings of the table of callouts.
pub(super) const HEADER: [&str; 9] =
    ["item", "controls", "allows", "machine needs", "headroom", "stopped by", "of life loss", "of peak load", "verdict"];

/// What the columns mean.
pub(super) const HEADROOM: &str = "Machine needs: limits up to which all requirements are shown to be met, the rest as drawn, rounded to the tight side. Headroom: the factor \
     on what is drawn that is sure to hold. Stopped by: the requirement that breaks first beyond it. Single ones do not hold together.";
