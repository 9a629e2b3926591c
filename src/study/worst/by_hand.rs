//! Maps with numbers that a person can follow, for the tests of the bounds.

use super::affine::{AffineMap, Place};
use super::tolerance_box::ToleranceBox;
use crate::draw::Draws;
use crate::geometry::Rails;
use crate::input::{ErrorKind, Plan, read_plan};

/// The demo with two errors that are one number each.
pub(super) fn plan_of_two() -> Plan {
    let mut plan = read_plan(include_str!("../../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
    plan.errors.sources.retain(|s| [ErrorKind::Span, ErrorKind::Height].contains(&s.kind));
    plan
}

/// Their box: a square from -1 to 1.
pub(super) fn square(plan: &Plan) -> ToleranceBox {
    let rails = Rails::new(plan).unwrap();
    let found = ToleranceBox::new(plan, Draws::new(plan, &rails).modes().clone());
    assert_eq!((found.scalars(), found.dimension()), (2, 2));
    found
}

/// The corners of the square.
pub(super) const CORNERS: [[f64; 2]; 4] = [[-1.0, -1.0], [-1.0, 1.0], [1.0, -1.0], [1.0, 1.0]];

/// A map without anything but its places: station and share of the distance.
pub(super) fn map(places: &[(usize, f64)]) -> AffineMap {
    AffineMap {
        columns: 2,
        places: places.iter().map(|&(station, share)| Place { station, case: 0, share }).collect(),
        loads: Vec::new(),
        load_rows: Vec::new(),
        floats: Vec::new(),
        float_rows: Vec::new(),
        joints: Vec::new(),
        joint_rows: Vec::new(),
        tool: Vec::new(),
        tool_rows: Vec::new(),
        unknown_n: Vec::new(),
        compliance: Vec::new(),
    }
}

/// A float with this travel and stiffness of its stop.
pub(super) fn float(travel: f64, k_stop: f64) -> crate::input::plan::Law {
    crate::input::plan::Law::Float { k_slide: 2000.0, drag: 15.0, travel, k_stop }
}

/// The value of a row at a point of the square.
pub(super) fn along(row: &[f64], point: &[f64]) -> f64 {
    row.iter().zip(point).map(|(r, u)| r * u).sum()
}
