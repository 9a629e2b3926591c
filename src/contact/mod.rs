//! A block from its rolling elements up: one contact to the force, moments, stiffness and ratings of the block.

mod block;
mod element;
mod hertz;
mod ratings;
mod rolling;

pub use block::{BlockState, Matrix5, RowBlock, RowLoad, RowPlace, Vector5};
pub use element::{Contact, Element};
pub use hertz::{Ellipse, ellipse_ratio, point_contact};
pub use ratings::{GeometryRatings, geometry_ratings, stiffness_from_geometry};
pub use rolling::Rolling;
