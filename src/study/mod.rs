//! The questions: one stated installation, many drawn ones. No printing, no files, no clock.

mod adaptive;
mod alone;
mod engine;
mod evaluate;
mod findings;
mod limits;
mod monte_carlo;
mod sampling;
mod service;
mod stack;
mod stiffness;
mod trace;
mod verdict;
mod worst;

pub use adaptive::{Estimates, SEQUENCE, numerical_tolerance, settled};
pub use alone::{Alone, sources_alone};
pub use engine::run;
pub use evaluate::{BlockOutcome, Evaluator, Outcome, Work};
pub use findings::{Finding, stiffness_doubts};
pub use limits::{
    ArrangementLimits, Basis, Depth, DrawnSet, LimitsResult, NoSet, Pair, Reach, Rounded, ScaleLimit, SourceLimits, Usage, drawn_below,
    farthest_scale, fresh, is_set_at_installation, limits, limits_steps, rounded_inside, unit,
};
pub use monte_carlo::{ArrangementResult, Band, Length, StudyResult, monte_carlo};
pub use sampling::{Draws, uniform, unit_draw};
pub use service::{ServiceState, service_states};
pub use stack::{Stack, stack};
pub use stiffness::lateral_stiffness_n_per_um;
pub use trace::{Trace, TracedState, trace};
pub use verdict::{Status, Verdict, shortfall};
pub use worst::{Bracket, Effort, ToleranceBox, WorstCase, worst_case};
