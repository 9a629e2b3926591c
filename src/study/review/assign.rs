//! Which error takes its limits from which callout, and what does not fit.

use crate::input::callouts::{Allowed, Callouts, TEMPERATURE, limits_for};
use crate::input::{ErrorKind, Plan, Source};
use crate::study::Finding;
use crate::study::limits::unit;

/// One error of the plan with what decides its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Assigned {
    /// Which error.
    pub kind: ErrorKind,
    /// The callout that decides; none where the plan's own tolerance stands in.
    pub callout: Option<usize>,
    /// Shimming or setting comes after it.
    pub shimmed_after: bool,
}

/// Limits of all errors as drawn and after adjustment.
#[derive(Debug, Clone, PartialEq)]
pub struct Assignment {
    /// In the order of the plan.
    pub sources: Vec<Assigned>,
    /// As drawn.
    pub drawn: Vec<Source>,
    /// With what the installer takes out at the plan's tolerances.
    pub adjusted: Vec<Source>,
    /// What does not fit.
    pub findings: Vec<Finding>,
}

/// Two limits are the same.
fn same(a: (f64, f64), b: (f64, f64)) -> bool {
    (a.0 - b.0).abs() + (a.1 - b.1).abs() <= 1e-9 * (a.1 - a.0).abs()
}

fn width(limits: (f64, f64)) -> f64 {
    limits.1 - limits.0
}

fn shown(limits: (f64, f64), kind: ErrorKind) -> String {
    let unit_name = if ErrorKind::ALL.iter().any(|s| s.kind == kind && s.angle) { "mrad" } else { "mm" };
    let number = |x: f64| (x / unit(kind) * 1e6).round() / 1e6 + 0.0;
    if limits.0 == -limits.1 {
        format!("±{} {unit_name}", number(limits.1))
    } else {
        format!("{} to {} {unit_name}", number(limits.0), number(limits.1))
    }
}

