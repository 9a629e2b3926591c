//! The bearing block of a plan: catalogue data and, where given, the geometry of its contacts. N, mm, MPa, rad.

/// Rolling element of the block.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Element {
    /// Point contact: life exponent 3, contact exponent 3/2, Weibull slope 10/9.
    Ball,
    /// Line contact: life exponent 10/3, contact exponent 10/9, Weibull slope 9/8.
    Roller,
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
    /// Geometry of the contacts, when given.
    pub contact: Option<Contact>,
    /// Length and width of the block, when given: used only to doubt the stiffnesses.
    pub length_mm: Option<f64>,
    /// Width of the block.
    pub width_mm: Option<f64>,
    /// Load factor of ISO 14728-1 for shock and vibration.
    pub load_factor: f64,
    /// Life modification factor for reliability, ISO 281.
    pub a1: f64,
}

/// Geometry of a block's balls: four rows, two above and two below.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contact {
    /// True for the o arrangement, false for x.
    pub o: bool,
    /// Loaded balls in a row.
    pub balls: usize,
    /// Diameter of a ball.
    pub ball_mm: f64,
    /// Distance between balls.
    pub pitch_mm: f64,
    /// Groove radius over ball diameter.
    pub conformity: f64,
    /// Contact angle from the horizontal.
    pub angle_rad: f64,
    /// Half the distance between the sides' rows.
    pub row_lateral_mm: f64,
    /// Half the distance between upper and lower rows.
    pub row_height_mm: f64,
    /// Young's modulus.
    pub e_mpa: f64,
    /// Poisson's ratio.
    pub nu: f64,
}

impl Element {
    /// Exponent p of load in life (ISO 14728-1).
    #[must_use]
    pub fn life_exponent(self) -> f64 {
        match self {
            Self::Ball => 3.0,
            Self::Roller => 10.0 / 3.0,
        }
    }
}
