//! Which error takes its limits from which row of the table, what installation takes out, and what does not fit.
//!
//! An error is controlled by the rows whose `feeds` name it, by their own words or as usual; a general tolerance that names
//! none controls none: beyond it a part is not refused as long as it works (ISO 2768-1, 6). Taking any row away can then
//! only leave an error without control or change nothing, unless two rows contradict: then the wider one counts, the
//! verdict is open, and taking one of them off the drawing is a decision, which the next review judges anew.

use super::adjust::{Adjustment, adjust};
use crate::input::callouts::{Allowed, Callout, Callouts, Made, NoLimit, limits_for};
use crate::input::sources::Spread;
use crate::input::{ErrorKind, Plan, Source};

/// What controls an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Control {
    /// The callout of this number in the list.
    Callout(usize),
    /// Another document, named by the row of this number; the plan's tolerance counts.
    Elsewhere(usize),
    /// Nothing on this drawing; the plan's tolerance stands in.
    Nothing,
}

/// One error of the plan with what decides its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Assigned {
    /// Which error.
    pub kind: ErrorKind,
    /// What controls it.
    pub control: Control,
    /// What installation does to it, where the drawing says that it is set afterwards.
    pub adjustment: Option<Adjustment>,
}

impl Assigned {
    /// The callout that decides.
    #[must_use]
    pub fn callout(&self) -> Option<usize> {
        if let Control::Callout(i) = self.control { Some(i) } else { None }
    }
}

/// What does not fit; rows by their number in the list.
#[derive(Debug, Clone, PartialEq)]
pub enum Misfit {
    /// Nothing controls an error; general tolerances that reach it, and their limits.
    NotControlled {
        /// Which error.
        kind: ErrorKind,
        /// A general tolerance that has a value for it.
        general: Option<(usize, (f64, f64))>,
    },
    /// A row names an error and does not control it.
    NoLimit {
        /// The row.
        row: usize,
        /// Which error.
        kind: ErrorKind,
        /// Why.
        why: NoLimit,
    },
    /// Two rows say different things of one error; the wider one counts.
    Contradiction {
        /// Which error.
        kind: ErrorKind,
        /// The rows.
        rows: [usize; 2],
        /// Their limits.
        limits: [(f64, f64); 2],
    },
    /// The drawing's temperature is not the plan's.
    OtherTemperature {
        /// The row.
        row: usize,
        /// What it says, degrees Celsius.
        drawn_c: f64,
        /// The plan's.
        plan_c: f64,
    },
    /// No row says at which temperature the sizes hold.
    NoTemperature,
    /// A callout allows more than the plan does, and nothing takes it out at installation.
    WiderThanPlanned {
        /// Which error.
        kind: ErrorKind,
        /// The row.
        row: usize,
        /// Drawn and planned limits.
        limits: [(f64, f64); 2],
    },
    /// A general tolerance has no value on this machine.
    GeneralEnds {
        /// The row.
        row: usize,
    },
    /// A callout feeds nothing that the plan counts, and does not say so.
    FeedsNothing {
        /// The row.
        row: usize,
    },
}

/// Limits of all errors as drawn and after adjustment.
#[derive(Debug, Clone, PartialEq)]
pub struct Assignment {
    /// In the order of the plan.
    pub sources: Vec<Assigned>,
    /// As drawn.
    pub drawn: Vec<Source>,
    /// With what the installer takes out.
    pub adjusted: Vec<Source>,
    /// What does not fit.
    pub misfits: Vec<Misfit>,
}

/// What one row says of an error.
struct Claim {
    row: usize,
    elsewhere: bool,
    source: Source,
    shimmed_after: bool,
}

/// Two limits are the same.
fn same(a: (f64, f64), b: (f64, f64)) -> bool {
    (a.0 - b.0).abs() + (a.1 - b.1).abs() <= 1e-9 * (a.1 - a.0).abs()
}

pub(super) fn limits(s: &Source) -> (f64, f64) {
    (s.lower, s.upper)
}

