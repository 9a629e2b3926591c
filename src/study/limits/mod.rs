//! Backwards: how large may the tolerances be? Each error alone, each with the others as planned, and all together.
//!
//! Single limits do not hold together. What may stand on a drawing is the set in `set.rs`, verified as a whole.

mod rounding;
mod search;
mod set;
#[cfg(test)]
mod tests;
mod usage;

pub use rounding::{drawn_below, rounded_inside, unit};
pub use search::Reach;
pub use set::{Basis, DrawnSet, NoSet, is_set_at_installation};
pub use usage::Usage;

use rayon::prelude::*;

use search::{Curve, NARROW, ROUGH};
use usage::{asked, at_quantile, at_zero, drawn, in_worst, of_outcome, without, worst};

use super::verdict::{Status, Verdict};
use super::worst::WorstCase;
use crate::evaluate::Outcome;
use crate::evaluate::service_states;
use crate::evaluate::{Evaluator, Work};
use crate::input::sources::ErrorSources;
use crate::input::{ErrorKind, Installation, Plan, Source};
use crate::structure::NotConverged;

/// No error is looked at beyond this, mm or mrad: rotations are small in the model, and nothing is built so.
const FARTHEST: f64 = 20.0;

/// How long limits are looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Depth {
    /// Installations behind a first, rough look at each limit.
    pub rough_draws: u64,
    /// Installations behind each single limit.
    pub single_draws: u64,
    /// Installations behind a common scale.
    pub common_draws: u64,
    /// Installations behind each verification of a set.
    pub set_draws: u64,
}

impl Depth {
    /// Enough for the plan's quantiles: ten installations are expected beyond the farthest one for a single limit, thirty
    /// for a set, five for a rough look, where 30,000 suffice.
    #[must_use]
    pub fn for_plan(plan: &Plan) -> Self {
        let farthest = plan.requirements.iter().map(|r| r.quantile).fold(0.5, f64::max);
        let beyond = |count: f64| ((count / (1.0 - farthest)).ceil() as u64).min(30_000);
        Self {
            rough_draws: beyond(5.0).max(120),
            single_draws: beyond(10.0).max(1000),
            common_draws: beyond(30.0).max(4000),
            set_draws: beyond(30.0).max(plan.study.draws.clamp(4000, 20_000)),
        }
    }
}

/// Scale of some tolerances up to which the requirements hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScaleLimit {
    /// The limit.
    pub reach: Reach,
    /// It is surely not below this: the end of the quantile's interval, or what is proved for the worst case.
    pub sure: Reach,
    /// It is surely not above this: the other end, or what an installation inside the tolerances breaks.
    pub possible: Reach,
    /// Index of the requirement that stops it.
    pub stopped_by: Option<usize>,
}

/// A limit at the requirements' quantiles and in the worst case.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// For the share of installations that each requirement asks for.
    pub quantile: ScaleLimit,
    /// For every installation inside the tolerances.
    pub worst: ScaleLimit,
}

/// Tolerance rounded down to a drawn value and held against fresh installations.
#[derive(Debug, Clone, PartialEq)]
pub struct Rounded {
    /// The tolerance.
    pub source: Source,
    /// The requirement that fewest of the fresh installations meet.
    pub least: Option<Verdict>,
}

/// Limits of one error.
#[derive(Debug, Clone, PartialEq)]
pub struct SourceLimits {
    /// The tolerance as planned.
    pub planned: Source,
    /// All other errors at zero.
    pub alone: Pair,
    /// All other errors at their planned tolerances.
    pub among: Pair,
    /// The quantile's limits as drawn values, verified: alone, and among the planned ones.
    pub rounded: [Option<Rounded>; 2],
}

/// Limits of one arrangement.
#[derive(Debug, Clone, PartialEq)]
pub struct ArrangementLimits {
    /// Its name.
    pub name: String,
    /// True for the arrangement that sets the exit code.
    pub chosen: bool,
    /// True if it has floating components.
    pub has_floats: bool,
    /// Use of the requirements by the perfect installation at rest, without heat and drag's changes.
    pub perfect: Usage,
    /// Use of the requirements with every error at zero, in service.
    pub zero: Usage,
    /// Each source of error.
    pub sources: Vec<SourceLimits>,
    /// Common scale of all planned tolerances.
    pub all: Pair,
    /// Common scale of what is set at installation, the rest as planned.
    pub installation: Pair,
    /// Why the worst case is not bounded, where it is not.
    pub no_bound: Option<String>,
    /// The set that holds together.
    pub set: Result<DrawnSet, NoSet>,
}

