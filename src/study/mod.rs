//! The questions: one stated installation, many drawn ones. No printing, no files, no clock.

mod alone;
mod engine;
mod evaluate;
mod findings;
mod monte_carlo;
mod sampling;
mod service;
mod stiffness;
mod trace;
mod verdict;
mod worst;

pub use alone::{Alone, sources_alone};
pub use engine::run;
pub use evaluate::{BlockOutcome, Evaluator, Outcome, Work};
pub use findings::{Finding, stiffness_doubts};
pub use monte_carlo::{ArrangementResult, Band, StudyResult, monte_carlo};
pub use sampling::{Draws, unit_draw};
pub use service::{ServiceState, service_states};
pub use stiffness::lateral_stiffness_n_per_um;
pub use trace::{Trace, TracedState, trace};
pub use verdict::{Status, Verdict, shortfall};
pub use worst::{Bracket, Effort, ToleranceBox, WorstCase, worst_case};
