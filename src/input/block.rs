//! The bearing block of a plan: catalogue data and, where given, the geometry of its contacts. N, mm, MPa, rad.

pub use crate::contact::{Contact, Element};

/// How a block answers to displacement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Level {
    /// Five springs.
    Linear,
    /// Four rows of rolling elements.
    Contact,
}

/// Catalogue data of the block. Ratios of ratings stay on the catalogue's own basis.
#[derive(Debug, Clone)]
pub struct Block {
    /// Ball or roller.
    pub element: Element,
    /// Dynamic rating on the 100 km basis.
    pub c_n: f64,
    /// Static rating.
    pub c0_n: f64,
    /// C over the dynamic rating across the rail, and down: [lateral, vertical].
    pub c_over_direction: [f64; 2],
    /// C over the dynamic moment ratings, per mm: [roll, pitch, yaw].
    pub c_over_moment_per_mm: [f64; 3],
    /// The same two for the static ratings.
    pub c0_over_direction: [f64; 2],
    /// C0 over the static moment ratings, per mm.
    pub c0_over_moment_per_mm: [f64; 3],
    /// Stiffness in y, z (N/mm), roll, pitch, yaw (N mm/rad).
    pub stiffness: [f64; 5],
    /// Preload force of one opposed pair of rows.
    pub preload_n: f64,
    /// How it answers to displacement in studies.
    pub level: Level,
    /// Geometry of the contacts, when given; always at the contact level.
    pub contact: Option<Contact>,
    /// Keys that the plan leaves out and the geometry of the contacts gives.
    pub from_geometry: Vec<&'static str>,
    /// Length and width of the block, when given: used only to doubt the stiffnesses.
    pub length_mm: Option<f64>,
    /// Width of the block.
    pub width_mm: Option<f64>,
    /// Load factor of ISO 14728-1 for shock and vibration.
    pub load_factor: f64,
    /// Life modification factor for reliability, ISO 281.
    pub a1: f64,
}
