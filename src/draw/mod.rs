//! Installations drawn from the plan's tolerances: streams of random numbers, spreads, profiles, and where each number goes.

pub(crate) mod engine;
pub(crate) mod installed;
pub(crate) mod numbers;
pub(crate) mod sampling;

pub use engine::run;
pub use sampling::{Draws, uniform, unit_draw};
