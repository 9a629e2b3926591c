//! A block from its balls up: one rolling contact to the force, moments and stiffness of the block.

mod block;
mod hertz;

pub use block::{BallBlock, BlockState, RowPlace, Vector5};
pub use hertz::{Ellipse, ellipse_ratio, point_contact};
