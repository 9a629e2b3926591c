//! The rolling element and the geometry of its rows: what a contact-level block is made from. N, mm, MPa, rad.

/// Rolling element of the block.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Element {
    /// Point contact: life exponent 3, contact exponent 3/2, Weibull slope 10/9.
    Ball,
    /// Line contact: life exponent 10/3, contact exponent 10/9, Weibull slope 9/8.
    Roller,
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

    /// Exponent of the contact's force over its approach: 3/2 for points (Hertz), 10/9 for lines.
    #[must_use]
    pub fn contact_exponent(self) -> f64 {
        match self {
            Self::Ball => 1.5,
            Self::Roller => 10.0 / 9.0,
        }
    }

    /// Approach (mm) to the power of the contact exponent less 1: a square root, or a ninth.
    #[must_use]
    #[inline(always)]
    pub fn root(self, approach_mm: f64) -> f64 {
        match self {
            Self::Ball => approach_mm.sqrt(),
            Self::Roller => approach_mm.powf(1.0 / 9.0),
        }
    }

    /// Weibull slope of rolling fatigue: 10/9 for balls, 9/8 for rollers (Lundberg and Palmgren; from memory).
    #[must_use]
    pub fn weibull_slope(self) -> f64 {
        match self {
            Self::Ball => 10.0 / 9.0,
            Self::Roller => 9.0 / 8.0,
        }
    }

    /// Load to the power of the life exponent.
    #[must_use]
    pub fn fatigue(self, load_n: f64) -> f64 {
        match self {
            Self::Ball => load_n * load_n * load_n,
            Self::Roller => load_n.powf(self.life_exponent()),
        }
    }
}

/// Geometry of a block's rolling elements: four rows, two above and two below.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contact {
    /// Ball or roller.
    pub element: Element,
    /// True for the o arrangement, false for x.
    pub o: bool,
    /// Loaded elements in a row.
    pub count: usize,
    /// Diameter of a ball or roller.
    pub diameter_mm: f64,
    /// Effective length of a roller; not used for balls.
    pub roller_length_mm: f64,
    /// Distance between neighbours.
    pub pitch_mm: f64,
    /// Groove radius over ball diameter; not used for rollers.
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

impl Contact {
    /// Load of each element of the two pressed rows under a load straight down: load / (2 Z sin alpha), N.
    #[must_use]
    pub fn share_n(&self, load_n: f64) -> f64 {
        load_n / (2.0 * self.count as f64 * self.angle_rad.sin())
    }
}
