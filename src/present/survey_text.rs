//! A survey for the terminal: what was understood, each limit with its verdict, what the machine will do.

use std::fmt::Write as _;

use super::numbers::{percent, significant, years};
use super::survey_doubts::{doubt_finding, in_doubt, not_stated};
use super::tables::{align_right, bound, plain_table};
use crate::input::Plan;
use crate::input::plan::Measure;
use crate::input::survey::Survey;
use crate::math::order::quantile;
use crate::study::{Finding, Status, Verdict};
use crate::survey::{Check, Conformity, Doubt, Prediction};

/// What was read and how it was brought to the plan's reference.
#[must_use]
pub fn survey_head(plan: &Plan, survey: &Survey, said: &[String]) -> String {
    let mut text = format!("{}\nSurvey {}", plan.title, survey.file);
    if let Some(date) = &survey.state.date {
        let _ = write!(text, " of {date}");
    }
    text.push('\n');
    for (key, value) in &survey.state.notes {
        let _ = writeln!(text, "{key}: {value}");
    }
    let points = if survey.points.is_empty() { String::new() } else { format!("{} points, ", survey.points.len()) };
    let _ = writeln!(text, "\nREAD\n- {points}{} readings at stations; {}", survey.readings.len(), survey.understood.join("; "));
    for sentence in said {
        let _ = writeln!(text, "- {sentence}");
    }
    text
}

/// The verdict in a few lines.
#[must_use]
pub fn survey_verdict(checks: &[Check], predictions: &[Prediction], findings: &[Finding], unsure: &[Doubt]) -> String {
    let of = |wanted: Conformity| checks.iter().filter(|c| c.decision.verdict == wanted).map(|c| c.label).collect::<Vec<_>>();
    let mut text = format!("VERDICT   limits: {} of {} pass", of(Conformity::Pass).len(), checks.len());
    for (wanted, words) in [(Conformity::Fail, "FAIL"), (Conformity::NotDecidable, "NOT YET DECIDED"), (Conformity::NotSeen, "not read")] {
        let list = of(wanted);
        if !list.is_empty() {
            let _ = write!(text, "\n          {words}: {}", list.join("; "));
        }
    }
    if let Some(words) = in_doubt(findings, unsure, checks) {
        let _ = write!(text, "\n          IN DOUBT: {words}");
    }
    if let Some(words) = not_stated(unsure) {
        let _ = write!(text, "\n          NOT STATED: {words}");
    }
    for p in predictions {
        let chosen = if p.chosen { " (chosen)" } else { "" };
        let one = |v: &Verdict| format!("{} {}", v.requirement.measure.key(), probability(v));
        let parts: Vec<String> = p.verdicts.iter().filter(|v| v.status != Status::NotApplicable).map(one).collect();
        let _ = write!(text, "\n          {} joints{chosen}: {}", p.name, parts.join(", "));
    }
    text + "\n\n"
}

/// Heading of [`check_rows`].
pub(super) const CHECK_HEAD: [&str; 6] = ["limit of the plan", "measured", "u", "unit", "limits", "verdict"];

/// Each limit of the plan with what was measured and the verdict, as cells.
pub(super) fn check_rows(checks: &[Check]) -> Vec<[String; 6]> {
    let mut rows = Vec::new();
    for c in checks {
        let seen = c.decision.verdict != Conformity::NotSeen;
        let (value, uncertainty) = if seen { with_uncertainty(c.value, c.uncertainty) } else { ("-".into(), String::new()) };
        let limits = match c.lower {
            Some(low) if low == -c.upper => format!("\u{b1}{}", significant(c.upper, 3)),
            Some(low) => format!("{} to {}", significant(low, 3), significant(c.upper, 3)),
            None => format!("at most {}", significant(c.upper, 3)),
        };
        rows.push([c.label.into(), value, uncertainty, c.unit.into(), limits, verdict(c)]);
        if let Some(zone) = c.minimum_zone.filter(|_| seen) {
            let zone = with_uncertainty(zone, c.uncertainty).0;
            if let Some([low, high]) = c.interval {
                let [low, high] = [low, high].map(|v| with_uncertainty(v, c.uncertainty).0);
                rows.push([
                    "  95 in 100 between".into(),
                    format!("{low} to {high}"),
                    String::new(),
                    c.unit.into(),
                    String::new(),
                    String::new(),
                ]);
            }
            rows.push(["  by minimum zone".into(), zone, String::new(), c.unit.into(), String::new(), String::new()]);
            if let Some(span) = c.as_read {
                let span = with_uncertainty(span, c.uncertainty).0;
                rows.push(["  of the readings as they are".into(), span, String::new(), c.unit.into(), String::new(), String::new()]);
            }
        }
    }
    rows
}

/// What the uncertainties of the checks mean.
pub(super) const CHECK_NOTE: &str = "u: standard uncertainty, k = 1; decided with a guard band of 1.645 u, ISO 14253-1;\nstraightness: peak-to-valley about the least-squares line, median of what the readings allow; passes where 95 in 100 of that and the readings as they are are within,\nwaves between the pads allowed for by what the pads err by themselves; waves shorter than two bays may be higher, which no reading at pads shows";

