//! The work list in the order in which a person walks the frame, and the state after it.

use std::fmt::Write as _;

use super::numbers::{percent, plain, significant};
use super::survey_doubts::{in_doubt, not_stated};
use super::survey_text::with_uncertainty;
use super::tables::{align_right, plain_table};
use crate::input::Plan;
use crate::study::Finding;
use crate::survey::shims::{Correction, Item};
use crate::survey::{Check, Conformity, Doubt, Prediction};
use crate::units::{MRAD, SIDES};

/// The list of pads with what to do at each, then limits and life before and after.
#[must_use]
pub fn work_list_text(
    plan: &Plan,
    correction: &Correction,
    before: (&[Check], &[Prediction]),
    after: (&[Check], &[Prediction]),
    (findings, unsure): (&[Finding], &[Doubt]),
) -> String {
    let mut text = String::from("WORK LIST, up along rail A and back along rail B\n");
    if let Some(words) = in_doubt(findings, unsure, before.0) {
        let _ = writeln!(text, "NOT YET TO BE CARRIED OUT: {words}");
    }
    if let Some(words) = not_stated(unsure) {
        let _ = writeln!(text, "MAKE SURE FIRST, not stated: {words}");
    }
    if correction.items.is_empty() {
        text += "No pad that may be moved would help.\n";
        for stop in &correction.stopped_by {
            let _ = writeln!(text, "What stops it: {stop}.");
        }
        return text + "\n";
    }
    if let Some(words) = assumed(plan) {
        let _ = writeln!(text, "{words}");
    }
    let tapered = correction.items.iter().any(|i| i.taper_rad != 0.0);
    let mut table = plain_table(head(tapered));
    for item in &correction.items {
        table.add_row(row(item));
    }
    align_right(&mut table, 2..4);
    let _ = writeln!(text, "{table}");
    let shims: usize = correction.items.iter().map(|i| i.stack_mm.len()).sum();
    let proof = if correction.fewest_proved {
        "none that goes direction by direction touches fewer"
    } else {
        "a shorter list may exist: the search was cut off"
    };
    let _ = writeln!(text, "{} of {} pads, {shims} shims; {proof}.", correction.items.len(), 2 * plan.frame.anchors_x_mm.len());
    text += "Move across: + away from rail A towards rail B's side (+y). Loosen, shim, tighten to torque, then check the torque once more and survey again.\n";
    if correction.tightened < 1.0 {
        let _ = writeln!(
            text,
            "The limits alone did not suffice for the requirements: the rails are set to {} of them.",
            percent(correction.tightened)
        );
    }
    for stop in &correction.stopped_by {
        let _ = writeln!(text, "What stops it: {stop}.");
    }
    let worse = before.1.iter().zip(after.1).filter(|(b, _)| b.chosen).flat_map(|(b, a)| b.verdicts.iter().zip(&a.verdicts));
    for (b, a) in worse.filter(|(b, a)| a.share < b.share - 0.02) {
        let _ = writeln!(
            text,
            "MIND: with this list {} is met with {} instead of {}. Ask whoever signs the plan before you loosen a bolt; finer shims help.",
            b.requirement.measure.key(),
            percent(a.share),
            percent(b.share)
        );
    }
    let _ = writeln!(text, "\nPREDICTED AFTER IT (uncertainty of the survey; shims as thick as they say)\n{}", limits(before.0, after.0));
    for (b, a) in before.1.iter().zip(after.1) {
        let _ = writeln!(text, "{}", lives(b, a));
    }
    text.push('\n');
    text
}

/// What of shims and slots the plan does not say.
pub(super) fn assumed(plan: &Plan) -> Option<String> {
    let c = &plan.site.correction;
    let list = || c.shims_mm.iter().map(|s| plain(*s)).collect::<Vec<_>>().join(", ");
    (!c.stated).then(|| {
        format!(
            "ASSUMED, the plan has no [correction]: slots of {} mm either way and shims of {} mm. State yours before anything is ordered.",
            plain(c.slot_mm),
            list()
        )
    })
}

/// Heading of the list.
pub(super) fn head(tapered: bool) -> [&'static str; 7] {
    ["done", "pad", "at, mm", "add under it, mm", "stack, mm", "move across, mm", if tapered { "taper, mm/m" } else { "" }]
}

/// One pad's cells.
pub(super) fn row(item: &Item) -> [String; 7] {
    let or_dash = |x: f64, text: String| if x == 0.0 { "-".into() } else { text };
    let stack: Vec<String> = item.stack_mm.iter().map(|s| plain(*s)).collect();
    let across = match item.lateral_mm {
        x if x > 0.0 => format!("{x:+.2} (to +y)"),
        x => format!("{x:+.2} (to -y)"),
    };
    [
        "[ ]".into(),
        format!("{}{}", SIDES[item.rail].to_uppercase(), item.pad),
        plain(item.x_mm),
        or_dash(item.shim_mm, format!("{:.2}", item.shim_mm)),
        stack.join(" + "),
        or_dash(item.lateral_mm, across),
        if item.taper_rad == 0.0 { String::new() } else { format!("{:+.2}", item.taper_rad / MRAD) },
    ]
}

/// Heading of [`limit_rows`].
pub(super) const LIMITS_HEAD: [&str; 7] = ["limit of the plan", "before", "after", "u", "unit", "limit", "verdict after"];

/// Each limit before and after, as cells.
pub(super) fn limit_rows(before: &[Check], after: &[Check]) -> Vec<[String; 7]> {
    let row = |(b, a): (&Check, &Check)| {
        let (value, u) = with_uncertainty(a.value, a.uncertainty);
        let word = match a.decision.verdict {
            Conformity::Pass => "PASS",
            Conformity::Fail => "FAIL",
            Conformity::NotDecidable => "not yet decided",
            Conformity::NotSeen => "not read",
        };
        let limit = if a.lower.is_some_and(|l| l == -a.upper) {
            format!("\u{b1}{}", significant(a.upper, 3))
        } else {
            format!("at most {}", significant(a.upper, 3))
        };
        [a.label.into(), with_uncertainty(b.value, b.uncertainty).0, value, u, a.unit.into(), limit, word.to_string()]
    };
    before.iter().zip(after).filter(|(b, _)| b.decision.verdict != Conformity::NotSeen).map(row).collect()
}

fn limits(before: &[Check], after: &[Check]) -> String {
    let mut table = plain_table(LIMITS_HEAD);
    for row in limit_rows(before, after) {
        table.add_row(row);
    }
    align_right(&mut table, 1..4);
    table.to_string()
}

pub(super) fn lives(before: &Prediction, after: &Prediction) -> String {
    let median = |p: &Prediction| {
        let mut lives: Vec<f64> = p.outcomes.iter().map(|o| o.life_km).collect();
        lives.sort_by(f64::total_cmp);
        lives.get(lives.len() / 2).copied().unwrap_or(f64::NAN)
    };
    let parts: Vec<String> = before
        .verdicts
        .iter()
        .zip(&after.verdicts)
        .filter(|(b, _)| b.status != crate::study::Status::NotApplicable)
        .map(|(b, a)| format!("{} {} to {}", b.requirement.measure.key(), percent(b.share), percent(a.share)))
        .collect();
    let chosen = if before.chosen { " (chosen)" } else { "" };
    format!(
        "{} joints{chosen}: median life {} km before, {} km after; probability that the requirement is met: {}",
        before.name,
        significant(median(before), 3),
        significant(median(after), 3),
        parts.join(", ")
    )
}
