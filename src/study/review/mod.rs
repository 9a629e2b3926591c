//! A drawing's callouts held against a machine: what each allows, what the machine needs, and the whole before and after
//! installation adjustment.

mod assign;

pub use assign::{Assigned, Assignment, assign};

use rayon::prelude::*;

use super::evaluate::Evaluator;
use super::limits::{Depth, Reach, ScaleLimit, drawn_below, scale_beside_the_others, unit};
use super::monte_carlo::{Length, StudyResult, monte_carlo};
use super::shares::{SharesResult, shares};
use super::verdict::Status;
use crate::input::callouts::Callouts;
use crate::input::{ErrorKind, Plan, Source};
use crate::structure::NotConverged;

/// From this headroom on a callout is tighter than it pays (common practice, no source).
pub const MUCH: f64 = 2.0;

/// Largest total share of a callout that cannot be to blame.
const HARMLESS: f64 = 0.01;

/// What a callout is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Judgement {
    /// It allows more than the machine can take.
    TooLoose,
    /// It allows what the machine can take, and not much less.
    Right,
    /// It could allow at least twice as much.
    TighterThanItPays,
    /// The rest breaks a requirement whatever it allows, and one other callout alone can mend that: judge it again then.
    OthersFirst,
    /// The requirements fail with every error at zero: no callout is to blame.
    NoToleranceHelps,
    /// It feeds nothing that the plan counts.
    Nothing,
}

/// A callout on one arrangement.
#[derive(Debug, Clone, PartialEq)]
pub struct CalloutReview {
    /// Its number in the list.
    pub callout: usize,
    /// The errors whose limits it decides.
    pub sources: Vec<Source>,
    /// Factor on what is drawn up to which the requirements hold, the others as drawn; none where it decides nothing.
    pub headroom: Option<ScaleLimit>,
    /// Total shares of its errors in the variance of life loss and of the largest block load, added up.
    pub shares: [f64; 2],
    /// The verdict.
    pub judgement: Judgement,
}

/// One arrangement.
#[derive(Debug, Clone, PartialEq)]
pub struct ArrangementReview {
    /// Its name.
    pub name: String,
    /// True for the arrangement that sets the exit code.
    pub chosen: bool,
    /// It is shown to meet every requirement as drawn.
    pub passes: bool,
    /// The callouts.
    pub callouts: Vec<CalloutReview>,
    /// Common factor of everything on the drawing.
    pub all: ScaleLimit,
    /// The one callout to tighten so that it passes as drawn, and the factor; nothing where it passes or none suffices.
    pub tighten: Option<(usize, f64)>,
    /// The callouts to relax, at most two, and the factor that both may be relaxed by together.
    pub relax: Option<(Vec<usize>, f64)>,
}

/// A whole review.
#[derive(Debug, Clone, PartialEq)]
pub struct Review {
    /// Which error takes its limits from which callout, and what was found on the way.
    pub assignment: Assignment,
    /// The study with everything as drawn.
    pub drawn: StudyResult,
    /// The study with what the installer takes out at the plan's tolerances.
    pub adjusted: StudyResult,
    /// Shares as drawn.
    pub shares: SharesResult,
    /// The arrangements in the order of the plan.
    pub arrangements: Vec<ArrangementReview>,
}

/// Pairs of installations behind the shares.
const SHARE_ROWS: u64 = 300;

