//! A block from its rolling elements up: one contact to the force, moments, stiffness and ratings of the block.

mod block;
mod eight;
mod element;
mod hertz;
mod ratings;
mod rolling;

pub use block::{BlockLoads, BlockState, Matrix5, RowBlock, RowLoad, RowPlace, Vector5};
pub(crate) use eight::EightLoads;
pub use element::{Contact, Element};
pub use hertz::{Ellipse, ellipse_ratio, point_contact};
pub use ratings::{GeometryRatings, geometry_ratings, stiffness_from_geometry};
pub use rolling::Rolling;

/// A contact for tests of this room: rows of ten elements in the o arrangement.
#[cfg(test)]
fn sample(element: Element) -> crate::input::plan::Contact {
    crate::input::plan::Contact {
        element,
        o: true,
        count: 10,
        diameter_mm: 4.0,
        roller_length_mm: 6.0,
        pitch_mm: 4.5,
        conformity: 0.52,
        angle_rad: 0.8,
        row_lateral_mm: 10.0,
        row_height_mm: 5.0,
        e_mpa: 206_000.0,
        nu: 0.3,
    }
}
