//! Keys of the sources of error.

use super::Kind::{Choice, Flag, Number, Table, Text};
use super::Need::{Default, Optional, Required};
use super::{Key, from_zero, key, signed};

/// Largest error, mm or mrad: rotations are small in the model, and what is built is far inside.
pub(super) const FARTHEST: f64 = 100.0;

/// Keys in the order of a plan.
#[rustfmt::skip] // one line a key
pub(super) const KEYS: &[Key] = &[
    key("errors", Table, Required, "Sources of error with their tolerances. One that is not named is zero.", ""),
    key("errors.span|parallelism|height|vertical_parallelism|bridge_length|skew|block_lateral|block_vertical|seat", Table, Optional, "An error in mm: exactly one of plus_minus_mm, zone_mm, or lower_mm with upper_mm.", ""),
    key("errors.straightness_lateral_a|straightness_lateral_b|straightness_vertical_a|straightness_vertical_b", Table, Optional, "Straightness of a rail beside offset and slope: zone_mm is its peak-to-valley.", ""),
    key("errors.cross_level_a|cross_level_b|cross_level_twist_a|cross_level_twist_b|bridge_twist|end_tilt_a|end_tilt_b|end_squareness_a|end_squareness_b|seat_angle", Table, Optional, "An error in mrad: exactly one of plus_minus_mrad, zone_mrad, or lower_mrad with upper_mrad.", ""),
    key("errors.waviness_roll_a|waviness_roll_b", Table, Optional, "Waviness of a rail's cross-level beside offset and twist: zone_mrad is its peak-to-valley.", ""),
    key("errors.span|parallelism|height|vertical_parallelism|bridge_length|skew|block_lateral|block_vertical|seat.plus_minus_mm", from_zero(FARTHEST), Optional, "Greatest deviation either way.", ""),
    key("errors.span|parallelism|height|vertical_parallelism|bridge_length|skew|block_lateral|block_vertical|seat|straightness_lateral_a|straightness_lateral_b|straightness_vertical_a|straightness_vertical_b.zone_mm", from_zero(FARTHEST), Optional, "Total width of the tolerance zone (ISO 1101). Parallelism: the drift from end to end is up to the whole width; straightness: peak-to-valley; all others: plus or minus half.", ""),
    key("errors.span|parallelism|height|vertical_parallelism|bridge_length|skew|block_lateral|block_vertical|seat.lower_mm|upper_mm", signed(FARTHEST), Optional, "Limits that are not symmetrical; give both.", ""),
    key("errors.cross_level_a|cross_level_b|cross_level_twist_a|cross_level_twist_b|bridge_twist|end_tilt_a|end_tilt_b|end_squareness_a|end_squareness_b|seat_angle.plus_minus_mrad", from_zero(FARTHEST), Optional, "Greatest deviation either way (mm/m).", ""),
    key("errors.cross_level_a|cross_level_b|cross_level_twist_a|cross_level_twist_b|bridge_twist|end_tilt_a|end_tilt_b|end_squareness_a|end_squareness_b|seat_angle|waviness_roll_a|waviness_roll_b.zone_mrad", from_zero(FARTHEST), Optional, "Total width of the tolerance zone. Twist: the drift from end to end is up to the whole width; waviness: peak-to-valley; all others: plus or minus half.", ""),
    key("errors.cross_level_a|cross_level_b|cross_level_twist_a|cross_level_twist_b|bridge_twist|end_tilt_a|end_tilt_b|end_squareness_a|end_squareness_b|seat_angle.lower_mrad|upper_mrad", signed(FARTHEST), Optional, "Limits that are not symmetrical; give both.", ""),
    key("errors.*.class", Text, Optional, "A class of a standard instead of a number; the table is entered with the span (span, height, made length) or the length of the rail (straightness, parallelism). Values were not read in the standards themselves: `railtrue check` and `railtrue classes` show each with its edition and how sure it is.", "\"ISO 12488-1 class 2\" (also \"in operation\"), \"ISO 286-1 IT10\", \"ISO 2768-mK\", \"ISO 13920-BF\"."),
    key("errors.*.distribution", Choice(&["normal", "uniform", "triangular"]), Default("normal"), "How the error spreads between its limits.", "normal for made parts, uniform for what is set by hand and left."),
    key("errors.*.capability", Number { least: 0.33, most: 10.0, above: false }, Default("1"), "Process capability Cp of a normal spread: half the tolerance over three standard deviations.", "0.67 to 1.33."),
    key("errors.*.inspected", Flag, Default("false"), "true where every part is measured and refused beyond its limits: the spread is cut there.", ""),
    key("errors.*.state", Choice(&["fixed", "in_service"]), Default("fixed"), "\"fixed\": as installed; \"in_service\" (skew only): comes and goes, both limits for half of the distance each.", ""),
];
