//! Sources of error: what may be wrong, between which limits, how it is spread.

use super::classes::Classed;
use super::cost::ErrorCost;

/// A scalar error of the model page, or a family of alike ones.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[allow(missing_docs, reason = "each is described where its name and unit stand, in `ErrorKind::ALL`")]
pub enum ErrorKind {
    Span,
    Parallelism,
    Height,
    VerticalParallelism,
    CrossLevel(usize),
    CrossLevelTwist(usize),
    StraightnessLateral(usize),
    StraightnessVertical(usize),
    StraightnessRoll(usize),
    BlockLateral,
    BlockVertical,
    BridgeLength,
    BridgeTwist,
    EndTilt(usize),
    EndSquareness(usize),
    Skew,
    Seat,
    SeatAngle,
}

/// What the total width of a tolerance zone (ISO 1101) means for an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ZoneMeaning {
    /// The zone lies symmetrically about the nominal: plus or minus half its width.
    AboutNominal,
    /// The zone may lie anywhere: the drift from end to end is up to its whole width either way.
    EndToEnd,
    /// The width is the profile's largest peak-to-valley, from 0.
    PeakToValley,
}

/// Name, unit and meaning of an error, once for plan, tables and files.
#[derive(Debug, Clone, Copy)]
pub struct ErrorSpec {
    /// Which error.
    pub kind: ErrorKind,
    /// Key in the plan's `[errors]`.
    pub key: &'static str,
    /// What it is, in a few words.
    pub label: &'static str,
    /// True for mrad, false for mm.
    pub angle: bool,
    /// What a zone width means.
    pub zone: ZoneMeaning,
    /// Its sign, and how it is counted.
    pub sign: &'static str,
}

const fn spec(kind: ErrorKind, key: &'static str, label: &'static str, angle: bool, zone: ZoneMeaning, sign: &'static str) -> ErrorSpec {
    ErrorSpec { kind, key, label, angle, zone, sign }
}

impl ErrorKind {
    /// Every error, in the order in which it is drawn.
    #[rustfmt::skip] // one line an error
    pub const ALL: [ErrorSpec; 25] = {
        use ErrorKind::*;
        use ZoneMeaning::{AboutNominal, EndToEnd, PeakToValley};
        [
            spec(Span, "span", "span offset", false, AboutNominal, "+: rail B lies further from A than the span, all along"),
            spec(Parallelism, "parallelism", "horizontal parallelism, end to end", false, EndToEnd, "+: the rails open by this much from the first to the last anchor"),
            spec(Height, "height", "height of rail B over rail A", false, AboutNominal, "+: rail B lies higher, all along"),
            spec(VerticalParallelism, "vertical_parallelism", "vertical parallelism, end to end", false, EndToEnd, "+: rail B rises against A by this much from the first to the last anchor"),
            spec(CrossLevel(0), "cross_level_a", "cross-level of rail A", true, AboutNominal, "roll of the rail's seat about x against gravity; +: its rail-B side is higher"),
            spec(CrossLevel(1), "cross_level_b", "cross-level of rail B", true, AboutNominal, "roll of the rail's seat about x against gravity; +: its outer side is higher"),
            spec(CrossLevelTwist(0), "cross_level_twist_a", "twist of rail A, end to end", true, EndToEnd, "drift of its cross-level from the first to the last anchor"),
            spec(CrossLevelTwist(1), "cross_level_twist_b", "twist of rail B, end to end", true, EndToEnd, "drift of its cross-level from the first to the last anchor"),
            spec(StraightnessLateral(0), "straightness_lateral_a", "lateral straightness of rail A", false, PeakToValley, "peak-to-valley across, beside offset and slope"),
            spec(StraightnessLateral(1), "straightness_lateral_b", "lateral straightness of rail B", false, PeakToValley, "peak-to-valley across, beside offset and slope"),
            spec(StraightnessVertical(0), "straightness_vertical_a", "vertical straightness of rail A", false, PeakToValley, "peak-to-valley in height, beside offset and slope"),
            spec(StraightnessVertical(1), "straightness_vertical_b", "vertical straightness of rail B", false, PeakToValley, "peak-to-valley in height, beside offset and slope"),
            spec(StraightnessRoll(0), "waviness_roll_a", "cross-level waviness of rail A", true, PeakToValley, "peak-to-valley of its cross-level, beside offset and twist"),
            spec(StraightnessRoll(1), "waviness_roll_b", "cross-level waviness of rail B", true, PeakToValley, "peak-to-valley of its cross-level, beside offset and twist"),
            spec(BlockLateral, "block_lateral", "lateral place of each block in its truck", false, AboutNominal, "each block for itself"),
            spec(BlockVertical, "block_vertical", "height of each block in its truck", false, AboutNominal, "each block for itself; +: it stands taller and lifts the truck"),
            spec(BridgeLength, "bridge_length", "made length of the bridge", false, AboutNominal, "+: the bridge is longer than the span between its joints"),
            spec(BridgeTwist, "bridge_twist", "twist of the bridge, end B against A", true, AboutNominal, "rotation about the bridge's own axis (y)"),
            spec(EndTilt(0), "end_tilt_a", "tilt of the bridge's end face A", true, AboutNominal, "rotation of the face about x, out of level"),
            spec(EndTilt(1), "end_tilt_b", "tilt of the bridge's end face B", true, AboutNominal, "rotation of the face about x, out of level"),
            spec(EndSquareness(0), "end_squareness_a", "squareness of the bridge's end A", true, AboutNominal, "rotation of the face about z, out of square with the bridge"),
            spec(EndSquareness(1), "end_squareness_b", "squareness of the bridge's end B", true, AboutNominal, "rotation of the face about z, out of square with the bridge"),
            spec(Skew, "skew", "skew of the drives, B ahead of A", false, AboutNominal, "homing, belt pitch or play; measured against the square of the frame"),
            spec(Seat, "seat", "each joint seat in x, y and z", false, AboutNominal, "each joint and direction for itself"),
            spec(SeatAngle, "seat_angle", "each joint seat in rx, ry and rz", true, AboutNominal, "each joint and rotation for itself"),
        ]
    };
}

impl ErrorKind {
    /// Rail and direction (lateral, vertical, roll) of an error that is a profile along a rail.
    #[must_use]
    pub fn profile(self) -> Option<(usize, usize)> {
        match self {
            Self::StraightnessLateral(rail) => Some((rail, 0)),
            Self::StraightnessVertical(rail) => Some((rail, 1)),
            Self::StraightnessRoll(rail) => Some((rail, 2)),
            _ => None,
        }
    }
}

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

/// All sources of a plan, in the order in which they are drawn.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ErrorSources {
    /// The sources; an error that is not named is zero.
    pub sources: Vec<Source>,
    /// Those whose limits came from a class of a standard.
    pub classes: Vec<Classed>,
    /// What they cost, where the plan tells.
    pub costs: Vec<ErrorCost>,
}

impl ErrorSources {
    /// The source of an error, if the plan names it.
    #[must_use]
    pub fn get(&self, kind: ErrorKind) -> Option<&Source> {
        self.sources.iter().find(|s| s.kind == kind)
    }
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
