//! Tolerances as they are written: values, rows of a set, rails A and B in one row where they are alike.

use super::numbers::trimmed;
use crate::input::sources::{ErrorSpec, ZoneMeaning};
use crate::input::{ErrorKind, Plan, Source};
use crate::study::{LimitsResult, is_set_at_installation, unit};

/// A row of the set that holds together.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SetRow {
    /// The errors it is about: one, or an error of rail A and the same of rail B.
    pub(super) kinds: Vec<ErrorKind>,
    /// What it is.
    pub(super) label: String,
    /// mm or mrad.
    pub(super) unit: &'static str,
    /// As planned.
    pub(super) planned: String,
    /// One cell an arrangement; none where it has no set.
    pub(super) cells: Vec<Option<String>>,
}

/// Name and meaning of an error.
pub(super) fn spec(kind: ErrorKind) -> &'static ErrorSpec {
    kind.spec()
}

/// Unit in which an error is written.
pub(super) fn unit_name(kind: ErrorKind) -> &'static str {
    kind.spec().unit()
}

/// A number with at most three digits, without idle zeros.
pub(super) fn short(x: f64) -> String {
    trimmed(x, 3)
}

/// A tolerance without its unit: a plain width for profiles, plus and minus, or both limits.
pub(super) fn tolerance(source: &Source) -> String {
    let (lower, upper) = (source.lower / unit(source.kind), source.upper / unit(source.kind));
    if spec(source.kind).zone == ZoneMeaning::PeakToValley {
        short(upper)
    } else if (lower + upper).abs() <= 1e-9 * upper.abs() {
        format!("±{}", short(upper))
    } else {
        format!("{} to {}", signed(lower), signed(upper))
    }
}

fn signed(x: f64) -> String {
    if x > 0.0 { format!("+{}", short(x)) } else { short(x) }
}

/// Rows of the sets of all arrangements: those of what is set at installation, or those of what is made before.
pub(super) fn set_rows(plan: &Plan, limits: &LimitsResult, installation: bool) -> Vec<SetRow> {
    let mut rows: Vec<SetRow> = Vec::new();
    for source in plan.errors.sources.iter().filter(|s| is_set_at_installation(s) == installation) {
        let cell = |a: &crate::study::ArrangementLimits| {
            let set = a.set.as_ref().ok()?;
            set.errors.get(source.kind).map(tolerance)
        };
        let in_service = if source.in_service { ", comes and goes" } else { "" };
        let row = SetRow {
            kinds: vec![source.kind],
            label: format!("{}{in_service}", spec(source.kind).label),
            unit: unit_name(source.kind),
            planned: tolerance(source),
            cells: limits.arrangements.iter().map(cell).collect(),
        };
        match rows.last_mut().filter(|last| alike(last, &row)) {
            Some(last) => {
                last.kinds.push(source.kind);
                last.label = both_sides(&last.label);
            }
            None => rows.push(row),
        }
    }
    rows
}

/// The same error of side A and of side B, with the same values.
fn alike(a: &SetRow, b: &SetRow) -> bool {
    let other_side = |label: &str| label.replace("rail A", "rail B").replace("face A", "face B").replace("end A", "end B");
    a.label != b.label && other_side(&a.label) == b.label && a.planned == b.planned && a.cells == b.cells
}

fn both_sides(label: &str) -> String {
    label
        .replace("rail A", "each rail")
        .replace("the bridge's end face A", "each end face")
        .replace("the bridge's end A", "each end of the bridge")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::sources::Spread;

    #[test]
    fn tolerances_are_written_as_a_drawing_has_them() {
        let write =
            |kind, lower, upper| tolerance(&Source { kind, lower, upper, spread: Spread::Uniform, inspected: false, in_service: false });
        assert_eq!(write(ErrorKind::Span, -0.5, 0.5), "±0.5");
        assert_eq!(write(ErrorKind::CrossLevel(0), -0.3e-3, 0.3e-3), "±0.3");
        assert_eq!(write(ErrorKind::StraightnessLateral(1), 0.0, 0.15), "0.15");
        assert_eq!(write(ErrorKind::BridgeLength, -0.3, 0.1), "-0.3 to +0.1");
        assert_eq!(write(ErrorKind::Height, -20.0, 20.0), "±20");
    }
}
