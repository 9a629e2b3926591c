//! Eight numbers side by side, which the compiler turns into one or two instructions.

/// How many.
pub const LANES: usize = 8;

/// One number of eight installations.
pub type Lane = [f64; LANES];

/// Eight zeros.
pub const ZERO: Lane = [0.0; LANES];
