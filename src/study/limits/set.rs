//! The set of tolerances that holds all at once: rounded down to drawn values, then verified on fresh installations.

use super::search::Reach;
use super::usage::{Usage, at_quantile, drawn, in_worst, worst};
use super::{Finder, Pair, fresh, met, rounded_inside, scaled_source};
use crate::input::Source;
use crate::input::sources::ErrorSources;
use crate::structure::NotConverged;
use crate::study::verdict::Verdict;

/// Trials of a rounded set, each a tenth tighter than the one before.
const TRIALS: u32 = 8;

/// What a set is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// The planned tolerances hold as they are.
    Planned,
    /// What is set at installation is scaled; what is made stays as planned.
    InstallationScaled,
    /// Everything is scaled.
    AllScaled,
}

/// A set of tolerances that holds all at once.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnSet {
    /// What it is made of.
    pub basis: Basis,
    /// Scale before rounding; 1 for the planned set.
    pub scale: f64,
    /// Every source with the limits to draw.
    pub errors: ErrorSources,
    /// The requirements on fresh installations: all met.
    pub verdicts: Vec<Verdict>,
    /// How often it was tightened after a verification that did not show it to hold.
    pub tightened: u32,
    /// Use of the requirements in the worst case inside the set.
    pub worst: Usage,
}

/// Why there is no set.
#[derive(Debug, Clone, PartialEq)]
pub struct NoSet {
    /// Index of the requirement that stops it.
    pub requirement: Option<usize>,
    /// Share of its limit that is used with every error at zero.
    pub used_at_zero: f64,
    /// What the last trial showed, where there was one.
    pub verdicts: Vec<Verdict>,
}

/// True for what the installer sets: the rails, and the drives' common start. All else is made before.
#[must_use]
pub fn is_set_at_installation(source: &Source) -> bool {
    source.kind.spec().measured.is_some() && !source.in_service
}

/// Sources with the limits of those that `of` picks scaled.
pub(super) fn scaled_where(errors: &ErrorSources, scale: f64, of: &dyn Fn(&Source) -> bool) -> ErrorSources {
    ErrorSources {
        sources: errors.sources.iter().map(|s| if of(s) { scaled_source(s, scale) } else { *s }).collect(),
        ..ErrorSources::default()
    }
}

/// The planned set if it holds; else the planned one with what is set at installation scaled down; else with all scaled down.
pub(super) fn find(finder: &Finder<'_, '_>, zero: Usage, all: &Pair, installation: &Pair) -> Result<Result<DrawnSet, NoSet>, NotConverged> {
    let plan = finder.evaluator.plan();
    let mut last = finder.verify(&plan.errors)?;
    if met(&last) {
        return Ok(Ok(finder.set(Basis::Planned, 1.0, plan.errors.clone(), last, 0)?));
    }
    let everything: &dyn Fn(&Source) -> bool = &|_| true;
    let rails: &dyn Fn(&Source) -> bool = &is_set_at_installation;
    for (basis, limit, of) in [(Basis::InstallationScaled, installation, rails), (Basis::AllScaled, all, everything)] {
        let Reach::Scale(from) = limit.quantile.sure else { continue };
        let mut scale = from.min(1.0);
        for tightened in 0..TRIALS {
            let mut errors = scaled_where(&plan.errors, scale, of);
            errors.sources.iter_mut().filter(|s| of(s)).for_each(|s| *s = rounded_inside(s));
            if vanishes(&plan.errors, &errors) {
                break;
            }
            last = finder.verify(&errors)?;
            if met(&last) {
                let relaxed = finder.relaxed(&errors)?;
                let verdicts = finder.verify(&relaxed)?;
                let (errors, verdicts) = if met(&verdicts) { (relaxed, verdicts) } else { (errors, last) };
                return Ok(Ok(finder.set(basis, scale, errors, verdicts, tightened)?));
            }
            scale *= 0.9;
        }
    }
    let used_at_zero = zero.at;
    let failing = last.iter().find(|v| v.status != crate::study::Status::Met).map(|v| v.requirement);
    let requirement = if used_at_zero > 1.0 {
        Some(zero.requirement)
    } else {
        all.quantile.stopped_by.or_else(|| failing.and_then(|r| plan.requirements.iter().position(|x| *x == r)))
    };
    Ok(Err(NoSet { requirement, used_at_zero, verdicts: last }))
}

