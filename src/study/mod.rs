//! The questions: one stated installation, many drawn ones. No printing, no files, no clock.

mod adaptive;
mod alone;
mod balance;
mod batch;
mod budget;
mod engine;
mod evaluate;
mod findings;
mod installed;
mod limits;
mod linear_block;
mod linear_extremes;
mod linear_fatigue;
mod linear_groups;
mod linear_kernel;
mod linear_map;
mod linear_rows;
mod linear_seats;
mod linear_situations;
mod linear_tiles;
mod map;
mod monte_carlo;
mod numbers;
mod outcome;
mod reading;
mod remarks;
pub mod review;
mod rows;
mod sampling;
mod service;
mod shares;
mod stack;
mod stiffness;
pub mod survey;
mod tail;
mod tally;
mod trace;
mod verdict;
mod worst;

pub use adaptive::{Estimates, SEQUENCE, numerical_tolerance, settled};
pub use alone::{Alone, sources_alone};
pub use balance::{Balance, NotBalanced, balance};
pub use batch::drawn;
pub use budget::{ArrangementBudget, BudgetEffort, BudgetResult, CostedError, NoBudget, Set, budget};
pub use engine::run;
pub use evaluate::{Evaluator, Work};
pub use findings::{Finding, stiffness_doubts};
pub use limits::{
    ArrangementLimits, Basis, Depth, DrawnSet, LimitsResult, NoSet, Pair, Reach, Rounded, ScaleLimit, SourceLimits, Usage, drawn_below,
    farthest_scale, fresh, is_set_at_installation, limits, limits_steps, met_beside_the_others, rounded_inside, scale_beside_the_others,
    unit,
};
pub use map::{ArrangementMap, Axis, CELLS as MAP_CELLS, Map, map, may_be_axis};
pub use monte_carlo::{ArrangementResult, Band, Length, StudyResult, monte_carlo};
pub use outcome::{BlockOutcome, Outcome, RowsOutcome};
pub use reading::Reading;
pub use remarks::remarks;
pub use sampling::{Draws, uniform, unit_draw};
pub use service::{ServiceState, service_states};
pub use shares::{ArrangementShares, NOTHING, OUTPUTS, ShareOutput, SharesResult, SourceShares, shares};
pub use stack::{Stack, stack};
pub use stiffness::lateral_stiffness_n_per_um;
pub use tail::{ONE_IN, Tail, TailQuantile, tails};
pub use tally::{Counts, Tally};
pub use trace::{Trace, TracedState, trace};
pub use verdict::{Status, Verdict, shortfall};
pub use worst::{Bracket, Effort, ToleranceBox, WorstCase, worst_case};
