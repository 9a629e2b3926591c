//! A drawing's callouts held against a machine: what each allows, what the machine needs, and the whole before and after
//! installation adjustment.

mod adjust;
mod assign;
mod need;
mod verdict;

pub use adjust::{Adjustment, Refusal};
pub use assign::{Assigned, Assignment, Control, Misfit, assign};
pub use verdict::{Level, ReviewVerdict, verdict};

use rayon::prelude::*;

use super::limits::{Depth, Reach, ScaleLimit, scale_beside_the_others};
use super::monte_carlo::{Length, StudyResult, monte_carlo};
use super::shares::{SharesResult, shares};
use super::verdict::Status;
use crate::evaluate::Evaluator;
use crate::input::callouts::Callouts;
use crate::input::{ErrorKind, Plan, Source};
use crate::structure::NotConverged;
use need::Needs;

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
    /// These draws do not tell whether the machine can take what it allows.
    NotDecided,
    /// It allows what the machine can take, and not much less.
    Right,
    /// It could allow at least twice as much.
    TighterThanItPays,
    /// It could allow more, but the machine fails or errors are not controlled: no advice to relax it.
    RoomNotJudged,
    /// No requirement depends on it, as far as was looked.
    NothingDepends,
    /// The rest breaks a requirement whatever it allows, and its own share is nothing.
    NotToBlame,
    /// The rest breaks a requirement whatever it allows, and one other callout alone can mend that: judge it again then.
    OthersFirst,
    /// The requirements fail with every error at zero: no callout is to blame.
    NoToleranceHelps,
    /// The errors are controlled elsewhere: the plan's tolerances count.
    Elsewhere,
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
    /// What the machine needs: limits of its errors up to which the review's draws show the requirements to be met, the others
    /// as drawn, rounded to the tight side; empty where there are none.
    pub needs: Vec<Source>,
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
    /// The one callout to tighten to what the machine needs so that it passes as drawn; nothing where it passes or none suffices.
    pub tighten: Option<usize>,
    /// The callouts to relax, at most two, and the limits that both may have together, the others as drawn.
    pub relax: Option<(Vec<usize>, Vec<Source>)>,
    /// The verdict after installation adjustment.
    pub verdict: ReviewVerdict,
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
        let verdict = verdict(adjusted[i].plan(), &assignment, met(&as_adjusted, i));
        let passes = met(&as_drawn, i);
        Reviewer { assignment: &assignment, callouts, evaluator, depth: depth(evaluator.plan(), draws), seed, draws }
            .arrangement(&parts, i, passes, verdict)
    };
    let arrangements = drawn.iter().enumerate().map(one).collect::<Result<_, _>>()?;
    Ok(Review { assignment, drawn: as_drawn, adjusted: as_adjusted, shares: parts, arrangements })
}

/// How long headrooms are looked for: with the review's own draws, so that what is sure is as sure as its verdict.
#[must_use]
pub fn depth(plan: &Plan, draws: u64) -> Depth {
    let usual = Depth::for_plan(plan);
    Depth { single_draws: usual.single_draws.max(draws.min(MOST_DRAWS)), ..usual }
}

/// Most draws behind one trial of a headroom.
const MOST_DRAWS: u64 = 20_000;

/// True where an arrangement is shown to meet every requirement.
#[must_use]
pub fn met(study: &StudyResult, arrangement: usize) -> bool {
    study.arrangements[arrangement].verdicts.iter().all(|v| matches!(v.status, Status::Met | Status::NotApplicable))
}

/// One arrangement with what its callouts are judged by.
struct Reviewer<'r, 'p> {
    assignment: &'r Assignment,
    callouts: &'r Callouts,
    evaluator: &'r Evaluator<'p>,
    depth: Depth,
    seed: u64,
    draws: u64,
}

impl Reviewer<'_, '_> {
    /// Errors whose limits a callout decides.
    fn kinds(&self, callout: usize) -> Vec<ErrorKind> {
        self.assignment.sources.iter().filter(|s| s.callout() == Some(callout)).map(|s| s.kind).collect()
    }

    fn limit(&self, kinds: &[ErrorKind]) -> Result<ScaleLimit, NotConverged> {
        scale_beside_the_others(self.evaluator, self.depth, self.seed, &|s| kinds.contains(&s.kind))
    }

