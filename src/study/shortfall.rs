//! How far an installation falls short of a requirement.

use crate::evaluate::Outcome;
use crate::input::plan::{Measure, Requirement};

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
