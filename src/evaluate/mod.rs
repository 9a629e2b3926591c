//! One installation over stroke, duty and service: its outcome. The condensed evaluator, equal to the full search of
//! [`crate::structure`] (`study::balance` and tests hold the two together).

pub(crate) mod evaluator;
mod keepsake;
pub(crate) mod outcome;
pub(crate) mod reading;
mod row_lives;
pub(crate) mod service;
mod stiffness;

pub use evaluator::{Evaluator, Work};
pub use outcome::{BlockOutcome, Outcome, RowsOutcome};
pub use reading::Reading;
pub use service::{ServiceState, service_states};
pub use stiffness::lateral_stiffness_n_per_um;
