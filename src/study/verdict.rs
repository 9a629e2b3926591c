//! Does a share of all installations meet a requirement, and do the draws suffice to say so?

use super::shortfall::shortfall;
use super::tally::Tally;
use crate::evaluate::Outcome;
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

#[cfg(test)]
mod tests {
    use super::*;

    fn outcomes(good: usize, bad: usize) -> Vec<Outcome> {
        let of = |life_km: f64| Outcome { life_km, static_safety: 2.0, ..Outcome::start() };
        (0..good).map(|i| of(200.0 + i as f64)).chain((0..bad).map(|i| of(99.0 - i as f64))).collect()
    }

    const LIFE: Requirement = Requirement { measure: Measure::Life, limit: 100.0, quantile: 0.95, confidence: 0.95 };

    fn status(good: usize, bad: usize) -> Status {
        Verdict::of(&LIFE, &outcomes(good, bad), &Outcome { life_km: 300.0, ..Outcome::start() }, true).status
    }

    /// Wilks: 59 draws without a failure show 95 in 100 with 95 % confidence, 93 with one, 124 with two; fewer do not.
    #[test]
    fn ref_wilks_counts_decide() {
        assert_eq!([status(59, 0), status(92, 1), status(122, 2)], [Status::Met; 3]);
        assert_eq!([status(58, 0), status(91, 1), status(121, 2)], [Status::Undecided; 3]);
        // The other way round: P(at most 16 hits of 20 | 0.95) = 0.0159, of 17 0.0755 (binomial tables).
        assert_eq!([status(17, 3), status(16, 4)], [Status::Undecided, Status::NotMet]);
    }

    #[test]
    fn check_what_a_verdict_counts() {
        let perfect = Outcome { life_km: 99.0, ..Outcome::start() };
        let v = Verdict::of(&LIFE, &outcomes(19, 1), &perfect, false);
        assert_eq!((v.hits, v.draws, v.share, v.perfect_fails), (19, 20, 0.95, true));
        // Clopper-Pearson for 19 of 20: 0.7513 and 0.9987 (published tables, from memory).
        assert!((v.share_low - 0.7513).abs() < 1e-4 && (v.share_high - 0.99873).abs() < 1e-5);
        // The twentieth part from below is the one that fails.
        assert_eq!(v.at_quantile.map(|q| q.value), Some(99.0));
        let travel = Requirement { measure: Measure::FloatTravel, limit: 1.0, ..LIFE };
        assert_eq!(Verdict::of(&travel, &outcomes(20, 0), &perfect, false).status, Status::NotApplicable);
        assert_eq!(Verdict::of(&travel, &outcomes(80, 0), &perfect, true).status, Status::Met);
        let at_limit = Outcome { life_km: 100.0, ..Outcome::start() };
        assert!(!Verdict::of(&LIFE, &[at_limit; 3], &at_limit, true).perfect_fails);
        assert_eq!(Verdict::of(&LIFE, &[at_limit; 3], &at_limit, true).hits, 3);
    }

    #[test]
    fn check_shortfall_counts_from_the_good_side_and_nan_fails() {
        let mut o = Outcome { life_km: 90.0, ..Outcome::start() };
        assert_eq!(shortfall(&LIFE, &o), 10.0);
        o.life_km = f64::NAN;
        assert_eq!(shortfall(&LIFE, &o), f64::INFINITY);
        for (i, measure) in [
            Measure::Life,
            Measure::StaticSafety,
            Measure::FloatTravel,
            Measure::LifeLoss,
            Measure::RowUnloading,
            Measure::ToolDisplacement,
            Measure::ToolYaw,
            Measure::JointForce,
        ]
        .into_iter()
        .enumerate()
        {
            let mut o = Outcome::start();
            let member = [
                &mut o.life_km,
                &mut o.static_safety,
                &mut o.float_travel_used,
                &mut o.life_loss,
                &mut o.row_unloading,
                &mut o.tool_displacement_mm,
                &mut o.tool_yaw_mrad,
                &mut o.joint_force_n,
            ]
            .into_iter()
            .nth(i)
            .unwrap();
            *member = 7.0;
            let requirement = Requirement { measure, limit: 5.0, ..LIFE };
            assert_eq!(shortfall(&requirement, &o), if i < 2 { -2.0 } else { 2.0 }, "{}", measure.key());
            assert_eq!(measure.more_is_better(), i < 2);
        }
    }
}
