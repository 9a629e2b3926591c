//! The machine's elements as rows and stiffnesses: blocks on their rails, joint components, drives.

use super::kinematics::{block_rows, drive_row, joint_rows, truck};
use super::{Matrix24, Vector24};
use crate::contact::{Matrix5, stiffness_from_geometry};
use crate::input::plan::{BlockPlace, Component, DriveKind, Law, Level, Plan};

/// A block on its rail: five rows with stiffnesses (block and support in series).
#[derive(Debug, Clone)]
pub(super) struct BlockElement {
    pub(super) side: usize,
    pub(super) place: BlockPlace,
    pub(super) rows: [Vector24; 5],
    pub(super) stiffness: [f64; 5],
    /// Rail bed and frame under the block in y, z, roll; none where they are rigid.
    pub(super) support: Option<[f64; 3]>,
}

impl BlockElement {
    /// What the truck exerts on the block at a pose: stiffness times (truck less rail).
    pub(super) fn load(&self, pose: &Vector24, imposed: &[f64; 5]) -> [f64; 5] {
        let motion = self.motion(pose);
        std::array::from_fn(|i| self.stiffness[i] * (motion[i] - imposed[i]))
    }

    /// Motion of the truck at the block: y, z, roll, pitch, yaw.
    pub(super) fn motion(&self, pose: &Vector24) -> [f64; 5] {
        let t = truck(self.side);
        let (x, b) = (self.place.x_mm, self.place.lateral_mm);
        let (rx, ry, rz) = (pose[t + 3], pose[t + 4], pose[t + 5]);
        [pose[t + 1] + rz * x, pose[t + 2] + rx * b - ry * x, rx, ry, rz]
    }

    /// Adds forces on the block's five motions to a generalised force.
    pub(super) fn add_force(&self, f: &mut Vector24, force: [f64; 5]) {
        let t = truck(self.side);
        let (x, b) = (self.place.x_mm, self.place.lateral_mm);
        let [y, z, roll, pitch, yaw] = force;
        f[t + 1] += y;
        f[t + 2] += z;
        f[t + 3] += roll + z * b;
        f[t + 4] += pitch - z * x;
        f[t + 5] += yaw + y * x;
    }

    /// Adds a stiffness on the block's five motions to a generalised stiffness.
    pub(super) fn add_stiffness(&self, k: &mut Matrix24, tangent: &Matrix5) {
        let (x, b) = (self.place.x_mm, self.place.lateral_mm);
        // G' T G with the motions' rows G = 1 + the block's arms: y takes x rz, z takes b rx and -x ry.
        let mut t = *tangent;
        for i in 0..5 {
            t[(i, 4)] += x * t[(i, 0)];
            t[(i, 2)] += b * t[(i, 1)];
            t[(i, 3)] -= x * t[(i, 1)];
        }
        for i in 0..5 {
            t[(4, i)] += x * t[(0, i)];
            t[(2, i)] += b * t[(1, i)];
            t[(3, i)] -= x * t[(1, i)];
        }
        let first = truck(self.side) + 1;
        let mut corner = k.fixed_view_mut::<5, 5>(first, first);
        corner += t;
    }

    /// Adds the generalised force by which the rail acts through the block's springs.
    pub(super) fn add_rail_force(&self, f: &mut Vector24, imposed: &[f64; 5]) {
        self.add_force(f, std::array::from_fn(|i| self.stiffness[i] * imposed[i]));
    }
}

/// One component of a joint that is not free.
#[derive(Debug, Clone)]
pub(super) struct JointElement {
    pub(super) end: usize,
    pub(super) number: usize,
    pub(super) axis: usize,
    pub(super) row: Vector24,
    pub(super) component: Component,
}

impl JointElement {
    /// True for a spring along x, y or z.
    pub(super) fn is_straight_spring(&self) -> bool {
        self.axis < 3 && matches!(self.component.law, Law::Elastic { .. })
    }
}

/// A driven truck.
#[derive(Debug, Clone)]
pub(super) struct DriveElement {
    pub(super) side: usize,
    pub(super) row: Vector24,
    pub(super) stiffness: f64,
}

/// At the contact level the stiffnesses are those at rest.
pub(super) fn block_elements(plan: &Plan) -> Vec<BlockElement> {
    let series = |a: f64, b: f64| if b.is_infinite() { a } else { a * b / (a + b) };
    let contact = plan.block.contact.as_ref().filter(|_| plan.block.level == Level::Contact);
    let at_rest = contact.and_then(|c| stiffness_from_geometry(c, plan.block.preload_n, plan.block.c_n));
    let block = at_rest.unwrap_or(plan.block.stiffness);
    let mut elements = Vec::new();
    for side in 0..2 {
        let support = plan.supports[side].stiffness;
        for &place in &plan.trucks[side].blocks {
            elements.push(BlockElement {
                side,
                place,
                rows: block_rows(side, place),
                stiffness: [series(block[0], support[0]), series(block[1], support[1]), series(block[2], support[2]), block[3], block[4]],
                support: support.iter().all(|k| k.is_finite()).then_some(support),
            });
        }
    }
    elements
}

pub(super) fn joint_elements(plan: &Plan, arrangement: usize) -> Vec<JointElement> {
    let mut elements = Vec::new();
    for (end, joints) in plan.arrangements[arrangement].ends.iter().enumerate() {
        for (number, joint) in joints.iter().enumerate() {
            let rows = joint_rows(end, joint, plan.trucks[end].bridge_axis_height_mm);
            let all = rows.into_iter().zip(joint.components).enumerate().filter(|(_, (_, c))| c.law != Law::Free);
            elements.extend(all.map(|(axis, (row, component))| JointElement { end, number, axis, row, component }));
        }
    }
    elements
}

pub(super) fn drive_elements(plan: &Plan) -> Vec<DriveElement> {
    let driven = |side: &usize| match plan.drive.kind {
        DriveKind::One(at) => at == *side,
        DriveKind::Two | DriveKind::Shaft { .. } => true,
    };
    (0..2)
        .filter(driven)
        .map(|side| DriveElement { side, row: drive_row(side, &plan.drive), stiffness: plan.drive.stiffness_n_per_mm })
        .collect()
}
