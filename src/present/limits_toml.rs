//! Tolerances as the `[errors]` of a plan, to be put into it and studied.

use std::fmt::Write as _;

use super::limits_rows::{spec, unit_name};
use crate::input::Source;
use crate::input::sources::{ErrorSources, Spread, ZoneMeaning};
use crate::study::unit;

/// The table as text.
#[must_use]
pub fn errors_table(errors: &ErrorSources) -> String {
    let mut text = String::from("[errors]\n");
    for s in &errors.sources {
        let _ = writeln!(text, "{} = {{ {}{} }}", spec(s.kind).key, limits(s), rest(s));
    }
    text
}

fn limits(s: &Source) -> String {
    let unit_name = unit_name(s.kind);
    // Angles come from rad: a digit beyond the twelfth is rounding.
    let number = |x: f64| (x / unit(s.kind) * 1e12).round() / 1e12;
    let (lower, upper) = (number(s.lower), number(s.upper));
    if spec(s.kind).zone == ZoneMeaning::PeakToValley {
        format!("zone_{unit_name} = {upper:?}")
    } else if lower == -upper {
        format!("plus_minus_{unit_name} = {upper:?}")
    } else {
        format!("lower_{unit_name} = {lower:?}, upper_{unit_name} = {upper:?}")
    }
}

fn rest(s: &Source) -> String {
    if s.in_service {
        return ", state = \"in_service\"".into();
    }
    let spread = match s.spread {
        Spread::Uniform => ", distribution = \"uniform\"".to_string(),
        Spread::Triangular => ", distribution = \"triangular\"".into(),
        Spread::Normal { capability } => format!(", capability = {capability:?}"),
    };
    format!("{spread}{}", if s.inspected { ", inspected = true" } else { "" })
}
