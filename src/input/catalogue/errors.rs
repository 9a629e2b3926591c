//! Keys of the sources of error, from the errors' rows.

use std::sync::LazyLock;

use super::Kind::{Choice, Flag, Number, Table, Text};
use super::Need::{Default, Optional, Required};
use super::{Key, from_zero, key, signed};
use crate::errors::{ErrorKind, ErrorSpec};
use crate::input::tolerances::those_that_come_and_go;

/// Largest error, mm or mrad: rotations are small in the model, and what is built is far inside.
pub(super) const FARTHEST: f64 = 100.0;

/// Keys in the order of a plan.
pub(super) fn keys() -> &'static [Key] {
    static KEYS: LazyLock<Vec<Key>> = LazyLock::new(|| {
        let mut list = vec![key("errors", Table, Required, "Sources of error with their tolerances. One that is not named is zero.", "")];
        list.extend(tables());
        list.extend(limits("mm"));
        list.extend(limits("mrad"));
        list.extend(of_every_error());
        list
    });
    &KEYS
}

/// The pattern for keys of all errors that `of` picks, as long as the program runs.
fn path(of: impl Fn(&ErrorSpec) -> bool, key: &str) -> &'static str {
    let names: Vec<&str> = ErrorKind::ALL.iter().filter(|s| of(s)).map(|s| s.key).collect();
    format!("errors.{}{key}", names.join("|")).leak()
}

#[rustfmt::skip] // one line a key
fn tables() -> [Key; 4] {
    let of = |unit: &'static str, profile: bool| path(move |s| s.unit() == unit && s.is_profile() == profile, "");
    [
        key(of("mm", false), Table, Optional, "An error in mm: exactly one of plus_minus_mm, zone_mm, or lower_mm with upper_mm.", ""),
        key(of("mm", true), Table, Optional, "Straightness of a rail beside offset and slope: zone_mm is its peak-to-valley.", ""),
        key(of("mrad", false), Table, Optional, "An error in mrad: exactly one of plus_minus_mrad, zone_mrad, or lower_mrad with upper_mrad.", ""),
        key(of("mrad", true), Table, Optional, "Waviness of a rail's cross-level beside offset and twist: zone_mrad is its peak-to-valley.", ""),
    ]
}

/// Tolerances in one unit.
#[rustfmt::skip] // one line a key
fn limits(unit: &'static str) -> [Key; 3] {
    let [either, zone, ends] = [format!(".plus_minus_{unit}"), format!(".zone_{unit}"), format!(".lower_{unit}|upper_{unit}")];
    let profiles_too = move |s: &ErrorSpec| s.unit() == unit;
    let no_profile = move |s: &ErrorSpec| s.unit() == unit && !s.is_profile();
    let (greatest, width) = if unit == "mm" {
        ("Greatest deviation either way.", "Total width of the tolerance zone (ISO 1101). Parallelism: the drift from end to end is up to the whole width; straightness: peak-to-valley; all others: plus or minus half.")
    } else {
        ("Greatest deviation either way (mm/m).", "Total width of the tolerance zone. Twist: the drift from end to end is up to the whole width; waviness: peak-to-valley; all others: plus or minus half.")
    };
    [
        key(path(no_profile, &either), from_zero(FARTHEST), Optional, greatest, ""),
        key(path(profiles_too, &zone), from_zero(FARTHEST), Optional, width, ""),
        key(path(no_profile, &ends), signed(FARTHEST), Optional, "Limits that are not symmetrical; give both.", ""),
    ]
}

#[rustfmt::skip] // one line a key
fn of_every_error() -> [Key; 5] {
    let states = format!("\"fixed\": as installed; \"in_service\" ({} only): comes and goes, both limits for half of the distance each.", those_that_come_and_go());
    [
        key("errors.*.class", Text, Optional, "A class of a standard instead of a number; the table is entered with the span (span, height, made length) or the length of the rail (straightness, parallelism). Values were not read in the standards themselves: `railtrue check` and `railtrue classes` show each with its edition and how sure it is.", "\"ISO 12488-1 class 2\" (also \"in operation\"), \"ISO 286-1 IT10\", \"ISO 2768-mK\", \"ISO 13920-BF\"."),
        key("errors.*.distribution", Choice(&["normal", "uniform", "triangular"]), Default("normal"), "How the error spreads between its limits.", "normal for made parts, uniform for what is set by hand and left."),
        key("errors.*.capability", Number { least: 0.33, most: 10.0, above: false }, Default("1"), "Process capability Cp of a normal spread: half the tolerance over three standard deviations.", "0.67 to 1.33."),
        key("errors.*.inspected", Flag, Default("false"), "true where every part is measured and refused beyond its limits: the spread is cut there.", ""),
        key("errors.*.state", Choice(&["fixed", "in_service"]), Default("fixed"), states.leak(), ""),
    ]
}
