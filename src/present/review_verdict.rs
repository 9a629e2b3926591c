//! The verdict of a review in words: what is shown, what is counted against it, what it rests on.

use super::limits_rows::spec;
use crate::input::callouts::{Allowed, Callouts};
use crate::study::review::{ArrangementReview, Control, Level, Review, met};

/// A row of the table by its number and words.
pub(super) fn item(callouts: &Callouts, row: usize) -> String {
    callouts.list.get(row).map_or_else(String::new, |c| format!("item {}, {}", c.item, c.controls))
}

fn many(n: usize, one: &str, more: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {more}") }
}

fn requirements(met: bool) -> &'static str {
    if met { "all requirements met" } else { "NOT all requirements are shown to be met" }
}

/// The verdict on one arrangement, after installation adjustment.
pub(super) fn headline(a: &ArrangementReview) -> String {
    let v = &a.verdict;
    let mark = if a.chosen { " (chosen)" } else { "" };
    let word = match v.level {
        Level::NotControlled => {
            let labels: Vec<&str> = v.not_controlled.iter().map(|k| spec(*k).label).collect();
            let have = if labels.len() == 1 { "has" } else { "have" };
            format!("CANNOT BE SHOWN: {} {have} no callout: {}", many(labels.len(), "error", "errors"), labels.join("; "))
        }
        Level::NotMet => requirements(false).into(),
        Level::Open => "OPEN: all requirements met by the numbers, but not by the drawing as it is".into(),
        Level::OnAssumptions => "all requirements met, if what is assumed is true".into(),
        Level::Met => requirements(true).into(),
    };
    format!("{} joints{mark}: {word}", a.name)
}

/// What stands behind the verdict on arrangement `number`: the draws, what is counted against it, what it rests on.
pub(super) fn grounds(callouts: &Callouts, review: &Review, number: usize) -> Vec<String> {
    let v = &review.arrangements[number].verdict;
    let planned = if v.level == Level::NotControlled { "if they were as planned: " } else { "" };
    let mut list = vec![format!(
        "{planned}as drawn {}; after installation adjustment {}",
        requirements(met(&review.drawn, number)),
        requirements(v.requirements_met)
    )];
    let mut against = Vec::new();
    if v.contradictions > 0 {
        against.push(format!("callouts contradict each other on {}", many(v.contradictions, "error", "errors")));
    }
    let states = callouts.list.iter().any(|c| matches!(c.allowed, Allowed::Temperature(_)));
    match (v.temperature, states) {
        (0, _) => {}
        (_, false) => against.push("no temperature is stated".into()),
        (n, true) => against.push(format!("another temperature than the plan's in {}", many(n, "row", "rows"))),
    }
    if v.not_measured > 0 {
        against.push(format!("nobody is named to measure {} set at installation", many(v.not_measured, "error", "errors")));
    }
    if !against.is_empty() {
        list.push(format!("counted against it: {}", against.join("; ")));
    }
    let mut rests = Vec::new();
    if v.elsewhere > 0 {
        let mut by: Vec<&str> = Vec::new();
        for s in &review.assignment.sources {
            if let Control::Elsewhere(row) = s.control
                && let Allowed::In(place) = &callouts.list[row].allowed
                && !by.contains(&place.as_str())
            {
                by.push(place);
            }
        }
        rests.push(format!("{} controlled elsewhere, by {}", many(v.elsewhere, "error", "errors"), by.join("; by ")));
    }
    if v.set > 0 {
        rests.push(format!("{} set at installation, to be shown by measurement", many(v.set, "error", "errors")));
    }
    if v.assumed_shims {
        rests.push("the usual shim box and slots, assumed: the plan has no [correction]".into());
    }
    if v.assumed_values > 0 {
        rests.push(format!("{} assumed in the plan", many(v.assumed_values, "value", "values")));
    }
    if !rests.is_empty() {
        list.push(format!("rests on: {}", rests.join("; ")));
    }
    list
}