/// Limits of a plan.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitsResult {
    /// Seed of the search; verifications use the next one.
    pub seed: u64,
    /// Installations drawn.
    pub depth: Depth,
    /// The arrangements in the order of the plan.
    pub arrangements: Vec<ArrangementLimits>,
}

/// Seed of the verifications.
#[must_use]
pub fn fresh(seed: u64) -> u64 {
    seed.wrapping_add(1)
}

/// Steps of progress that `limits` reports.
#[must_use]
pub fn limits_steps(evaluators: &[Evaluator<'_>]) -> u64 {
    evaluators.iter().map(|e| e.plan().errors.sources.len() as u64 + 3).sum()
}

/// Looks for the limits of every arrangement; `progress` hears each step.
///
/// # Errors
/// An equilibrium was not found.
pub fn limits(evaluators: &[Evaluator<'_>], depth: Depth, seed: u64, progress: &(dyn Fn() + Sync)) -> Result<LimitsResult, NotConverged> {
    let arrangements = evaluators.iter().map(|e| Finder { evaluator: e, depth, seed }.arrangement(progress)).collect::<Result<_, _>>()?;
    Ok(LimitsResult { seed, depth, arrangements })
}

/// Common scale of the tolerances that `of` picks, the others as planned, at the requirements' quantiles.
///
/// For one source it is the limit that [`limits`] finds for it among the others.
///
/// # Errors
/// An equilibrium was not found.
pub fn scale_beside_the_others(
    evaluator: &Evaluator<'_>,
    depth: Depth,
    seed: u64,
    of: &(dyn Fn(&Source) -> bool + Sync),
) -> Result<ScaleLimit, NotConverged> {
    let finder = Finder { evaluator, depth, seed };
    let planned = &evaluator.plan().errors;
    let errors = |scale: f64| set::scaled_where(planned, scale, of);
    let as_planned = at_quantile(evaluator, &drawn(evaluator, planned, seed, depth.single_draws)?);
    let most = farthest(planned.sources.iter().filter(|s| of(s)));
    finder.quantile_limit(most, &[(1.0, as_planned)], depth.single_draws, &errors)
}

/// True where draws show every requirement to be met with some sources as given and the others as planned.
///
/// # Errors
/// An equilibrium was not found.
pub fn met_beside_the_others(evaluator: &Evaluator<'_>, given: &[Source], draws: u64, seed: u64) -> Result<bool, NotConverged> {
    let finder = Finder { evaluator, depth: Depth::for_plan(evaluator.plan()), seed };
    let planned = &evaluator.plan().errors;
    let with = |s: &Source| given.iter().find(|g| g.kind == s.kind).copied().unwrap_or(*s);
    let errors = ErrorSources { sources: planned.sources.iter().map(with).collect(), ..ErrorSources::default() };
    Ok(met(&finder.verdicts(&drawn(evaluator, &errors, seed, draws)?)))
}

/// One arrangement with what every search of it needs.
#[derive(Clone, Copy)]
pub(super) struct Finder<'e, 'p> {
    evaluator: &'e Evaluator<'p>,
    depth: Depth,
    seed: u64,
}

/// Which of the others' tolerances stand beside the one that is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Others {
    Zero,
    Planned,
}

/// What is known of the planned tolerances, and of none, before any search.
struct Known {
    zero: Usage,
    quantile: Usage,
    worst: Usage,
    worst_case: WorstCase,
}

/// Tolerances at a scale.
type Errors<'f> = &'f (dyn Fn(f64) -> ErrorSources + Sync);

impl Finder<'_, '_> {
    fn arrangement(&self, progress: &(dyn Fn() + Sync)) -> Result<ArrangementLimits, NotConverged> {
        let plan = self.evaluator.plan();
        let worst_case = worst(self.evaluator, &plan.errors)?;
        let known = Known {
            zero: at_zero(self.evaluator)?,
            quantile: at_quantile(self.evaluator, &drawn(self.evaluator, &plan.errors, self.seed, self.depth.single_draws)?),
            worst: in_worst(self.evaluator, &worst_case),
            worst_case,
        };
        let all = self.common(&known, &|_| true)?;
        progress();
        let installation = self.common(&known, &is_set_at_installation)?;
        progress();
        let one = |source: &Source| {
            let limits = self.source(source, &known);
            progress();
            limits
        };
        let sources = plan.errors.sources.par_iter().map(one).collect::<Result<_, _>>()?;
        let set = set::find(self, known.zero, &all, &installation)?;
        progress();
        Ok(ArrangementLimits {
            name: self.evaluator.machine.name().into(),
            chosen: self.evaluator.machine.arrangement == plan.chosen,
            has_floats: self.evaluator.machine.float_count() > 0,
            perfect: of_outcome(self.evaluator, &self.evaluator.perfect()),
            zero: known.zero,
            sources,
            all,
            installation,
            no_bound: known.worst_case.no_bound,
            set,
        })
    }

    fn source(&self, source: &Source, known: &Known) -> Result<SourceLimits, NotConverged> {
        let plan = self.evaluator.plan();
        let most = farthest_scale(source);
        let of = |others: Others| {
            let errors = |scale: f64| {
                scaled(&plan.errors, |kind| match (kind == source.kind, others) {
                    (true, _) => scale,
                    (false, Others::Zero) => 0.0,
                    (false, Others::Planned) => 1.0,
                })
            };
            let (at_quantile, at_worst) = match others {
                Others::Zero => ((0.0, known.zero), vec![(0.0, known.zero)]),
                Others::Planned => ((1.0, known.quantile), self.known_among(source, known, &errors(0.0))?),
            };
            let quantile = self.quantile_limit(most, &[at_quantile], self.depth.single_draws, &errors)?;
            let worst = self.worst_limit(most, at_worst, quantile, &errors)?;
            Ok((Pair { quantile, worst }, self.rounded(source, quantile, &errors)?))
        };
        let (alone, rounded_alone) = of(Others::Zero)?;
        let (among, rounded_among) = of(Others::Planned)?;
        Ok(SourceLimits { planned: *source, alone, among, rounded: [rounded_alone, rounded_among] })
    }

    /// What is known of the worst case with the others as planned. Where an installation that breaks a requirement still does
    /// when this error is taken out of it, the error is not to blame and needs no search.
    fn known_among(&self, source: &Source, known: &Known, at_zero: &ErrorSources) -> Result<Vec<(f64, Usage)>, NotConverged> {
        let mut list = vec![(1.0, known.worst)];
        if known.worst.low > 1.0 {
            for bracket in &known.worst_case.brackets {
                let left = without(self.evaluator, &bracket.installation, source.kind, at_zero)?;
                if left.at > 1.0 {
                    list.push((0.0, left));
                    break;
                }
            }
        }
        Ok(list)
    }

    /// Common scale of the tolerances that `of` picks, the others as planned.
    fn common(&self, known: &Known, of: &(dyn Fn(&Source) -> bool + Sync)) -> Result<Pair, NotConverged> {
        let plan = self.evaluator.plan();
        let errors = |scale: f64| set::scaled_where(&plan.errors, scale, of);
        let most = farthest(plan.errors.sources.iter().filter(|s| of(s)));
        let everything = plan.errors.sources.iter().all(of).then_some((0.0, known.zero));
        let at_quantile: Vec<_> = everything.into_iter().collect();
        let quantile = self.quantile_limit(most, &at_quantile, self.depth.common_draws, &errors)?;
        let worst = self.worst_limit(most, everything.into_iter().chain([(1.0, known.worst)]).collect(), quantile, &errors)?;
        Ok(Pair { quantile, worst })
    }

    /// Limit at the requirements' quantiles: a rough look with few installations, then with all.
    fn quantile_limit(&self, most: f64, known: &[(f64, Usage)], draws: u64, errors: Errors<'_>) -> Result<ScaleLimit, NotConverged> {
        let usage =
            |count: u64| move |scale: f64| Ok(at_quantile(self.evaluator, &drawn(self.evaluator, &errors(scale), self.seed, count)?));
        let zero = known.iter().filter(|(scale, _)| *scale == 0.0).copied();
        let start = match Curve::new(most, zero, usage(self.depth.rough_draws.min(draws))).reach(1.0, ROUGH, |u| u.at)? {
            Reach::Scale(scale) => scale,
            Reach::Always => most,
            Reach::Never => 0.0,
        };
        let mut curve = Curve::new(most, known.iter().copied(), usage(draws));
        self::limit(&mut curve, start)
    }

    /// Limit in the worst case; it lies near or below that at the quantile, where the search begins.
    fn worst_limit(
        &self,
        most: f64,
        known: Vec<(f64, Usage)>,
        quantile: ScaleLimit,
        errors: Errors<'_>,
    ) -> Result<ScaleLimit, NotConverged> {
        let start = match quantile.reach {
            Reach::Scale(scale) => 0.7 * scale,
            Reach::Always => most,
            Reach::Never => 0.0,
        };
        limit(&mut Curve::new(most, known, |scale| self.worst_use(&errors(scale))), start)
    }

    /// Use in the worst case; a lone state of service has no box to search.
    fn worst_use(&self, errors: &ErrorSources) -> Result<Usage, NotConverged> {
        let open: Vec<Source> = errors.sources.iter().filter(|s| s.in_service || s.lower != 0.0 || s.upper != 0.0).copied().collect();
        if open.iter().all(|s| s.in_service) {
            let plan = usage::with_errors(self.evaluator.plan(), errors);
            let outcome = self.evaluator.evaluate(&Installation::perfect(&plan), &service_states(&plan), &mut Work::default())?;
            return Ok(of_outcome(self.evaluator, &outcome));
        }
        Ok(in_worst(self.evaluator, &worst(self.evaluator, &ErrorSources { sources: open, ..ErrorSources::default() })?))
    }

    /// A single limit as a drawn value, stepped down until fresh installations show that it is met.
    fn rounded(&self, source: &Source, limit: ScaleLimit, errors: Errors<'_>) -> Result<Option<Rounded>, NotConverged> {
        let Reach::Scale(mut scale) = limit.sure else { return Ok(None) };
        for _ in 0..4 {
            let value = rounded_inside(&scaled_source(source, scale));
            if value.lower == 0.0 && value.upper == 0.0 {
                return Ok(None);
            }
            let mut tried = errors(0.0);
            tried.sources.iter_mut().filter(|s| s.kind == source.kind).for_each(|s| *s = value);
            let outcomes = drawn(self.evaluator, &tried, fresh(self.seed), self.depth.single_draws)?;
            let verdicts = self.verdicts(&outcomes);
            if met(&verdicts) {
                return Ok(Some(Rounded { source: value, least: tightest(&verdicts) }));
            }
            scale = 0.99 * value.upper.max(-value.lower) / source.upper.max(-source.lower);
        }
        Ok(None)
    }

    fn verdicts(&self, outcomes: &[Outcome]) -> Vec<Verdict> {
        let perfect = self.evaluator.perfect();
        asked(self.evaluator).map(|(_, r)| Verdict::of(r, outcomes, &perfect, true)).collect()
    }
}

/// The limit on a curve with both ends of its uncertainty.
fn limit(curve: &mut Curve<'_>, start: f64) -> Result<ScaleLimit, NotConverged> {
    let reach = curve.reach(start, NARROW, |u| u.at)?;
    let (sure, possible, stopped_by) = match reach {
        Reach::Always => (curve.reach(start, NARROW, |u| u.high)?, Reach::Always, None),
        Reach::Never => (Reach::Never, curve.reach(start, NARROW, |u| u.low)?, curve.stopped_by(0.0)),
        Reach::Scale(scale) => (curve.shifted(scale, |u| u.high), curve.shifted(scale, |u| u.low), curve.stopped_by(scale)),
    };
    Ok(ScaleLimit { reach, sure, possible, stopped_by })
}

fn met(verdicts: &[Verdict]) -> bool {
    verdicts.iter().all(|v| v.status == Status::Met)
}

fn tightest(verdicts: &[Verdict]) -> Option<Verdict> {
    verdicts.iter().copied().min_by(|a, b| (a.share - a.requirement.quantile).total_cmp(&(b.share - b.requirement.quantile)))
}

/// A source with both limits scaled.
#[must_use]
pub(in crate::study) fn scaled_source(source: &Source, scale: f64) -> Source {
    Source { lower: scale * source.lower, upper: scale * source.upper, ..*source }
}

/// Sources with each one's limits scaled; all stay in the list, so that the same seed draws the same installations.
fn scaled(errors: &ErrorSources, scale: impl Fn(ErrorKind) -> f64) -> ErrorSources {
    ErrorSources { sources: errors.sources.iter().map(|s| scaled_source(s, scale(s.kind))).collect(), ..ErrorSources::default() }
}

/// Greatest scale of a source's tolerance that is looked at.
#[must_use]
pub fn farthest_scale(source: &Source) -> f64 {
    farthest(std::iter::once(source))
}

/// Scale at which the largest of some tolerances comes to the farthest that is looked at, at least twice the planned.
fn farthest<'a>(sources: impl Iterator<Item = &'a Source>) -> f64 {
    let size = |s: &Source| s.upper.max(-s.lower) / unit(s.kind);
    let largest = sources.map(size).fold(0.0, f64::max);
    if largest > 0.0 { (FARTHEST / largest).max(2.0) } else { 2.0 }
}
