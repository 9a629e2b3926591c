//! Constants and the few unit conversions. Inside the program: N, mm, MPa, rad;
//! everything else is converted once, where text is read or results are shown.

/// Standard gravity in m/s2 (ISO 80000-3), the same number as mm/s2 per 1000.
pub const GRAVITY_M_PER_S2: f64 = 9.80665;

/// Reference temperature of geometrical specification, ISO 1, in degrees Celsius.
pub const REFERENCE_TEMPERATURE_C: f64 = 20.0;

/// Newton per micrometre to newton per millimetre.
pub const N_PER_UM: f64 = 1.0e3;

/// Newton metre per milliradian to newton millimetre per radian.
pub const N_M_PER_MRAD: f64 = 1.0e6;

/// Newton metre to newton millimetre.
pub const N_M: f64 = 1.0e3;

/// Milliradian to radian.
pub const MRAD: f64 = 1.0e-3;

/// Rail A and bridge end A in every pair of the program.
pub const A: usize = 0;

/// Rail B and bridge end B in every pair of the program.
pub const B: usize = 1;

/// Names of the two sides, in index order.
pub const SIDES: [&str; 2] = ["a", "b"];

/// Names of the six components of a joint, in index order.
pub const COMPONENTS: [&str; 6] = ["x", "y", "z", "rx", "ry", "rz"];
