//! Rails and their errors: what a rail out of line imposes on each block. No forces here.

mod imposed;
mod straightness;

pub use imposed::{Imposed, RailPoint, Rails};
pub use straightness::ProfileModes;
