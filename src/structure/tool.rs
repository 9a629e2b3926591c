//! The tool point: the end of the payload's arm on the bridge.

use super::Vector24;
use super::beam::{self, axis_rows};
use crate::input::Installation;
use crate::input::plan::{Plan, Thermal};

/// Rows from the pose to displacement (mm) and yaw (rad) of the tool point of one place of the payload.
#[derive(Debug, Clone)]
pub struct ToolPoint {
    y_mm: f64,
    arm_mm: [f64; 2],
    /// Displacement in x, y, z and rotation about z.
    rows: [Vector24; 4],
}

impl ToolPoint {
    /// Tool point for a payload at `y_mm` with arm (x, z) from the bridge axis.
    #[must_use]
    pub fn new(plan: &Plan, y_mm: f64, arm_mm: [f64; 2]) -> Self {
        let axis = axis_rows(&plan.bridge, plan.frame.span_mm, y_mm);
        let rows = carry(&axis, arm_mm).map(|ends| {
            let mut row = Vector24::zeros();
            row.fixed_rows_mut::<12>(12).copy_from(&ends);
            row
        });
        Self { y_mm, arm_mm, rows }
    }

    /// What the bridge's own shape adds: displacement x, y, z and rotation about z of the unloaded bridge
    /// beside that of its ends.
    ///
    /// The ends' faces may be out of square with a straight axis, so face errors do not bend the axis; length and
    /// growth stretch it evenly, twist turns it evenly, a hotter top bows it.
    #[must_use]
    pub fn shape(&self, plan: &Plan, installation: &Installation, thermal: &Thermal) -> [f64; 4] {
        let (bridge, span) = (&plan.bridge, plan.frame.span_mm);
        let q0 = beam::stress_free(bridge, span, plan.frame.expansion_per_k, installation, thermal);
        let t = self.y_mm / span;
        let curvature = beam::gradient_curvature(bridge, thermal);
        let axis = axis_rows(bridge, span, self.y_mm);
        let mut free: [f64; 6] = std::array::from_fn(|i| -axis[i].dot(&q0));
        free[1] += q0[7] * t;
        free[2] += curvature * self.y_mm * (span - self.y_mm) / 2.0;
        free[3] += curvature * (span / 2.0 - self.y_mm);
        free[4] += q0[10] * t;
        let [x, z] = self.arm_mm;
        [free[0] + free[4] * z, free[1] + free[5] * x - free[3] * z, free[2] - free[4] * x, free[5]]
    }

    /// Row of the displacement across the rails; also the generalised force of a unit push across.
    #[must_use]
    pub fn lateral_row(&self) -> &Vector24 {
        &self.rows[1]
    }

    /// Displacement (mm) in x, y, z and yaw (rad) at a pose, the bridge's own shape left out.
    #[must_use]
    pub fn at(&self, pose: &Vector24) -> [f64; 4] {
        std::array::from_fn(|i| self.rows[i].dot(pose))
    }
}

/// u + theta x r for r = (x, 0, z), and the rotation about z.
fn carry(axis: &[beam::Ends; 6], arm_mm: [f64; 2]) -> [beam::Ends; 4] {
    let [x, z] = arm_mm;
    [axis[0] + axis[4] * z, axis[1] + axis[5] * x - axis[3] * z, axis[2] - axis[4] * x, axis[5]]
}
