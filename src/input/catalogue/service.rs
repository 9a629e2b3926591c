//! Keys of the service: duty, seasons, requirements, and how the study is run.

use super::Kind::{Choice, Number, Numbers, Table, Tables, Text, Whole};
use super::Need::{Default, Optional, Required};
use super::{Key, from_zero, key, positive};

const SHARE: super::Kind = Number { least: 0.0, most: 1.0, above: false };
const OPEN_SHARE: super::Kind = Number { least: 0.5, most: 0.99999, above: false };

/// Keys in the order of a plan.
#[rustfmt::skip] // one line a key
pub(super) const KEYS: &[Key] = &[
    key("duty", Tables, Required, "Load cases: constant masses, places and accelerations, with shares of the distance.", ""),
    key("duty[].name", Text, Required, "Name of the load case.", ""),
    key("duty[].share", SHARE, Required, "Share of the distance; all add up to 1. 0 for a case that counts for the largest loads only (emergency stop).", ""),
    key("duty[].payload_kg", from_zero(1e6), Default("0"), "Payload on the slide.", ""),
    key("duty[].payload_y_mm", from_zero(1e5), Required, "Place of slide and payload along the bridge, from rail A's line.", ""),
    key("duty[].payload_arm_mm", Numbers { least: -1e5, most: 1e5, length: 2 }, Default("0"), "Arm of slide and payload from the bridge's axis: x, z. Its end is the tool point.", ""),
    key("duty[].acceleration_m_per_s2", Numbers { least: -1e3, most: 1e3, length: 3 }, Default("0"), "Acceleration in x, y, z of everything that moves.", "0.5 to 5 along x; twice that in an emergency stop."),
    key("duty[].extra", Tables, Optional, "Further masses or forces at stated points, such as a cable carrier pulling on one side.", ""),
    key("duty[].extra[].on", Choice(&["bridge", "truck_a", "truck_b"]), Required, "What it is fixed to.", ""),
    key("duty[].extra[].place_mm", Numbers { least: -1e5, most: 1e5, length: 3 }, Required, "On the bridge: arm x, place y along the bridge, arm z from its axis. On a truck: x, y, z from its reference.", ""),
    key("duty[].extra[].mass_kg", from_zero(1e6), Default("0"), "Mass.", ""),
    key("duty[].extra[].force_n", Numbers { least: -1e7, most: 1e7, length: 3 }, Default("0"), "Force in x, y, z.", ""),
    key("temperature", Table, Optional, "Reference temperature and the plan's seasons.", ""),
    key("temperature.reference_c", Number { least: -60.0, most: 150.0, above: false }, Default("20"), "Temperature at which the sizes hold.", "20 (ISO 1)."),
    key("temperature.season", Tables, Optional, "Temperatures of bridge and frame with shares of the distance.", "A winter and a summer."),
    key("temperature.season[].name", Text, Required, "Name of the season.", ""),
    key("temperature.season[].share", SHARE, Required, "Share of the distance; all add up to 1.", ""),
    key("temperature.season[].bridge_c", Number { least: -60.0, most: 150.0, above: false }, Required, "Temperature of the bridge.", ""),
    key("temperature.season[].frame_c", Number { least: -60.0, most: 150.0, above: false }, Required, "Temperature of the frame.", ""),
    key("temperature.season[].top_hotter_k", Number { least: -50.0, most: 50.0, above: false }, Default("0"), "Top of the bridge hotter than its underside by.", "1 to 3 under lamps or a sunny roof."),
    key("requirement", Table, Required, "What the machine must reach: a limit, and the share of installations that must meet it.", ""),
    key("requirement.life_km|static_safety|float_travel_used|life_loss|row_unloading|tool_displacement_mm|tool_yaw_mrad|joint_force_n", Table, Optional, "One requirement.", "life_km must be given; static_safety 3 and float_travel_used 1 are assumed (common practice, no source)."),
    key("requirement.life_km|static_safety.least", positive(1e12), Required, "Least allowed value.", "Static safety: 2 at rest and smooth, 3 to 5 with shocks (common practice, no source)."),
    key("requirement.float_travel_used|life_loss|row_unloading|tool_displacement_mm|tool_yaw_mrad|joint_force_n.most", positive(1e12), Required, "Greatest allowed value.", "float_travel_used and row_unloading as shares: 1 is the stop, and the load at which a row of balls unloads."),
    key("requirement.life_km|static_safety|float_travel_used|life_loss|row_unloading|tool_displacement_mm|tool_yaw_mrad|joint_force_n.quantile", OPEN_SHARE, Default("0.95"), "Share of installations that must meet it.", "0.95; 0.99 where a failure costs more."),
    key("requirement.life_km|static_safety|float_travel_used|life_loss|row_unloading|tool_displacement_mm|tool_yaw_mrad|joint_force_n.confidence", OPEN_SHARE, Default("0.95"), "Confidence with which the draws must show it.", "0.95."),
    key("study", Table, Optional, "How the Monte Carlo study is run.", ""),
    key("study.draws", Whole { least: 100, most: 100_000_000 }, Default("10000"), "Number of drawn installations.", "10,000; 100,000 for the last digits."),
    key("study.digits", Whole { least: 1, most: 3 }, Optional, "Draw until life and largest block load of the chosen arrangement have so many significant digits of their standard uncertainty settled (JCGM 101, 7.9); draws is then the most.", "1 or 2, with draws = 1000000."),
    key("study.seed", Whole { least: 0, most: i64::MAX }, Default("1"), "Seed of the random streams: same seed, same draws.", ""),
    key("study.drag", Choice(&["both_signs", "law"]), Default("both_signs"), "Drag of a float in service: fully against the bridge in both directions in equal shares, or growing with the way slid (the law as it stands).", "both_signs"),
];
