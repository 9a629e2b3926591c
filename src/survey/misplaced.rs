//! What readings cannot be, as data: why they are not of the plan's frame as they are written, and what would make them fit.

use super::consensus::AtOther;
use super::single_change::Change;
use crate::input::survey::Quantity;

/// A single change with which points would fit.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Would {
    /// The change.
    pub change: Change,
    /// Nine points in ten then lie within this of their pads' places, mm.
    pub nine_in_ten_mm: f64,
}

/// Why readings cannot be of this frame.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[serde(tag = "cannot_be", rename_all = "snake_case")]
pub enum Misplaced {
    /// No motion lays the points onto the plan's pads.
    Points {
        /// Nine points in ten lie within this of their pads' places, mm; `None` where not even the pads can be matched.
        nine_in_ten_mm: Option<f64>,
        /// Changes that would make them fit, each by itself.
        would: Vec<Would>,
        /// Distance of neighbouring points along the rails and of the rails, as the points have it, mm.
        own_mm: [Option<f64>; 2],
        /// The same by the plan, mm.
        plan_mm: [f64; 2],
    },
    /// Single points lie at other pads than they say.
    AtOtherPads(Vec<AtOther>),
    /// The instrument's z leans far from the plan's.
    Leans {
        /// Degrees.
        leans_deg: f64,
        /// Changes with which it would not.
        would: Vec<Would>,
    },
    /// Stations are in another unit.
    Stations {
        /// Largest station as read, mm.
        to_mm: f64,
        /// Largest pad of the plan, mm.
        pads_to_mm: f64,
        /// Factor that brings them to mm.
        factor: f64,
    },
    /// Readings are far too large, and in another unit would not be.
    Size {
        /// What was read.
        quantity: Quantity,
        /// Half of them are larger than this, mm or rad.
        half_over: f64,
        /// The plan's tolerance, mm or rad.
        tolerance: f64,
        /// Units that would make them fit, with the size that half of them would then be over.
        would: Vec<(Unit, f64)>,
    },
    /// The rails' distance is that of another machine.
    Span {
        /// As read, mm.
        read_mm: f64,
        /// By the plan, mm.
        plan_mm: f64,
    },
    /// A temperature that only fits the plan's seasons in degrees Fahrenheit.
    Fahrenheit {
        /// As stated, taken for degrees Celsius.
        stated: f64,
        /// The same taken for degrees Fahrenheit, in degrees Celsius.
        would_be_c: f64,
        /// The plan's frame over its seasons, degrees Celsius.
        seasons_c: [f64; 2],
    },
}

/// A unit that a column may be in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// um/m for mm/m.
    MicrometresPerMetre,
    /// Seconds of arc for mm/m.
    Arcseconds,
    /// um for mm.
    Micrometres,
}
