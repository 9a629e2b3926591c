//! Which errors there are; what is known of each is its row of the table.

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