    fn arrangement(
        &self,
        parts: &SharesResult,
        number: usize,
        passes: bool,
        verdict: ReviewVerdict,
    ) -> Result<ArrangementReview, NotConverged> {
        let plan = self.evaluator.plan();
        let all = scale_beside_the_others(self.evaluator, self.depth, self.seed, &|_| true)?;
        let sound = passes && verdict.not_controlled.is_empty();
        let needs = Needs { evaluator: self.evaluator, draws: self.draws, seed: self.seed };
        let one = |callout: usize| {
            let kinds = self.kinds(callout);
            let of = |output: usize| {
                parts.arrangements[number].sources.iter().filter(|s| kinds.contains(&s.kind)).map(move |s| s.shares[output])
            };
            let shares = [0, 1].map(|output| of(output).map(|s| s.total.value.max(0.0)).sum::<f64>());
            let headroom = match kinds.is_empty() {
                true => None,
                false => Some(needs.sure(&kinds, self.limit(&kinds)?, passes)?),
            };
            let needs = match headroom {
                Some(h) if all.reach != Reach::Never => needs.of(&kinds, h.sure)?,
                _ => Vec::new(),
            };
            let elsewhere = self.assignment.sources.iter().any(|s| s.control == Control::Elsewhere(callout));
            let judgement = if elsewhere { Judgement::Elsewhere } else { judge(headroom.as_ref(), all.reach, shares, sound) };
            let sources = plan.errors.sources.iter().filter(|s| kinds.contains(&s.kind)).copied().collect();
            Ok(CalloutReview { callout, sources, headroom, needs, shares, judgement })
        };
        let mut list: Vec<CalloutReview> = (0..self.callouts.list.len()).into_par_iter().map(one).collect::<Result<_, NotConverged>>()?;
        let mut scales: Vec<(usize, f64)> =
            list.iter().filter(|c| !c.needs.is_empty()).filter_map(|c| Some((c.callout, factor(c.headroom?.sure)))).collect();
        scales.sort_by(|a, b| b.1.total_cmp(&a.1));
        let tighten = scales.iter().find(|(_, s)| *s < 1.0).filter(|_| !passes).map(|(i, _)| *i);
        if tighten.is_some() {
            list.iter_mut().filter(|c| hangs_on_others(c)).for_each(|c| c.judgement = Judgement::OthersFirst);
        }
        let roomy: Vec<usize> = scales.iter().filter(|(_, s)| *s > 1.0 && s.is_finite()).take(2).map(|(c, _)| *c).collect();
        let relax = if roomy.is_empty() || !sound {
            None
        } else {
            let both: Vec<ErrorKind> = roomy.iter().flat_map(|c| self.kinds(*c)).collect();
            let together = self.limit(&both)?;
            let limits = if factor(together.sure) > 1.0 { needs.of(&both, together.sure)? } else { Vec::new() };
            Some((roomy, limits)).filter(|(_, l)| !l.is_empty())
        };
        Ok(ArrangementReview {
            name: self.evaluator.machine.name().into(),
            chosen: self.evaluator.machine.arrangement == plan.chosen,
            passes,
            callouts: list,
            all,
            tighten,
            relax,
            verdict,
        })
    }
}

/// Nothing is known of a callout while the rest fails by itself.
fn hangs_on_others(c: &CalloutReview) -> bool {
    c.judgement == Judgement::TooLoose && c.headroom.is_some_and(|h| h.reach == Reach::Never)
}

/// `all` is the common factor of everything on the drawing; `sound` is a machine that passes and a drawing that controls all.
fn judge(headroom: Option<&ScaleLimit>, all: Reach, shares: [f64; 2], sound: bool) -> Judgement {
    let Some(headroom) = headroom else { return Judgement::Nothing };
    if all == Reach::Never {
        return Judgement::NoToleranceHelps;
    }
    match (headroom.reach, factor(headroom.sure)) {
        (Reach::Never, _) if shares.iter().all(|s| *s < HARMLESS) => Judgement::NotToBlame,
        (Reach::Never, _) => Judgement::TooLoose,
        (Reach::Scale(s), _) if s < 1.0 => Judgement::TooLoose,
        (_, sure) if sure < 1.0 => Judgement::NotDecided,
        (Reach::Always, f64::INFINITY) => Judgement::NothingDepends,
        (_, sure) if sure < MUCH => Judgement::Right,
        _ if sound => Judgement::TighterThanItPays,
        _ => Judgement::RoomNotJudged,
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
        let limit = |reach: Reach, sure: Reach| ScaleLimit { reach, sure, possible: reach, stopped_by: None };
        let judged = |reach: Reach, shares: [f64; 2], sound: bool| judge(Some(&limit(reach, reach)), Reach::Scale(0.9), shares, sound);
        for (reach, shares, expected) in [
            (Reach::Scale(0.99), [0.5; 2], Judgement::TooLoose),
            (Reach::Scale(1.0), [0.5; 2], Judgement::Right),
            (Reach::Scale(MUCH - 0.01), [0.0; 2], Judgement::Right),
            (Reach::Scale(MUCH), [0.5; 2], Judgement::TighterThanItPays),
            (Reach::Always, [0.5; 2], Judgement::NothingDepends),
            (Reach::Never, [HARMLESS / 2.0; 2], Judgement::NotToBlame),
            (Reach::Never, [HARMLESS, 0.0], Judgement::TooLoose),
            (Reach::Never, [0.0, HARMLESS], Judgement::TooLoose),
        ] {
            assert_eq!(judged(reach, shares, true), expected, "{reach:?} {shares:?}");
            // Nothing is called tighter than it pays where the machine fails or the drawing leaves something open.
            assert_ne!(judged(reach, shares, false), Judgement::TighterThanItPays);
        }
        assert_eq!(judged(Reach::Scale(MUCH), [0.5; 2], false), Judgement::RoomNotJudged);
        // What counts is what is sure.
        let unsure = limit(Reach::Scale(2.5), Reach::Scale(1.5));
        assert_eq!(judge(Some(&unsure), Reach::Scale(1.0), [0.5; 2], true), Judgement::Right);
        let open = limit(Reach::Scale(1.1), Reach::Scale(0.9));
        assert_eq!(judge(Some(&open), Reach::Scale(1.0), [0.5; 2], true), Judgement::NotDecided);
        assert_eq!([Reach::Never, Reach::Scale(1.5), Reach::Always].map(factor), [0.0, 1.5, f64::INFINITY]);
        // Where everything at zero breaks a requirement no callout is to blame, and one that feeds nothing is worth nothing.
        for reach in [Reach::Never, Reach::Scale(0.5), Reach::Scale(1.5), Reach::Always] {
            assert_eq!(judge(Some(&limit(reach, reach)), Reach::Never, [0.5; 2], true), Judgement::NoToleranceHelps);
            assert_eq!(judge(None, reach, [0.5; 2], true), Judgement::Nothing);
        }
    }
}