/// True where rounding leaves nothing of a tolerance: such a set cannot be made.
fn vanishes(planned: &ErrorSources, drawn: &ErrorSources) -> bool {
    let size = |s: &Source| s.upper.max(-s.lower);
    planned.sources.iter().zip(&drawn.sources).any(|(p, d)| size(p) > 0.0 && size(d) == 0.0)
}

impl Finder<'_, '_> {
    fn verify(&self, errors: &ErrorSources) -> Result<Vec<Verdict>, NotConverged> {
        Ok(self.verdicts(&drawn(self.evaluator, errors, fresh(self.seed), self.depth.set_draws)?))
    }

    /// Gives back their planned tolerance to the errors that can have it, the least harmful first: a common scale tightens
    /// errors that do nothing too. Looked for on the search's installations; the caller verifies it on fresh ones.
    fn relaxed(&self, tight: &ErrorSources) -> Result<ErrorSources, NotConverged> {
        let planned = &self.evaluator.plan().errors.sources;
        let with = |errors: &ErrorSources, i: usize| {
            let mut sources = errors.sources.clone();
            sources[i] = planned[i];
            ErrorSources { sources, ..ErrorSources::default() }
        };
        let use_of = |errors: &ErrorSources| -> Result<f64, NotConverged> {
            Ok(at_quantile(self.evaluator, &drawn(self.evaluator, errors, self.seed, self.depth.common_draws)?).high)
        };
        let mut order = Vec::new();
        for i in (0..planned.len()).filter(|&i| planned[i] != tight.sources[i]) {
            order.push((use_of(&with(tight, i))?, i));
        }
        order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let mut errors = tight.clone();
        for (_, i) in order.into_iter().filter(|(used, _)| *used <= 1.0) {
            let wider = with(&errors, i);
            if use_of(&wider)? <= 1.0 {
                errors = wider;
            }
        }
        Ok(errors)
    }

    fn set(
        &self,
        basis: Basis,
        scale: f64,
        errors: ErrorSources,
        verdicts: Vec<Verdict>,
        tightened: u32,
    ) -> Result<DrawnSet, NotConverged> {
        let worst = in_worst(self.evaluator, &worst(self.evaluator, &errors)?);
        Ok(DrawnSet { basis, scale, errors, verdicts, tightened, worst })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::ErrorKind;
    use crate::input::sources::Spread;

    /// A tolerance of which nothing is left cannot be made, whichever side it had; one that was nothing before is no loss.
    #[test]
    fn check_a_set_vanishes_with_any_of_its_tolerances() {
        let errors = |limits: [(f64, f64); 2]| ErrorSources {
            sources: limits
                .map(|(lower, upper)| Source {
                    kind: ErrorKind::Span,
                    lower,
                    upper,
                    spread: Spread::Uniform,
                    inspected: false,
                    in_service: false,
                })
                .to_vec(),
            ..ErrorSources::default()
        };
        for planned in [(-0.2, 0.2), (0.0, 0.2), (-0.2, 0.0), (-0.2, 0.1)] {
            let planned = errors([planned, (0.0, 0.0)]);
            let left = |lower: f64, upper: f64| errors([(lower, upper), (0.0, 0.0)]);
            assert!(vanishes(&planned, &left(0.0, 0.0)));
            for kept in [left(-0.1, 0.1), left(0.0, 0.1), left(-0.1, 0.0)] {
                assert!(!vanishes(&planned, &kept), "{planned:?} {kept:?}");
            }
        }
    }
}
