//! Rails and their errors: what a rail out of line imposes on each block. No forces here.

mod imposed;
pub mod line_fit;
mod posterior_mixed;
mod profile_mixture;
mod profile_posterior;
mod rigid_motion;
mod straightness;

pub use imposed::{Imposed, RailPoint, Rails};
pub use profile_posterior::{Observation, Prior, ProfilePosterior, detrended};
pub use rigid_motion::{RigidMotion, lay_onto};
pub use straightness::ProfileModes;
