//! Joints, beam, trucks: the machine's elastic model and its equilibrium. No life here.

mod arrow;
mod assembly;
mod beam;
mod contacts;
mod eight;
mod eight_arrows;
mod eight_blocks;
mod elements;
mod equilibrium;
mod floats;
mod kinematics;
mod laws;
mod loads;
mod mechanism;
mod respond;
mod settle;
mod state;
mod tightening;
mod tool;
mod wind_up;

pub use assembly::Machine;
pub use eight::Eight;
pub use equilibrium::NotConverged;
pub use floats::{FloatMap, FloatWork};
pub use laws::{Drag, float_force};
pub use mechanism::Mechanism;
pub use respond::{JointState, Response, Situation};
pub use settle::{Acting, Carried, Settling};
pub use tightening::{TakenUp, Tightener};
pub use tool::ToolPoint;

use nalgebra::{SMatrix, SVector};

/// Degrees of freedom: truck A, truck B, bridge end A, bridge end B, each ux uy uz rx ry rz.
pub const DOF: usize = 24;

/// A pose, a load or a row of the model (mm, rad, N, N mm).
pub type Vector24 = SVector<f64, DOF>;

/// A stiffness or its inverse.
pub type Matrix24 = SMatrix<f64, DOF, DOF>;