/// Each limit of the plan with what was measured and the verdict.
#[must_use]
pub fn checks_table(checks: &[Check]) -> String {
    let mut table = plain_table(CHECK_HEAD);
    for row in check_rows(checks) {
        table.add_row(row);
    }
    align_right(&mut table, 1..3);
    format!("MEASURED AGAINST THE PLAN'S LIMITS ({CHECK_NOTE})\n{table}\n")
}

/// A value with as many decimals as two digits of its uncertainty have.
#[must_use]
pub fn with_uncertainty(value: f64, uncertainty: f64) -> (String, String) {
    if !(uncertainty > 0.0) || !uncertainty.is_finite() {
        return (significant(value, 3), significant(uncertainty, 2));
    }
    let decimals = (1 - uncertainty.log10().floor() as i32).clamp(0, 6) as usize;
    let value = format!("{value:.decimals$}");
    let value = if value.trim_start_matches(['-', '0', '.']).is_empty() { value.trim_start_matches('-').to_string() } else { value };
    (value, format!("{uncertainty:.decimals$}"))
}

fn verdict(c: &Check) -> String {
    match (c.decision.verdict, c.decision.deciding_uncertainty) {
        (Conformity::Pass, _) => "PASS".into(),
        (Conformity::Fail, _) => "FAIL".into(),
        (Conformity::NotSeen, _) => "not read".into(),
        (Conformity::NotDecidable, None) => "not yet decided: readings contradict each other".into(),
        (Conformity::NotDecidable, Some(u)) if u < 0.05 * c.uncertainty => "not yet decided: it lies on the limit".into(),
        (Conformity::NotDecidable, Some(u)) => format!("not yet decided: repeat these readings, or u <= {}", significant(u, 2)),
    }
}

/// Heading of [`prediction_rows`].
pub(super) const PREDICTION_HEAD: [&str; 6] = ["on these rails", "perfect rails", "median", "5 to 95 in 100", "requirement", "probability"];

/// What the measured rails come to with one arrangement, as cells.
pub(super) fn prediction_rows(plan: &Plan, p: &Prediction) -> Vec<[String; 6]> {
    let mut rows = Vec::new();
    for (name, measure, write) in ROWS {
        if measure == Measure::FloatTravel && !p.has_floats {
            continue;
        }
        let mut sorted: Vec<f64> = p.outcomes.iter().map(|o| measure.of(o)).collect();
        sorted.sort_by(f64::total_cmp);
        let at = |q: f64| quantile(&sorted, q, 0.95).map_or(f64::NAN, |q| q.value);
        let verdict = p.verdicts.iter().find(|v| v.requirement.measure == measure);
        rows.push([
            name.into(),
            write(measure.of(&p.perfect)),
            write(at(0.5)),
            format!("{} to {}", write(at(0.05)), write(at(0.95))),
            verdict.map_or_else(String::new, bound),
            verdict.map_or_else(String::new, probability),
        ]);
        if let Some(km) = plan.km_per_year.filter(|_| measure == Measure::Life) {
            let span = |x: f64| years(x, km);
            let range = format!("{} to {}", span(at(0.05)), span(at(0.95)));
            rows.push([String::new(), span(measure.of(&p.perfect)), span(at(0.5)), range, String::new(), String::new()]);
        }
    }
    rows
}

/// One table an arrangement: what the measured rails come to, and the probability that each requirement is met.
#[must_use]
pub fn predictions_table(plan: &Plan, predictions: &[Prediction]) -> String {
    let mut text = String::new();
    for p in predictions {
        let mark = if p.chosen { " (chosen: it sets the exit code)" } else { "" };
        let _ = writeln!(text, "Arrangement \"{}\"{mark}", p.name);
        let mut table = plain_table(PREDICTION_HEAD);
        for row in prediction_rows(plan, p) {
            table.add_row(row);
        }
        align_right(&mut table, 1..4);
        let _ = writeln!(text, "{table}\n");
    }
    text
}

type Row = (&'static str, Measure, fn(f64) -> String);

const ROWS: [Row; 7] = [
    ("life, km", Measure::Life, |x| significant(x, 3)),
    ("largest block load, over row unloading", Measure::RowUnloading, |x| significant(x, 2)),
    ("static safety", Measure::StaticSafety, |x| significant(x, 2)),
    ("float travel used", Measure::FloatTravel, percent),
    ("tool point off by, mm", Measure::ToolDisplacement, |x| significant(x, 2)),
    ("tool yaw, mrad", Measure::ToolYaw, |x| significant(x, 2)),
    ("largest joint force, N", Measure::JointForce, |x| significant(x, 3)),
];

/// The probability that this machine meets a requirement, with the verdict.
pub(super) fn probability(v: &Verdict) -> String {
    match v.status {
        Status::Met => format!("{}: MET", percent(v.share)),
        Status::NotMet => format!("{}: NOT MET", percent(v.share)),
        Status::Undecided => format!("{} to {}: more draws needed", percent(v.share_low), percent(v.share_high)),
        Status::NotApplicable => "no floats".into(),
    }
}

/// Findings as a list.
#[must_use]
pub fn findings_list(findings: &[Finding], unsure: &[Doubt]) -> String {
    if findings.is_empty() && unsure.is_empty() {
        return String::new();
    }
    let mut text = String::from("FINDINGS\n");
    for f in findings.iter().cloned().chain(unsure.iter().map(doubt_finding)) {
        let _ = writeln!(text, "- {}", f.sentence());
    }
    text + "\n"
}
