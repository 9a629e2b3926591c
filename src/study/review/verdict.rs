//! What a review comes to: an order of verdicts, and what is counted against it.

use std::cmp::Reverse;

use super::adjust::Adjustment;
use super::assign::{Assignment, Control, Misfit};
use crate::input::{ErrorKind, Plan};

/// Verdicts from the worst to the best.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// Errors are controlled by nothing: whatever the draws say, nothing is shown.
    NotControlled,
    /// The requirements are not shown to be met.
    NotMet,
    /// They are met, but the table contradicts itself or the plan, or nobody is named to measure what is set.
    Open,
    /// They are met if what is assumed is true.
    OnAssumptions,
    /// They are met.
    Met,
}

/// A verdict with its counts.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct ReviewVerdict {
    /// How good it is.
    pub level: Level,
    /// The draws show every requirement to be met.
    pub requirements_met: bool,
    /// Errors that nothing controls.
    #[serde(skip)]
    pub not_controlled: Vec<ErrorKind>,
    /// Errors of which two rows say different things.
    pub contradictions: usize,
    /// Rows with another temperature than the plan's; 1 where no row names one.
    pub temperature: usize,
    /// Errors that are set at installation.
    pub set: usize,
    /// Those of them that nobody is named to measure.
    pub not_measured: usize,
    /// Values that the plan assumes.
    pub assumed_values: usize,
    /// What the pads can do is assumed, not stated in the plan.
    pub assumed_shims: bool,
    /// Errors that another document controls.
    pub elsewhere: usize,
}

impl ReviewVerdict {
    /// True where the drawing may be signed: met, on what is assumed at the most.
    #[must_use]
    pub fn within(&self) -> bool {
        self.level >= Level::OnAssumptions
    }

    /// For comparing two verdicts: greater is better.
    #[must_use]
    pub fn rank(&self) -> (Level, Reverse<usize>) {
        (self.level, Reverse(self.not_controlled.len()))
    }
}

/// The verdict on an assignment whose requirements are shown to be met or not.
#[must_use]
pub fn verdict(plan: &Plan, assignment: &Assignment, requirements_met: bool) -> ReviewVerdict {
    let count = |of: fn(&Misfit) -> bool| assignment.misfits.iter().filter(|m| of(m)).count();
    let set: Vec<Option<usize>> = (assignment.sources.iter())
        .filter_map(|s| if let Some(Adjustment::Set { measured_by, .. }) = s.adjustment { Some(measured_by) } else { None })
        .collect();
    let not_controlled: Vec<ErrorKind> = assignment.sources.iter().filter(|s| s.control == Control::Nothing).map(|s| s.kind).collect();
    let contradictions = count(|m| matches!(m, Misfit::Contradiction { .. }));
    let temperature = count(|m| matches!(m, Misfit::OtherTemperature { .. } | Misfit::NoTemperature));
    let not_measured = set.iter().filter(|m| m.is_none()).count();
    let assumed_shims = !set.is_empty() && !plan.site.correction.stated;
    let level = if !not_controlled.is_empty() {
        Level::NotControlled
    } else if !requirements_met {
        Level::NotMet
    } else if contradictions + temperature + not_measured > 0 {
        Level::Open
    } else if assumed_shims || !plan.assumed.is_empty() {
        Level::OnAssumptions
    } else {
        Level::Met
    };
    ReviewVerdict {
        level,
        requirements_met,
        not_controlled,
        contradictions,
        temperature,
        set: set.len(),
        not_measured,
        assumed_values: plan.assumed_values(),
        assumed_shims,
        elsewhere: assignment.sources.iter().filter(|s| matches!(s.control, Control::Elsewhere(_))).count(),
    }
}
