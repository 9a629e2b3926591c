//! One installation of a machine: a value of every error.

/// One installation of the machine: the value of every error (mm, rad; pairs are rail A, rail B).
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Installation {
    /// Span offset g0.
    pub span_mm: f64,
    /// Horizontal parallelism g1.
    pub parallelism_mm: f64,
    /// Height offset h0.
    pub height_mm: f64,
    /// Vertical parallelism h1.
    pub vertical_parallelism_mm: f64,
    /// Roll offset p0 of each rail.
    pub cross_level_rad: [f64; 2],
    /// Roll twist p1 of each rail.
    pub cross_level_twist_rad: [f64; 2],
    /// Residual lateral, vertical and roll profile of each rail at the anchors; empty for none.
    pub residual: [[Vec<f64>; 3]; 2],
    /// Lateral and vertical place error of each block of each truck.
    pub block_offset_mm: [Vec<[f64; 2]>; 2],
    /// Made length error of the bridge.
    pub bridge_length_mm: f64,
    /// Twist of the bridge.
    pub bridge_twist_rad: f64,
    /// Tilt of each end face.
    pub end_tilt_rad: [f64; 2],
    /// Squareness of each end.
    pub end_squareness_rad: [f64; 2],
    /// Drive positions s_A, s_B.
    pub drive_offset_mm: [f64; 2],
    /// Seat offsets of each joint at each end.
    pub seats: [Vec<[f64; 6]>; 2],
}

impl Installation {
    /// No error at all on a machine with this many blocks on each rail and joints at each end.
    #[must_use]
    pub fn without_errors(blocks: [usize; 2], joints: [usize; 2]) -> Self {
        Self { block_offset_mm: blocks.map(|n| vec![[0.0; 2]; n]), seats: joints.map(|n| vec![[0.0; 6]; n]), ..Self::default() }
    }
}