/// Reviews callouts on machines made with the drawing's limits and machines made with the adjusted ones.
///
/// # Errors
/// An equilibrium was not found.
pub fn review(
    assignment: Assignment,
    callouts: &Callouts,
    drawn: &[Evaluator<'_>],
    adjusted: &[Evaluator<'_>],
    seed: u64,
    draws: u64,
    progress: &(dyn Fn(&'static str) + Sync),
) -> Result<Review, NotConverged> {
    let quiet = |_: u64| {};
    let study = |machines: &[Evaluator<'_>]| monte_carlo(machines, Length::Fixed(draws), seed, &quiet).map_err(|(_, e)| e);
    progress("as drawn");
    let as_drawn = study(drawn)?;
    progress("after adjustment");
    let as_adjusted = study(adjusted)?;
    progress("shares");
    let parts = shares(drawn, SHARE_ROWS, seed, &quiet).map_err(|(_, e)| e)?;
    progress("headroom of each callout");
    let one = |(i, evaluator): (usize, &Evaluator<'_>)| {
        let passes = met(&as_drawn, i);
        arrangement(&assignment, callouts, evaluator, &parts, i, seed, passes)
    };
    let arrangements = drawn.iter().enumerate().map(one).collect::<Result<_, _>>()?;
    Ok(Review { assignment, drawn: as_drawn, adjusted: as_adjusted, shares: parts, arrangements })
}

/// True where an arrangement is shown to meet every requirement.
#[must_use]
pub fn met(study: &StudyResult, arrangement: usize) -> bool {
    study.arrangements[arrangement].verdicts.iter().all(|v| matches!(v.status, Status::Met | Status::NotApplicable))
}

fn arrangement(
    assignment: &Assignment,
    callouts: &Callouts,
    evaluator: &Evaluator<'_>,
    parts: &SharesResult,
    number: usize,
    seed: u64,
    passes: bool,
) -> Result<ArrangementReview, NotConverged> {
    let plan = evaluator.plan();
    let depth = Depth::for_plan(plan);
    let kinds =
        |callout: usize| -> Vec<ErrorKind> { assignment.sources.iter().filter(|s| s.callout == Some(callout)).map(|s| s.kind).collect() };
    let share = |kinds: &[ErrorKind], output: usize| -> f64 {
        parts.arrangements[number].sources.iter().filter(|s| kinds.contains(&s.kind)).map(|s| s.shares[output].total.value.max(0.0)).sum()
    };
    let all = scale_beside_the_others(evaluator, depth, seed, &|_| true)?;
    let one = |callout: usize| {
        let kinds = kinds(callout);
        let shares = [0, 1].map(|output| share(&kinds, output));
        let headroom = match kinds.is_empty() {
            true => None,
            false => Some(scale_beside_the_others(evaluator, depth, seed, &|s| kinds.contains(&s.kind))?),
        };
        let judgement = judge(headroom.as_ref(), all.reach, shares);
        let sources = plan.errors.sources.iter().filter(|s| kinds.contains(&s.kind)).copied().collect();
        Ok(CalloutReview { callout, sources, headroom, shares, judgement })
    };
    let mut list: Vec<CalloutReview> = (0..callouts.list.len()).into_par_iter().map(one).collect::<Result<_, NotConverged>>()?;
    let mut scales: Vec<(usize, f64)> = list.iter().filter_map(|c| Some((c.callout, factor(c.headroom?.sure)))).collect();
    scales.sort_by(|a, b| b.1.total_cmp(&a.1));
    let tighten = scales.iter().find(|(_, s)| *s > 0.0 && *s < 1.0).filter(|_| !passes).copied();
    if tighten.is_some() {
        list.iter_mut().filter(|c| hangs_on_others(c)).for_each(|c| c.judgement = Judgement::OthersFirst);
    }
    let roomy: Vec<usize> = scales.iter().filter(|(_, s)| *s > 1.0).take(2).map(|(c, _)| *c).collect();
    let relax = if roomy.is_empty() {
        None
    } else {
        let both: Vec<ErrorKind> = roomy.iter().flat_map(|c| kinds(*c)).collect();
        let together = scale_beside_the_others(evaluator, depth, seed, &|s| both.contains(&s.kind))?;
        Some((roomy, factor(together.sure))).filter(|(_, s)| *s > 1.0)
    };
    Ok(ArrangementReview {
        name: evaluator.machine.name().into(),
        chosen: evaluator.machine.arrangement == plan.chosen,
        passes,
        callouts: list,
        all,
        tighten,
        relax,
    })
}

/// Nothing is known of a callout while the rest fails by itself.
fn hangs_on_others(c: &CalloutReview) -> bool {
    c.judgement == Judgement::TooLoose && c.headroom.is_some_and(|h| h.reach == Reach::Never)
}

/// `all` is the common factor of everything on the drawing.
fn judge(headroom: Option<&ScaleLimit>, all: Reach, shares: [f64; 2]) -> Judgement {
    let Some(headroom) = headroom else { return Judgement::Nothing };
    if all == Reach::Never {
        return Judgement::NoToleranceHelps;
    }
    match headroom.reach {
        Reach::Scale(s) if s < 1.0 => Judgement::TooLoose,
        Reach::Scale(s) if s < MUCH => Judgement::Right,
        Reach::Scale(_) | Reach::Always => Judgement::TighterThanItPays,
        // The others alone break a requirement: this one is part of it or not.
        Reach::Never if shares.iter().all(|s| *s < HARMLESS) => Judgement::TighterThanItPays,
        Reach::Never => Judgement::TooLoose,
    }
}

/// A reach as a factor: 0 for never, infinite for always.
#[must_use]
pub fn factor(reach: Reach) -> f64 {
    match reach {
        Reach::Never => 0.0,
        Reach::Scale(s) => s,
        Reach::Always => f64::INFINITY,
    }
}

/// The value to draw for a source at a factor: rounded down, in mm or mrad.
#[must_use]
pub fn to_draw(source: &Source, scale: f64) -> f64 {
    drawn_below(scale * source.upper / unit(source.kind))
}

/// The plan with other limits.
#[must_use]
pub fn with_limits(plan: &Plan, sources: &[Source]) -> Plan {
    let errors = crate::input::sources::ErrorSources { sources: sources.to_vec(), ..Default::default() };
    Plan { errors, ..plan.clone() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_judgements_of_headrooms_and_shares() {
        let limit = |reach: Reach| ScaleLimit { reach, sure: reach, possible: reach, stopped_by: None };
        let judged = |reach: Reach, shares: [f64; 2]| judge(Some(&limit(reach)), Reach::Scale(0.9), shares);
        for (reach, shares, expected) in [
            (Reach::Scale(0.99), [0.5; 2], Judgement::TooLoose),
            (Reach::Scale(1.0), [0.5; 2], Judgement::Right),
            (Reach::Scale(MUCH - 0.01), [0.0; 2], Judgement::Right),
            (Reach::Scale(MUCH), [0.5; 2], Judgement::TighterThanItPays),
            (Reach::Always, [0.5; 2], Judgement::TighterThanItPays),
            (Reach::Never, [HARMLESS / 2.0; 2], Judgement::TighterThanItPays),
            (Reach::Never, [HARMLESS, 0.0], Judgement::TooLoose),
            (Reach::Never, [0.0, HARMLESS], Judgement::TooLoose),
        ] {
            assert_eq!(judged(reach, shares), expected, "{reach:?} {shares:?}");
        }
        assert_eq!([Reach::Never, Reach::Scale(1.5), Reach::Always].map(factor), [0.0, 1.5, f64::INFINITY]);
        // Where everything at zero breaks a requirement no callout is to blame, and one that feeds nothing is worth nothing.
        for reach in [Reach::Never, Reach::Scale(0.5), Reach::Scale(1.5), Reach::Always] {
            assert_eq!(judge(Some(&limit(reach)), Reach::Never, [0.5; 2]), Judgement::NoToleranceHelps);
            assert_eq!(judge(None, reach, [0.5; 2]), Judgement::Nothing);
        }
    }

    #[test]
    fn check_what_is_drawn_at_a_factor_is_rounded_down_in_its_unit() {
        let spread = crate::input::sources::Spread::Uniform;
        let of = |kind: ErrorKind, upper: f64| Source { kind, lower: -upper, upper, spread, inspected: false, in_service: false };
        assert_eq!(to_draw(&of(ErrorKind::Span, 0.4), 1.4), 0.5);
        assert_eq!(to_draw(&of(ErrorKind::Span, 0.4), 0.7), 0.2);
        assert_eq!(to_draw(&of(ErrorKind::EndTilt(0), 0.4e-3), 0.7), 0.2);
    }
}
