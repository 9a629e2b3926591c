//! What does not fit between a drawing's table and the plan, in words.

use super::limits_rows::{spec, tolerance, unit_name};
use super::numbers::plain;
use super::review_verdict::item;
use crate::input::callouts::{Callouts, NoLimit};
use crate::input::sources::Spread;
use crate::input::{ErrorKind, Source};
use crate::study::Finding;
use crate::study::review::{Adjustment, Assignment, Misfit, Refusal};

/// Limits as they are written, with their unit.
pub(super) fn written((lower, upper): (f64, f64), kind: ErrorKind) -> String {
    let source = Source { kind, lower, upper, spread: Spread::Uniform, inspected: false, in_service: false };
    format!("{} {}", tolerance(&source), unit_name(kind))
}

/// Everything that was found between the table and the plan.
#[must_use]
pub fn review_findings(callouts: &Callouts, assignment: &Assignment) -> Vec<Finding> {
    let mut list: Vec<Finding> = assignment.misfits.iter().map(|m| misfit(callouts, m)).collect();
    for (assigned, drawn) in assignment.sources.iter().zip(&assignment.drawn) {
        let limits = written((drawn.lower, drawn.upper), drawn.kind);
        let place =
            |row: Option<usize>| row.map_or_else(String::new, |row| format!("{}: {}", spec(assigned.kind).label, item(callouts, row)));
        match assigned.adjustment {
            Some(Adjustment::Refused(why)) => {
                let (amount, advice) = refusal(why);
                let what = "installation cannot take this out";
                list.push(finding(what, place(assigned.callout()), format!("{amount}; it stays as drawn, {limits}"), advice));
            }
            Some(Adjustment::Set { needed, reach, .. }) if needed > reach => {
                let amount = format!("{} may be needed at one pad, {} is allowed", amount(needed, drawn.kind), amount(reach, drawn.kind));
                let advice = "Tighten the callout, or give [correction] more shims or longer slots; what is not reached stays.";
                list.push(finding("the pads do not reach what is drawn", place(assigned.callout()), amount, advice));
            }
            Some(Adjustment::Set { measured_by: None, .. }) => {
                let advice = "Name who measures it in the column measured_by, such as: survey at installation.";
                list.push(finding("nobody is named to measure what is set", place(assigned.callout()), String::new(), advice));
            }
            _ => {}
        }
    }
    list
}

/// A movement of a pad: mm, or mrad for a tilt.
pub(super) fn amount(x: f64, kind: ErrorKind) -> String {
    let x = x / crate::study::unit(kind);
    format!("{} {}", plain((1e3 * x).round() / 1e3), unit_name(kind))
}

fn finding(what: &str, place: String, amount: String, advice: &str) -> Finding {
    Finding { what: what.into(), place, amount, advice: advice.into() }
}

/// Why installation cannot set an error, and what to do.
pub(super) fn refusal(why: Refusal) -> (&'static str, &'static str) {
    match why {
        Refusal::NoPadMovesIt => ("no pad moves it", "Write no under shimmed_after, and tighten the callout if the machine needs it."),
        Refusal::NoTaperedShims => {
            ("there are no tapered shims", "Give the plan's [correction] taper_most_mrad, or write no under shimmed_after.")
        }
        Refusal::RailsAreFixed => (
            "the rails that would have to move are the master or have fixed pads",
            "Look at master and fixed_pads under [correction], or write no under shimmed_after.",
        ),
    }
}

fn misfit(callouts: &Callouts, misfit: &Misfit) -> Finding {
    let label = |kind: ErrorKind| spec(kind).label;
    let of = |kind: ErrorKind, row: usize| format!("{}: {}", label(kind), item(callouts, row));
    match misfit {
        Misfit::NotControlled { kind, general: None } => finding(
            "not controlled by this drawing",
            label(*kind).into(),
            "counted as planned".into(),
            "Put a callout on the drawing, name it in the feeds of one, or add a row \"elsewhere\" that names the document that controls it.",
        ),
        Misfit::NotControlled { kind, general: Some((row, limits)) } => finding(
            "not controlled by this drawing",
            of(*kind, *row),
            format!("only this general tolerance reaches it, with {}; counted as planned", written(*limits, *kind)),
            "Beyond a general tolerance a part is not refused as long as it works (ISO 2768-1, 6): give the error a callout, or name it in the feeds of this row.",
        ),
        Misfit::NoLimit { row, kind, why } => no_limit(of(*kind, *row), why),
        Misfit::Contradiction { kind, rows, limits } => finding(
            "two callouts contradict",
            format!("{}: {} and {}", label(*kind), item(callouts, rows[0]), item(callouts, rows[1])),
            match limits[0] == limits[1] {
                true => "in how it is made or whether it is set afterwards".into(),
                false => format!("{} against {}", written(limits[0], *kind), written(limits[1], *kind)),
            },
            "The wider one is counted here; take one off the drawing, and review it again.",
        ),
        Misfit::OtherTemperature { row, drawn_c, plan_c } => finding(
            "the drawing's temperature is not the plan's",
            item(callouts, *row),
            format!("{} °C against {} °C in the plan", plain(*drawn_c), plain(*plan_c)),
            "Sizes of frame and bridge hold at another temperature: make them one.",
        ),
        Misfit::NoTemperature => finding(
            "no temperature is stated",
            "the table".into(),
            String::new(),
            "Add the row: temperature, with the one that the drawing states; ISO 1 says 20 °C where it states none.",
        ),
        Misfit::WiderThanPlanned { kind, row, limits } => finding(
            "this callout allows more than the plan does",
            of(*kind, *row),
            format!("{} against {} planned", written(limits[0], *kind), written(limits[1], *kind)),
            "It is counted as drawn.",
        ),
        Misfit::GeneralEnds { row } => finding(
            "this general tolerance has no value on this machine",
            item(callouts, *row),
            "its table ends before these lengths".into(),
            "It controls nothing that is counted here.",
        ),
        Misfit::FeedsNothing { row } => finding(
            "this callout controls nothing that is counted",
            item(callouts, *row),
            "the plan counts no such error".into(),
            "Give the plan this error with a tolerance, the callout its feeds, or write none there.",
        ),
    }
}

fn no_limit(place: String, why: &NoLimit) -> Finding {
    match why {
        NoLimit::SeparateZones => finding(
            "this callout does not control the row",
            place,
            "it holds for each pad by itself, and the zones float against each other".into(),
            "Write cz where the drawing has CZ (one combined zone, ISO 1101), one where the rail lies on a single face, or the datum of a position.",
        ),
        NoLimit::ShortLength => finding(
            "this callout does not control the row",
            place,
            "the length that it holds for does not reach over three pads".into(),
            "Give the whole row a tolerance, or a length of two pitches at least.",
        ),
        NoLimit::NoValue(what) => finding("this callout has no value for what it feeds", place, what.clone(), "Give a number."),
    }
}
