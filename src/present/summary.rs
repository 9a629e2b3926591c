//! The verdict of a study in sentences that a lead can forward, the findings, and the cautions.

use std::fmt::Write as _;

use super::numbers::{percent, plain, significant, years};
use super::tables::{bound, limit, status};
use crate::evaluate::Reading;
use crate::input::Plan;
use crate::input::plan::{Law, Measure};
use crate::study::{Alone, ArrangementResult, Finding, Status, StudyResult, Verdict};

/// The cautions that every report carries.
pub const CAUTIONS: &str = "\
The numbers are estimates for planning and checking. Bearing and joint data come from their makers and go before
anything here; safety factors, lifting, guarding and the release of a machine follow local codes and the judgement of a
licensed or otherwise responsible engineer. Before measuring or shimming: isolate and lock out the drives, secure the
bridge and anything that can drop (a vertical axis without its brake), keep hands out from under a raised rail.";

/// Verdict (at most 12 lines for two arrangements), then findings.
#[must_use]
pub fn study_summary(plan: &Plan, study: &StudyResult, next: &str) -> String {
    let mut lines = vec![("VERDICT".into(), plan.title.clone())];
    let perfect = study.arrangements.iter().map(|a| format!("{} {}", a.name, life(plan, a.perfect.life_km)));
    lines.push(("Perfect rails".into(), perfect.collect::<Vec<_>>().join(", ")));
    for a in &study.arrangements {
        lines.push((format!("{} joints", a.name), reached(plan, a)));
        lines.extend(others(a).map(|line| (String::new(), line)));
    }
    for a in study.arrangements.iter().filter(|a| a.has_floats) {
        lines.push(("Price of floats".into(), price(plan, study, a)));
    }
    lines.push(("To forward".into(), forward(study)));
    for (i, line) in change(study).into_iter().enumerate() {
        lines.push((if i == 0 { "Change first".into() } else { String::new() }, line));
    }
    lines.push(("Run next".into(), next.into()));
    let width = lines.iter().map(|(head, _)| head.chars().count()).max().unwrap_or(0) + 2;
    let mut text = String::new();
    for (head, line) in lines {
        let _ = writeln!(text, "{head:width$}{line}");
    }
    text + &findings(study)
}

fn life(plan: &Plan, km: f64) -> String {
    let in_years = plan.km_per_year.map_or_else(String::new, |per_year| format!(" ({})", years(km, per_year)));
    format!("{} km{in_years}", significant(km, 3))
}

fn verdict(a: &ArrangementResult, measure: Measure) -> Option<&Verdict> {
    a.verdicts.iter().find(|v| v.requirement.measure == measure)
}

fn reached(plan: &Plan, a: &ArrangementResult) -> String {
    let Some(v) = verdict(a, Measure::Life) else { return String::new() };
    let chosen = if a.chosen { " (chosen)" } else { "" };
    let at = v.at_quantile.map_or(f64::NAN, |q| q.value);
    let share = plain((1e8 * v.requirement.quantile).round() / 1e6);
    format!("{share} in 100 reach {}; required {} km: {}{chosen}", life(plan, at), limit(v), status(v))
}

/// The other requirements, in one line, where there is something to say.
fn others(a: &ArrangementResult) -> Option<String> {
    let rest = a.verdicts.iter().filter(|v| v.requirement.measure != Measure::Life && v.status != Status::NotApplicable);
    let one = |v: &Verdict| match v.status {
        Status::Met => format!("{} met", words(v.requirement.measure)),
        _ => format!("{} {}: {}", words(v.requirement.measure), bound(v), status(v)),
    };
    let parts: Vec<String> = rest.map(one).collect();
    (!parts.is_empty()).then(|| parts.join("; "))
}

/// A measure in words, with its unit.
pub(super) fn words(measure: Measure) -> &'static str {
    match measure {
        Measure::Life => "life in km",
        Measure::StaticSafety => "static safety",
        Measure::FloatTravel => "float travel used",
        Measure::LifeLoss => "life loss",
        Measure::RowUnloading => "load over row unloading",
        Measure::ToolDisplacement => "tool point in mm",
        Measure::ToolYaw => "tool yaw in mrad",
        Measure::JointForce => "joint force in N",
    }
}

/// What an arrangement's floats cost: travel, drag, tool point, stiffness.
/// Largest drag of a float along x, y or z in an arrangement.
pub(super) fn largest_drag_n(plan: &Plan, arrangement: &str) -> f64 {
    let joints = plan.arrangements.iter().filter(|x| x.name == arrangement).flat_map(|x| x.ends.iter().flatten());
    let drags: Vec<f64> = joints
        .flat_map(|j| &j.components[..3])
        .filter_map(|c| match c.law {
            Law::Float { drag, .. } => Some(drag),
            _ => None,
        })
        .collect();
    drags.iter().copied().fold(0.0, f64::max)
}

fn price(plan: &Plan, study: &StudyResult, a: &ArrangementResult) -> String {
    let drag = largest_drag_n(plan, &a.name);
    let stiff = study.arrangements.iter().find(|x| !x.has_floats);
    let against = |of: fn(&ArrangementResult) -> String| stiff.map_or_else(String::new, |s| format!(" ({} {})", s.name, of(s)));
    let tool: fn(&ArrangementResult) -> String = |a| significant(a.tally.bad_end(Reading::ToolDisplacement), 2);
    let stiffness: fn(&ArrangementResult) -> String = |a| a.lateral_stiffness_n_per_um.0.map_or_else(|| "-".into(), |k| significant(k, 2));
    format!(
        "{} of the travel, drag up to {} N, tool point off {} mm{}, lateral stiffness {} N/um{}",
        percent(a.tally.bad_end(Reading::FloatTravel)),
        plain(drag),
        tool(a),
        against(tool),
        stiffness(a),
        against(stiffness),
    )
}

/// One sentence to forward.
fn forward(study: &StudyResult) -> String {
    let part = |a: &ArrangementResult| Some(format!("{} with {} joints", percent(verdict(a, Measure::Life)?.share), a.name));
    let parts: Vec<String> = study.arrangements.iter().filter_map(part).collect();
    format!("Made and set as the plan says, the required life is reached by {}.", parts.join(", "))
}

/// What rules each arrangement: its costliest source alone.
fn change(study: &StudyResult) -> Vec<String> {
    let line = |a: &ArrangementResult| {
        let worst: Option<&Alone> = a.alone.first().filter(|s| s.life_km < 0.9 * a.perfect.life_km);
        let Some(s) = worst else {
            return format!("{}: no source alone costs a tenth of the life", a.name);
        };
        let at = s.limit.map_or_else(String::new, |limit| format!(" of {} {}", significant(limit.abs(), 2), s.unit));
        // What comes and goes in service has no limit to name, and may be the heat itself.
        let alone = if s.limit.is_some() { "alone and without heat" } else { "alone" };
        format!("{}: {}{at}, {alone} it leaves {} km", a.name, s.source, significant(s.life_km, 2))
    };
    study.arrangements.iter().map(line).collect()
}

fn findings(study: &StudyResult) -> String {
    let all: Vec<&Finding> = study.arrangements.iter().flat_map(|a| &a.findings).collect();
    let mut text = String::new();
    let mut said: Vec<&Finding> = Vec::new();
    for f in all {
        if said.contains(&f) {
            continue;
        }
        if said.is_empty() {
            text.push_str("\nFINDINGS\n");
        }
        let _ = writeln!(text, "- {}", f.sentence());
        said.push(f);
    }
    text
}
