//! Many installations at once: the machine as one affine map of an installation's numbers, run lane by lane in single precision.
//! The evaluator's twin: tests hold the two equal, and what is not on the map goes to the evaluator.

mod affine_map;
pub(crate) mod batch;
mod block_loads;
mod extremes;
mod fatigue;
mod hot_loop;
mod memory;
mod pairs;
mod rows;
mod seats;
mod situations;
mod tiles;

pub use batch::drawn;
