//! How far the tool point gives under a push across the rails.

use crate::structure::{Drag, FloatMap, Machine, ToolPoint};

/// Lateral stiffness (N/um) at the tool point of the first load case with the payload at mid-span: with floats at
/// rest, and with every float sliding (`None` where only the floats hold the machine).
#[must_use]
pub fn lateral_stiffness_n_per_um(machine: &Machine<'_>) -> (Option<f64>, Option<f64>) {
    let plan = machine.plan;
    let arm = plan.duty.first().map_or([0.0; 2], |c| c.payload_arm_mm);
    let tool = ToolPoint::new(plan, plan.frame.span_mm / 2.0, arm);
    let of = |drag| {
        let map = FloatMap::new(machine, drag)?;
        let push = tool.lateral_row();
        Some(1e-3 / push.dot(&map.linear_pose(push)))
    };
    (of(Drag::Law), of(Drag::Plus))
}