/// Gives each error of the plan the limits that the callouts set. Where several specific callouts feed one error, the widest counts,
/// since the shop may work to it; a general tolerance counts where no specific one stands; else the plan's tolerance does.
#[must_use]
pub fn assign(plan: &Plan, callouts: &Callouts) -> Assignment {
    let mut findings = Vec::new();
    let mut find = |what: &str, place: String, amount: String, advice: &str| {
        findings.push(Finding { what: what.into(), place, amount, advice: advice.into() });
    };
    let (mut sources, mut drawn, mut adjusted) = (Vec::new(), Vec::new(), Vec::new());
    for planned in &plan.errors.sources {
        let spec = ErrorKind::ALL.iter().find(|s| s.kind == planned.kind);
        let label = spec.map_or("", |s| s.label).to_string();
        let of = |general: bool| {
            let fits = move |c: &crate::input::callouts::Callout| c.is_general() == general && (general || c.feeds.contains(&planned.kind));
            let list = callouts.list.iter().enumerate().filter(move |(_, c)| fits(c));
            list.filter_map(|(i, c)| Some((i, limits_for(c, planned.kind, &plan.frame)?))).collect::<Vec<_>>()
        };
        let (specific, general) = (of(false), of(true));
        let item = |i: usize| format!("item {}", callouts.list[i].item);
        let widest = |list: &[(usize, (f64, f64))]| list.iter().copied().max_by(|a, b| width(a.1).total_cmp(&width(b.1)));
        if let Some((first, rest)) = specific.split_first()
            && let Some(other) = rest.iter().find(|o| !same(o.1, first.1))
        {
            find(
                "two callouts contradict",
                format!("{label}: {} and {}", item(first.0), item(other.0)),
                format!("{} against {}", shown(first.1, planned.kind), shown(other.1, planned.kind)),
                "The wider one is counted here; take one off the drawing.",
            );
        }
        let as_planned = (planned.lower, planned.upper);
        let decided = widest(&specific).or_else(|| widest(&general));
        match (decided, specific.is_empty()) {
            (None, _) => find(
                "no callout controls this error",
                label,
                format!("counted as planned, {}", shown(as_planned, planned.kind)),
                "Put a callout on the drawing, or name it in the feeds of one.",
            ),
            (Some((i, limits)), true) if width(limits) > width(as_planned) * (1.0 + 1e-9) => find(
                "the general tolerance is wider than the plan assumes",
                format!("{label}: {}", item(i)),
                format!("{} against {} planned", shown(limits, planned.kind), shown(as_planned, planned.kind)),
                "Give it a callout of its own, or adjust it at installation.",
            ),
            _ => {}
        }
        let (lower, upper) = decided.map_or(as_planned, |(_, limits)| limits);
        let shimmed_after = decided.is_some_and(|(i, _)| callouts.list[i].shimmed_after);
        let as_drawn = Source { lower, upper, ..*planned };
        sources.push(Assigned { kind: planned.kind, callout: decided.map(|(i, _)| i), shimmed_after });
        drawn.push(as_drawn);
        // Setting takes an error out down to the plan's tolerance; it does not spoil what is drawn closer.
        adjusted.push(if shimmed_after && width(as_planned) < width((lower, upper)) { *planned } else { as_drawn });
    }
    for (i, c) in callouts.list.iter().enumerate() {
        let place = format!("item {}, {}", c.item, c.controls);
        if c.controls == TEMPERATURE {
            if let Allowed::Value { value, .. } = c.allowed
                && (value - plan.reference_c).abs() > 1e-9
            {
                let amount = format!("{value} °C against {} °C in the plan", plan.reference_c);
                find(
                    "the drawing's temperature is not the plan's",
                    place,
                    amount,
                    "Sizes of frame and bridge hold at another temperature: make them one.",
                );
            }
        } else if sources.iter().all(|s| s.callout != Some(i)) {
            let beaten = c.feeds.iter().any(|k| plan.errors.get(*k).is_some());
            let (amount, advice) = match (beaten, c.is_general()) {
                (true, _) => ("another callout decides", "Take it off, or the other one."),
                (_, true) => ("every error has a callout of its own or no value in this class", "It may stay for the rest of the part."),
                _ => ("the plan counts no such error", "Give the plan this error with a tolerance, or the callout its feeds."),
            };
            find("this callout controls nothing that is counted", place, amount.into(), advice);
        }
    }
    Assignment { sources, drawn, adjusted, findings }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// To a billionth of their width, wherever they lie: what is 0.2 wide may differ by 2e-10 in all.
    #[test]
    fn check_limits_are_the_same_to_a_billionth_of_their_width() {
        for limits in [(-0.1, 0.1), (0.0, 0.2), (0.1, 0.3), (-0.3, -0.1)] {
            assert!(same(limits, limits), "{limits:?}");
            for off in [-1.5e-10, 1.5e-10] {
                assert!(same(limits, (limits.0, limits.1 + off)) && same(limits, (limits.0 + off, limits.1)), "{limits:?} {off}");
                assert!(!same(limits, (limits.0 + off, limits.1 + off)), "{limits:?} {off} at both ends");
                assert!(!same(limits, (limits.0, limits.1 + 2.0 * off)), "{limits:?} {off}");
            }
        }
        // An error that may not be there at all is allowed twice.
        assert!(same((0.0, 0.0), (0.0, 0.0)) && !same((0.0, 0.0), (-1e-9, 1e-9)));
        // As wide, but elsewhere.
        assert!(!same((-0.1, 0.1), (0.0, 0.2)));
    }

    #[test]
    fn check_limits_are_written_in_their_unit_and_without_a_minus_before_nothing() {
        assert_eq!(shown((-0.25, 0.25), ErrorKind::Span), "±0.25 mm");
        assert_eq!(shown((-0.1, 0.3), ErrorKind::Span), "-0.1 to 0.3 mm");
        assert_eq!(shown((0.0, 0.15), ErrorKind::StraightnessLateral(0)), "0 to 0.15 mm");
        assert_eq!(shown((-4e-4, 4e-4), ErrorKind::EndTilt(1)), "±0.4 mrad");
        assert_eq!(shown((-1e-4, 3e-4), ErrorKind::CrossLevel(0)), "-0.1 to 0.3 mrad");
        assert_eq!(shown((-1e-9, 0.3), ErrorKind::Span), "0 to 0.3 mm");
    }
}
