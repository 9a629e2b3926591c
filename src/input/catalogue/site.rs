//! Keys of the site: columns of survey files, and what may be corrected.

use super::Kind::{Choice, Number, Numbers, Table, Texts, Whole};
use super::Need::{Default, Optional};
use super::{Key, from_zero, key, positive};

/// Keys in the order of a plan.
#[rustfmt::skip] // one line a key
pub(super) const KEYS: &[Key] = &[
    key("survey", Table, Optional, "How survey files of this machine look.", ""),
    key("survey.columns", Texts, Optional, "Headings of survey files, as \"x = Easting\": rail, pad, station, x, y, z, lateral, vertical, cross_level, cross_level_a, cross_level_b, gauge, height, u.", ""),
    key("correction", Table, Optional, "What may be shimmed and shifted after a survey.", ""),
    key("correction.shims_mm", Numbers { least: 0.001, most: 100.0, length: 0 }, Optional, "Thicknesses in the shim box; 0.05, 0.1, 0.2, 0.5 and 1 if left out.", ""),
    key("correction.most_shims", Whole { least: 1, most: 20 }, Default("4"), "Most shims in one stack.", "3 to 5 (common practice, no source)."),
    key("correction.most_mm", positive(100.0), Default("2"), "Greatest thickness under one pad.", "Bolt length and the drive's reach limit it."),
    key("correction.slot_mm", from_zero(100.0), Default("1"), "A pad can be moved across by so much either way; 0 where it cannot.", "Slot less bolt, halved."),
    key("correction.lateral_step_mm", positive(10.0), Default("0.02"), "Finest step of a movement across.", "0.01 to 0.05 with jacking screws and a dial gauge (common practice, no source)."),
    key("correction.largest_step_mm", positive(100.0), Default("0.5"), "Largest difference of what is added at neighbouring pads: the rail must follow.", ""),
    key("correction.taper_step_mrad", from_zero(10.0), Default("0.1"), "Step of tapered or half-pad shims, mm/m.", "Shim thickness over the pad's width."),
    key("correction.taper_most_mrad", Number { least: 0.0, most: 20.0, above: false }, Default("0"), "Greatest angle of tapered or half-pad shims, mm/m; 0 where there are none.", ""),
    key("correction.fixed_pads", Texts, Optional, "Pads that cannot move, as \"a1\", \"b14\": numbered from 1 along the rails.", ""),
    key("correction.master", Choice(&["a", "b", "none"]), Default("none"), "Rail that stays where it is; the other one is set to it.", ""),
];