pub(super) fn width(limits: (f64, f64)) -> f64 {
    limits.1 - limits.0
}

/// How an error spreads by the way its feature is made: never closer than the plan says.
fn spread(planned: &Source, made: Option<Made>) -> (Spread, bool) {
    // Evenly spread is a standard deviation of half the width over root three; a capability of 1 is a third of it.
    let closer =
        matches!(planned.spread, Spread::Triangular) || matches!(planned.spread, Spread::Normal { capability } if capability > 0.58);
    match made {
        Some(Made::Welded) if closer && !planned.in_service => (Spread::Uniform, planned.inspected),
        Some(Made::Set) if closer && !planned.in_service => (Spread::Uniform, true),
        _ => (planned.spread, planned.inspected),
    }
}

/// Gives each error of the plan the limits that the table sets. Where several rows feed one error, the widest counts, since the
/// shop may work to it.
#[must_use]
pub fn assign(plan: &Plan, callouts: &Callouts) -> Assignment {
    let mut misfits = Vec::new();
    let (mut sources, mut drawn) = (Vec::new(), Vec::new());
    for planned in &plan.errors.sources {
        let claims = claims(plan, callouts, planned, &mut misfits);
        let decided = widest(&claims);
        if let Some(claim) = decided
            && let Some(other) = claims.iter().find(|c| contradicts(c, claim))
        {
            let (a, b) = if other.row < claim.row { (other, claim) } else { (claim, other) };
            let limits = [limits(&a.source), limits(&b.source)];
            misfits.push(Misfit::Contradiction { kind: planned.kind, rows: [a.row, b.row], limits });
        }
        let control = match decided {
            Some(c) if c.elsewhere => Control::Elsewhere(c.row),
            Some(c) => Control::Callout(c.row),
            None => Control::Nothing,
        };
        if decided.is_none() {
            misfits.push(Misfit::NotControlled { kind: planned.kind, general: general_for(plan, callouts, planned.kind) });
        }
        let source = decided.map_or(*planned, |c| c.source);
        // Who measures is said where any of the rows that say the same does.
        let adjusted = decided.filter(|c| c.shimmed_after && width(limits(planned)) < width(limits(&source)) * (1.0 - 1e-9)).map(|_| {
            let says = |c: &&Claim| !callouts.list[c.row].measured_by.is_empty();
            claims.iter().find(says).map(|c| c.row)
        });
        if let (Control::Callout(row), None) = (control, adjusted)
            && width(limits(&source)) > width(limits(planned)) * (1.0 + 1e-9)
        {
            misfits.push(Misfit::WiderThanPlanned { kind: planned.kind, row, limits: [limits(&source), limits(planned)] });
        }
        sources.push((Assigned { kind: planned.kind, control, adjustment: None }, adjusted));
        drawn.push(source);
    }
    let set: Vec<ErrorKind> = sources.iter().filter(|(_, a)| a.is_some()).map(|(s, _)| s.kind).collect();
    let mut adjusted = drawn.clone();
    for (((assigned, measured), planned), after) in sources.iter_mut().zip(&plan.errors.sources).zip(&mut adjusted) {
        if let Some(measured_by) = measured {
            let (adjustment, left) = adjust(plan, &drawn, &set, planned, *measured_by);
            assigned.adjustment = Some(adjustment);
            *after = left;
        }
    }
    let sources: Vec<Assigned> = sources.into_iter().map(|(s, _)| s).collect();
    temperature(plan, callouts, &mut misfits);
    for (row, c) in callouts.list.iter().enumerate() {
        let counted = c.feeds.iter().any(|k| plan.errors.get(*k).is_some());
        if c.is_general && ErrorKind::ALL.iter().all(|s| limits_for(c, s.kind, &plan.frame).is_err_and(|why| why != NoLimit::SeparateZones))
        {
            misfits.push(Misfit::GeneralEnds { row });
        }
        let asks = !c.is_general && !c.feeds_none && !matches!(c.allowed, Allowed::Temperature(_));
        if asks && !counted {
            misfits.push(Misfit::FeedsNothing { row });
        }
    }
    Assignment { sources, drawn, adjusted, misfits }
}

