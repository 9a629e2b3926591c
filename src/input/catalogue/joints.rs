//! Keys of the joints, their arrangements and how they are tightened.

use super::Kind::{Choice, Number, Numbers, Table, Tables, Text};
use super::Need::{Default, Optional, Required};
use super::{Key, from_zero, key, positive, signed};

const LAWS: &[&str] = &["elastic", "free", "float"];

/// Keys in the order of a plan.
#[rustfmt::skip] // one line a key
pub(super) const KEYS: &[Key] = &[
    key("joint", Table, Required, "Kinds of joint, each under a name of its own.", ""),
    key("joint.*", Table, Optional, "A kind of joint: its six components x, y, z, rx, ry, rz.", ""),
    key("joint.*.x|y|z", Table, Required, "A displacement of the bridge end against its truck.", "x along the rails, y across, z up."),
    key("joint.*.x|y|z.law", Choice(LAWS), Required, "\"elastic\": a spring; \"free\": no force; \"float\": slides with drag up to its stop.", ""),
    key("joint.*.x|y|z.stiffness_n_per_um", positive(1e6), Optional, "Stiffness of an elastic component.", "Bolted joint 100 to 2,000; with a stack of plates less."),
    key("joint.*.x|y|z.travel_mm", from_zero(1e4), Optional, "Way of a float to its stop, either side.", "1 to 10."),
    key("joint.*.x|y|z.drag_n", from_zero(1e7), Optional, "Greatest drag of a float.", "0.003 to 0.01 x load on rolling floats, 0.1 to 0.2 x load on sliding ones."),
    key("joint.*.x|y|z.slide_n_per_um", from_zero(1e6), Optional, "Stiffness of a float before it slides.", "1 to 50; drag over this is the way it gives before sliding."),
    key("joint.*.x|y|z.stop_n_per_um", positive(1e6), Optional, "Stiffness of a float's stop.", "As an elastic joint; 10 to 50 with a rubber stop."),
    key("joint.*.x|y|z.take_up_mm", from_zero(1e4), Default("0"), "What the slot takes up either way when the joint is tightened on the machine; 0 for dowelled or fitted joints.", "Half of hole minus bolt: about 1 for a through hole M8 in 10."),
    key("joint.*.rx|ry|rz", Table, Required, "A rotation of the bridge end against its truck.", "rx: about the rails' direction (height errors), ry: about the bridge (twist), rz: about up (parallelism, skew)."),
    key("joint.*.rx|ry|rz.law", Choice(LAWS), Required, "\"elastic\", \"free\" or \"float\".", ""),
    key("joint.*.rx|ry|rz.stiffness_n_m_per_mrad", positive(1e9), Optional, "Stiffness of an elastic component.", "100 to 10,000 for a bolted plate; 0.01 to 1 for a flexure or rod end."),
    key("joint.*.rx|ry|rz.travel_mrad", from_zero(1e4), Optional, "Way of a float to its stop, either side.", "5 to 200."),
    key("joint.*.rx|ry|rz.drag_n_m", from_zero(1e7), Optional, "Greatest drag of a float.", ""),
    key("joint.*.rx|ry|rz.slide_n_m_per_mrad", from_zero(1e9), Optional, "Stiffness of a float before it slides.", ""),
    key("joint.*.rx|ry|rz.stop_n_m_per_mrad", positive(1e9), Optional, "Stiffness of a float's stop.", ""),
    key("joint.*.rx|ry|rz.take_up_mrad", from_zero(1e4), Default("0"), "What the slots take up in rotation when the joint is tightened on the machine.", "Clearance over bolt distance: 5 to 20."),
    key("arrangement", Table, Required, "Ways to tie the bridge to its trucks, each under a name of its own; a study compares them on the same errors.", "Stiff at both ends; locating at one end and floating at the other."),
    key("arrangement.*", Table, Optional, "One arrangement.", ""),
    key("arrangement.*.end_a|end_b", Tables, Required, "Joints between the bridge's end and its truck.", "One or two an end."),
    key("arrangement.*.end_a|end_b[].joint", Text, Required, "Kind of joint.", "A name under [joint]."),
    key("arrangement.*.end_a|end_b[].x_mm", signed(1e5), Default("0"), "Place along the rail from the truck reference.", ""),
    key("arrangement.*.end_a|end_b[].y_mm", signed(1e5), Default("0"), "Place across from the rail line.", ""),
    key("arrangement.*.end_a|end_b[].z_mm", signed(1e5), Required, "Height above the truck reference.", "Between the block plane and the bridge's axis."),
    key("tightening", Table, Optional, "State of the machine when joints with slots are tightened.", "Counts only where a joint has take_up_mm or take_up_mrad."),
    key("tightening.station_mm", signed(1e6), Optional, "Where the bridge stands.", "Middle of the stroke if left out."),
    key("tightening.payload_y_mm", from_zero(1e5), Optional, "Where the slide stands along the bridge.", "Middle of the span if left out."),
    key("tightening.payload_kg", from_zero(1e6), Optional, "Payload on the slide.", "That of the first load case if left out."),
    key("tightening.payload_arm_mm", Numbers { least: -1e5, most: 1e5, length: 2 }, Optional, "Arm of slide and payload from the bridge's axis: x, z.", "That of the first load case if left out."),
    key("tightening.bridge_c", Number { least: -60.0, most: 150.0, above: false }, Optional, "Temperature of the bridge.", "The reference temperature if left out."),
    key("tightening.frame_c", Number { least: -60.0, most: 150.0, above: false }, Optional, "Temperature of the frame.", "The reference temperature if left out."),
    key("tightening.skew_mm", signed(1e3), Default("0"), "Skew of the drives, B ahead of A, while tightening.", "0: trucks square to the frame."),
];
