//! The questions: one stated installation, many drawn ones. No printing, no files, no clock.

mod adaptive;
mod alone;
mod balance;
mod budget;
mod findings;
mod limits;
mod map;
mod monte_carlo;
mod remarks;
pub mod review;
mod shares;
mod shortfall;
mod stack;
mod tail;
mod tally;
mod trace;
mod verdict;
mod worst;

pub use adaptive::{Estimates, SEQUENCE, numerical_tolerance, settled};
pub use alone::{Alone, sources_alone};
pub use balance::{Balance, NotBalanced, balance};
pub use budget::{ArrangementBudget, BudgetEffort, BudgetResult, CostedError, NoBudget, Set, budget};
pub use findings::{Finding, stiffness_doubts};
pub use limits::{
    ArrangementLimits, Basis, Depth, DrawnSet, LimitsResult, NoSet, Pair, Reach, Rounded, ScaleLimit, SourceLimits, Usage, drawn_below,
    farthest_scale, fresh, is_set_at_installation, limits, limits_steps, met_beside_the_others, rounded_inside, scale_beside_the_others,
    unit,
};
pub use map::{ArrangementMap, Axis, CELLS as MAP_CELLS, Map, map, may_be_axis};
pub use monte_carlo::{ArrangementResult, Band, Length, StudyResult, monte_carlo};
pub use remarks::remarks;
pub use shares::{ArrangementShares, NOTHING, OUTPUTS, ShareOutput, SharesResult, SourceShares, shares};
pub use shortfall::shortfall;
pub use stack::{Stack, stack};
pub use tail::{ONE_IN, Tail, TailQuantile, tails};
pub use tally::{Counts, Tally};
pub use trace::{Trace, TracedState, trace};
pub use verdict::{Status, Verdict};
pub use worst::{Bracket, Effort, ToleranceBox, WorstCase, worst_case};
