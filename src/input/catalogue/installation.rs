//! Keys of a stated installation: every error with its value.

use super::Kind::{Number, Numbers, Table, Tables, Whole};
use super::Need::{Default, Optional, Required};
use super::errors::FARTHEST;
use super::{Key, key, signed};

const PROFILE: super::Kind = Numbers { least: -FARTHEST, most: FARTHEST, length: 0 };
const ONE_A_BLOCK: &str = "One a block, in the order of [truck].";
const ONE_AN_ANCHOR: &str = "One an anchor, beside offset, slope and twist.";

/// Keys in the order of a file.
#[rustfmt::skip] // one line a key
pub(super) const KEYS: &[Key] = &[
    key("span_mm|parallelism_mm|height_mm|vertical_parallelism_mm|bridge_length_mm", signed(FARTHEST), Default("0"), "Error of that name in the plan.", ""),
    key("cross_level_a_mrad|cross_level_b_mrad|cross_level_twist_a_mrad|cross_level_twist_b_mrad|bridge_twist_mrad|end_tilt_a_mrad|end_tilt_b_mrad|end_squareness_a_mrad|end_squareness_b_mrad", signed(FARTHEST), Default("0"), "Error of that name in the plan.", ""),
    key("skew_a_mm|skew_b_mm", signed(FARTHEST), Default("0"), "Position of one drive ahead of the common one; their difference is the skew.", ""),
    key("lateral_a_mm|lateral_b_mm|vertical_a_mm|vertical_b_mm", PROFILE, Optional, "Straightness profile of one rail.", ONE_AN_ANCHOR),
    key("roll_a_mrad|roll_b_mrad", PROFILE, Optional, "Cross-level profile of one rail.", ONE_AN_ANCHOR),
    key("block_lateral_a_mm|block_lateral_b_mm|block_vertical_a_mm|block_vertical_b_mm", PROFILE, Optional, "Place errors of the blocks in one truck.", ONE_A_BLOCK),
    key("seat", Tables, Optional, "Errors of joint seats.", ""),
    key("seat[].end", super::Kind::Choice(&["a", "b"]), Required, "End of the bridge.", ""),
    key("seat[].number", Whole { least: 1, most: 1000 }, Required, "Number of the joint at its end, from 1.", ""),
    key("seat[].offset_mm", Numbers { least: -FARTHEST, most: FARTHEST, length: 3 }, Default("0"), "Offset in x, y, z.", ""),
    key("seat[].angle_mrad", Numbers { least: -FARTHEST, most: FARTHEST, length: 3 }, Default("0"), "Offset in rx, ry, rz.", ""),
    key("service", Table, Optional, "The one state of service that is wanted: exactly these temperatures, no shaft wind-up, no skew that comes and goes. Left out: the plan's own states.", ""),
    key("service.bridge_dt_k", Number { least: -100.0, most: 200.0, above: false }, Default("0"), "Bridge warmer than the reference by.", ""),
    key("service.frame_dt_k", Number { least: -100.0, most: 200.0, above: false }, Default("0"), "Frame warmer than the reference by.", ""),
    key("service.top_hotter_k", Number { least: -50.0, most: 50.0, above: false }, Default("0"), "Top of the bridge hotter than its underside by.", ""),
];
