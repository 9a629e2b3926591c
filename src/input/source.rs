//! One source of error of a plan: between which limits it lies, how it is spread.

use crate::errors::ErrorKind;

/// How an error spreads between its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Normal about the middle; the limits stand at 3 x capability standard deviations.
    Normal {
        /// Process capability Cp.
        capability: f64,
    },
    /// Every value alike.
    Uniform,
    /// Most likely in the middle, never at the limits.
    Triangular,
}

/// One source with its limits (mm or rad).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source {
    /// Which error.
    pub kind: ErrorKind,
    /// Lower limit; 0 for a peak-to-valley.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
    /// How it spreads.
    pub spread: Spread,
    /// True where every part is measured and refused beyond its limits.
    pub inspected: bool,
    /// True where it changes in service: both limits count, each for half of the distance.
    pub in_service: bool,
}

impl Source {
    /// Middle of the limits.
    #[must_use]
    pub fn middle(&self) -> f64 {
        f64::midpoint(self.lower, self.upper)
    }

    /// Half the width between the limits.
    #[must_use]
    pub fn half_width(&self) -> f64 {
        (self.upper - self.lower) / 2.0
    }
}
