//! The questions: one stated installation, many drawn ones. No printing, no files, no clock.

mod adaptive;
mod alone;
mod batch;
mod engine;
mod evaluate;
mod findings;
mod linear_kernel;
mod linear_map;
mod monte_carlo;
mod outcome;
mod rows;
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
pub use evaluate::{Evaluator, Work};
pub use findings::{Finding, stiffness_doubts};
pub use monte_carlo::{ArrangementResult, Band, Length, StudyResult, monte_carlo};
pub use outcome::{BlockOutcome, Outcome, RowsOutcome};
pub use sampling::{Draws, uniform, unit_draw};
pub use service::{ServiceState, service_states};
pub use stack::{Stack, stack};
pub use stiffness::lateral_stiffness_n_per_um;
pub use trace::{Trace, TracedState, trace};
pub use verdict::{Status, Verdict, shortfall};
pub use worst::{Bracket, Effort, ToleranceBox, WorstCase, worst_case};
