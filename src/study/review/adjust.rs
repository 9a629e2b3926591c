//! What installation takes out of a drawn error: by shims under the pads, by their slots, by tapered shims, as far as the
//! plan's `[correction]` reaches.

use crate::input::{ErrorKind, Increments, Plan, Source};
use crate::units::{A, B};

/// Why an error cannot be set at installation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Refusal {
    /// It lies in a part, not in the place of a rail.
    NoPadMovesIt,
    /// There are no tapered shims.
    NoTaperedShims,
    /// The rails that would have to move are the master or have fixed pads.
    RailsAreFixed,
}

/// What installation does to an error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Adjustment {
    /// It is set in steps.
    Set {
        /// Movement that the drawing's errors of this direction may need at one pad, mm or rad.
        needed: f64,
        /// Movement that shims or slots allow, mm or rad.
        reach: f64,
        /// One step, mm or rad.
        step: f64,
        /// The row that names who measures it; none where no row does.
        measured_by: Option<usize>,
    },
    /// Nothing at installation can take it out: it stays as drawn.
    Refused(Refusal),
}

/// Direction of the pads' movement that sets an error, and the rail if it is one rail's own.
fn direction(kind: ErrorKind) -> Option<(usize, Option<usize>)> {
    use ErrorKind as K;
    match kind {
        K::Span | K::Parallelism => Some((LATERAL, None)),
        K::Height | K::VerticalParallelism => Some((VERTICAL, None)),
        K::StraightnessLateral(r) => Some((LATERAL, Some(r))),
        K::StraightnessVertical(r) => Some((VERTICAL, Some(r))),
        K::CrossLevel(r) | K::CrossLevelTwist(r) | K::StraightnessRoll(r) => Some((ROLL, Some(r))),
        _ => None,
    }
}

const LATERAL: usize = 0;
const VERTICAL: usize = 1;
const ROLL: usize = 2;

/// Movement at one pad that a drawn error may need to come to nominal: half of a drift, all else in full.
fn extent(s: &Source) -> f64 {
    let most = s.upper.max(-s.lower);
    match s.kind {
        ErrorKind::Parallelism | ErrorKind::VerticalParallelism | ErrorKind::CrossLevelTwist(_) => most / 2.0,
        _ => most,
    }
}

/// What is left of an error of the plan, with what takes it out. `set` names all errors that are set so: they share the stack.
///
/// Left is the larger of the planned tolerance (a survey shows that it is kept), of what the pads cannot reach, and of half a step.
pub(super) fn adjust(
    plan: &Plan,
    drawn: &[Source],
    set: &[ErrorKind],
    planned: &Source,
    measured_by: Option<usize>,
) -> (Adjustment, Source) {
    let Some(own) = drawn.iter().find(|s| s.kind == planned.kind) else { return (Adjustment::Refused(Refusal::NoPadMovesIt), *planned) };
    let refused = |why: Refusal| (Adjustment::Refused(why), *own);
    let Some((way, rail)) = direction(planned.kind) else { return refused(Refusal::NoPadMovesIt) };
    let box_of = &plan.site.correction;
    // A rail moves as a whole where it is not the master and no pad of it is fixed.
    let moves = |r: usize| box_of.master != Some(r) && box_of.fixed.iter().all(|(fixed, _)| *fixed != r);
    if rail.map_or(!moves(A) && !moves(B), |r| !moves(r)) {
        return refused(Refusal::RailsAreFixed);
    }
    let stack = Increments::new(box_of);
    let (reach, step) = match way {
        LATERAL => (box_of.slot_mm, box_of.lateral_step_mm),
        VERTICAL => (f64::from(stack.most) * stack.step_mm, stack.step_mm),
        _ if box_of.taper_rad[1] > 0.0 => (box_of.taper_rad[1], box_of.taper_rad[0]),
        _ => return refused(Refusal::NoTaperedShims),
    };
    let shares = |k: ErrorKind| direction(k).is_some_and(|(w, r)| w == way && (r.is_none() || rail.is_none() || r == rail));
    // Two rails share a drift between their ends; one rail that can only be lifted takes it all at one end.
    let lone = way == VERTICAL && moves(A) != moves(B);
    let weight = |s: &Source| if lone && s.kind == ErrorKind::VerticalParallelism { 2.0 } else { 1.0 };
    let needed: f64 = drawn.iter().filter(|s| set.contains(&s.kind) && shares(s.kind)).map(|s| weight(s) * extent(s)).sum();
    // What one rail alone must do in height it can only do upwards: the other way nothing is taken out.
    let one_way = lone && planned.kind == ErrorKind::Height;
    let taken = if needed > 0.0 { (reach / needed).min(1.0) } else { 1.0 };
    let half_step = if planned.kind.is_profile() { step } else { step / 2.0 };
    let (low, high) = (own.lower, own.upper);
    let left = |drawn: f64, planned: f64| drawn.min(((1.0 - taken) * drawn).max(planned).max(half_step));
    let (mut lower, mut upper) = (-left(-low, -planned.lower), left(high, planned.upper));
    if one_way {
        // Rail B lies higher than A by a positive error: lifting A takes it out, lifting B a negative one.
        if moves(A) { lower = low } else { upper = high }
    }
    if planned.kind.is_profile() {
        lower = 0.0;
    }
    (Adjustment::Set { needed, reach, step, measured_by }, Source { lower, upper, ..*planned })
}
