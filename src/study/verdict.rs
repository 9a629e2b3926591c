//! Does a share of all installations meet a requirement, and do the draws suffice to say so?

use super::outcome::Outcome;
use super::tally::Tally;
use crate::input::plan::{Measure, Requirement};
use crate::math::order::{Quantile, quantile};
use crate::math::proportion::{clopper_pearson, lower_limit};

/// What the draws say about a requirement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// Shown to be met.
    Met,
    /// Shown not to be met.
    NotMet,
    /// More draws are needed to tell.
    Undecided,
    /// There is nothing that it could be about (a float's travel without floats).
    NotApplicable,
}

/// A requirement held against the draws.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Verdict {
    /// The requirement.
    #[serde(skip)]
    pub requirement: Requirement,
    /// What the draws say.
    pub status: Status,
    /// Installations that meet the limit.
    pub hits: u64,
    /// All installations.
    pub draws: u64,
    /// Share that meets the limit, with its two-sided limits at the requirement's confidence (Clopper-Pearson).
    pub share: f64,
    /// Lower limit of the share.
    pub share_low: f64,
    /// Upper limit of the share.
    pub share_high: f64,
    /// The measure at the requirement's quantile, on the bad side.
    #[serde(skip)]
    pub at_quantile: Option<Quantile>,
    /// True where the perfect installation already fails.
    pub perfect_fails: bool,
}

impl Measure {
    /// Key of the requirement in the plan.
    #[must_use]
    pub fn key(self) -> &'static str {
        self.reading().key()
    }

    /// The measure's value in an outcome.
    #[must_use]
    pub fn of(self, outcome: &Outcome) -> f64 {
        self.reading().of(outcome)
    }

    /// True where more is better.
    #[must_use]
    pub fn more_is_better(self) -> bool {
        self.reading().more_is_better()
    }
}

/// How far an outcome is on the wrong side of a requirement's limit; 0 or less where it is met. NaN counts as failed.
#[must_use]
pub fn shortfall(requirement: &Requirement, outcome: &Outcome) -> f64 {
    let value = requirement.measure.of(outcome);
    let gap = if requirement.measure.more_is_better() { requirement.limit - value } else { value - requirement.limit };
    if gap.is_nan() { f64::INFINITY } else { gap }
}

impl Verdict {
    /// Holds a requirement against all outcomes of an arrangement.
    #[must_use]
    pub fn of(requirement: &Requirement, outcomes: &[Outcome], perfect: &Outcome, has_floats: bool) -> Self {
        let hits = outcomes.iter().filter(|o| shortfall(requirement, o) <= 0.0).count() as u64;
        let mut values: Vec<f64> = outcomes.iter().map(|o| requirement.measure.of(o)).collect();
        values.sort_by(f64::total_cmp);
        let at_quantile = quantile(&values, bad_side(requirement), requirement.confidence);
        Self::new(requirement, (hits, outcomes.len() as u64), at_quantile, perfect, has_floats)
    }

    /// Holds the requirement of number `i` in the plan against what was counted of an arrangement.
    #[must_use]
    pub fn of_tally(requirement: &Requirement, i: usize, tally: &Tally, perfect: &Outcome, has_floats: bool) -> Self {
        let at_quantile = tally.of(requirement.measure.reading()).quantile(bad_side(requirement), requirement.confidence);
        Self::new(requirement, (tally.hits[i], tally.draws()), at_quantile, perfect, has_floats)
    }

    fn new(
        requirement: &Requirement,
        (hits, draws): (u64, u64),
        at_quantile: Option<Quantile>,
        perfect: &Outcome,
        has_floats: bool,
    ) -> Self {
        let (share_low, share_high) = clopper_pearson(hits, draws, requirement.confidence).unwrap_or((0.0, 1.0));
        let tail = 1.0 - requirement.confidence;
        let surely_above = lower_limit(hits, draws, tail).is_some_and(|low| low >= requirement.quantile);
        let surely_below = lower_limit(draws - hits, draws, tail).is_some_and(|low| 1.0 - low < requirement.quantile);
        let status = match (requirement.measure == Measure::FloatTravel && !has_floats, surely_above, surely_below) {
            (true, _, _) => Status::NotApplicable,
            (_, true, _) => Status::Met,
            (_, _, true) => Status::NotMet,
            _ => Status::Undecided,
        };
        Self {
            requirement: *requirement,
            status,
            hits,
            draws,
            share: hits as f64 / draws as f64,
            share_low,
            share_high,
            at_quantile,
            perfect_fails: shortfall(requirement, perfect) > 0.0,
        }
    }
}

/// Where the requirement's quantile lies, counted from the least value.
fn bad_side(requirement: &Requirement) -> f64 {
    if requirement.measure.more_is_better() { 1.0 - requirement.quantile } else { requirement.quantile }
}