/// What the rows say of an error.
fn claims(plan: &Plan, callouts: &Callouts, planned: &Source, misfits: &mut Vec<Misfit>) -> Vec<Claim> {
    let mut list = Vec::new();
    for (row, c) in callouts.list.iter().enumerate().filter(|(_, c)| c.feeds.contains(&planned.kind)) {
        if matches!(c.allowed, Allowed::In(_)) {
            list.push(Claim { row, elsewhere: true, source: *planned, shimmed_after: false });
            continue;
        }
        match limits_for(c, planned.kind, &plan.frame) {
            Ok((lower, upper)) => {
                let (spread, inspected) = spread(planned, c.made);
                let source = Source { lower, upper, spread, inspected, ..*planned };
                list.push(Claim { row, elsewhere: false, source, shimmed_after: c.shimmed_after });
            }
            Err(why) => misfits.push(Misfit::NoLimit { row, kind: planned.kind, why }),
        }
    }
    list
}

fn contradicts(a: &Claim, b: &Claim) -> bool {
    let spread = (a.source.spread, a.source.inspected) != (b.source.spread, b.source.inspected);
    !same(limits(&a.source), limits(&b.source)) || a.shimmed_after != b.shimmed_after || spread
}

/// The claim that allows most: by its width, by not being set afterwards, by its spread.
fn widest(claims: &[Claim]) -> Option<&Claim> {
    let even = |c: &Claim| matches!(c.source.spread, Spread::Uniform);
    claims.iter().reduce(|best, c| {
        let (a, b) = (width(limits(&best.source)), width(limits(&c.source)));
        let wider = if (a - b).abs() > 1e-9 * a { b > a } else { (!c.shimmed_after, even(c)) > (!best.shimmed_after, even(best)) };
        if wider { c } else { best }
    })
}

/// A general tolerance that would reach an error if it named it.
fn general_for(plan: &Plan, callouts: &Callouts, kind: ErrorKind) -> Option<(usize, (f64, f64))> {
    let reach = |(row, c): (usize, &Callout)| Some((row, limits_for(c, kind, &plan.frame).ok()?));
    callouts.list.iter().enumerate().filter(|(_, c)| c.is_general).filter_map(reach).max_by(|a, b| width(a.1).total_cmp(&width(b.1)))
}

fn temperature(plan: &Plan, callouts: &Callouts, misfits: &mut Vec<Misfit>) {
    let mut said = false;
    for (row, c) in callouts.list.iter().enumerate() {
        if let Allowed::Temperature(drawn_c) = c.allowed {
            said = true;
            if (drawn_c - plan.reference_c).abs() > 1e-9 {
                misfits.push(Misfit::OtherTemperature { row, drawn_c, plan_c: plan.reference_c });
            }
        }
    }
    if !said {
        misfits.push(Misfit::NoTemperature);
    }
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
    fn check_what_is_welded_or_set_never_spreads_closer_than_planned() {
        let of = |spread: Spread| Source { kind: ErrorKind::Span, lower: -0.1, upper: 0.1, spread, inspected: false, in_service: false };
        let usual = of(Spread::Normal { capability: 1.0 });
        assert_eq!(spread(&usual, None), (usual.spread, false));
        assert_eq!(spread(&usual, Some(Made::Machined)), (usual.spread, false));
        assert_eq!(spread(&usual, Some(Made::Welded)), (Spread::Uniform, false));
        assert_eq!(spread(&usual, Some(Made::Set)), (Spread::Uniform, true));
        let poor = of(Spread::Normal { capability: 0.4 });
        assert_eq!(spread(&poor, Some(Made::Set)), (poor.spread, false));
        let comes_and_goes = Source { in_service: true, ..usual };
        assert_eq!(spread(&comes_and_goes, Some(Made::Set)), (usual.spread, false));
    }
}
