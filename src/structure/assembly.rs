//! The machine with one arrangement of joints: its elements as rows and stiffnesses, assembled.

use super::contacts::ContactSet;
use super::elements::{BlockElement, DriveElement, JointElement, block_elements, drive_elements, joint_elements};
use super::kinematics::relative_displacement;
use super::laws::Drag;
use super::mechanism::{self, Mechanism};
use super::wind_up::wind_up_mm;
use super::{Matrix24, Vector24, beam};
use crate::contact::RowBlock;
use crate::geometry::Rails;
use crate::input::Installation;
use crate::input::plan::{Law, Level, Plan, Thermal};

/// The machine of a plan with one arrangement of joints, ready to be asked for loads.
#[derive(Debug, Clone)]
pub struct Machine<'p> {
    /// The plan it was built from.
    pub plan: &'p Plan,
    /// Which arrangement.
    pub arrangement: usize,
    /// Condition number of its stiffness (rotations scaled by 100 mm).
    pub condition: f64,
    /// The direction in which it is held least, in words.
    pub weakest: String,
    pub(super) rails: Rails,
    pub(super) blocks: Vec<BlockElement>,
    pub(super) joints: Vec<JointElement>,
    /// Numbers in `joints` of the components that float.
    pub(super) floats: Vec<usize>,
    pub(super) drives: Vec<DriveElement>,
    /// Stiffness without the floats; contact-level blocks count as they are at rest.
    pub(super) without_floats: Matrix24,
    /// The rows of every block, at the contact level.
    pub(super) rows: Option<RowBlock>,
    /// Stiffness of all that is a spring: without floats and without contact-level blocks.
    pub(super) springs: Matrix24,
    /// Skew of the drives by shaft wind-up in each load case.
    pub(super) wind_up_mm: Vec<f64>,
    /// False where nothing but the floats' own stiffness holds the machine in some direction.
    pub(super) holds_without_floats: bool,
}

impl<'p> Machine<'p> {
    /// Builds the machine of an arrangement.
    ///
    /// # Errors
    /// The arrangement leaves a direction free: which one.
    pub fn new(plan: &'p Plan, arrangement: usize) -> Result<Self, Mechanism> {
        let rails = Rails::new(plan).ok_or_else(Mechanism::no_rails)?;
        let joints = joint_elements(plan, arrangement);
        let floats = (0..joints.len()).filter(|&j| matches!(joints[j].component.law, Law::Float { .. })).collect();
        let mut machine = Self {
            plan,
            arrangement,
            condition: 0.0,
            weakest: String::new(),
            rails,
            blocks: block_elements(plan),
            joints,
            floats,
            drives: drive_elements(plan),
            without_floats: Matrix24::zeros(),
            rows: rows(plan),
            springs: Matrix24::zeros(),
            wind_up_mm: Vec::new(),
            holds_without_floats: false,
        };
        machine.without_floats = machine.stiffness(|joint| match joint.component.law {
            Law::Elastic { k } => k,
            Law::Free | Law::Float { .. } => 0.0,
        });
        machine.springs = if machine.rows.is_some() { machine.without_floats - machine.of_blocks() } else { machine.without_floats };
        let held = mechanism::held(&machine.at_rest())?;
        (machine.condition, machine.weakest) = (held.condition, held.weakest);
        machine.holds_without_floats = mechanism::held(&machine.without_floats).is_ok();
        machine.wind_up_mm = wind_up_mm(plan, &machine.drives, &machine.at_rest(), &machine.unit_skew_forces());
        Ok(machine)
    }

    /// The rows of every block, where the plan takes its blocks at the contact level.
    #[must_use]
    pub fn rows(&self) -> Option<&RowBlock> {
        self.rows.as_ref()
    }

    /// Name of the arrangement.
    #[must_use]
    pub fn name(&self) -> &'p str {
        &self.plan.arrangements[self.arrangement].name
    }

    /// Number of floating components.
    #[must_use]
    pub fn float_count(&self) -> usize {
        self.floats.len()
    }

    /// True where the drag of the floats can be set to its full value either way: something else holds every direction.
    #[must_use]
    pub fn drag_has_signs(&self) -> bool {
        self.holds_without_floats && self.float_elements().any(|j| matches!(j.component.law, Law::Float { drag, .. } if drag > 0.0))
    }

    /// False where nothing but the floats' own stiffness holds the machine in some direction.
    #[must_use]
    pub fn holds_without_floats(&self) -> bool {
        self.holds_without_floats
    }

    /// Skew of the drives by shaft wind-up in a load case, B ahead of A.
    #[must_use]
    pub fn wind_up_mm(&self, case: usize) -> f64 {
        self.wind_up_mm.get(case).copied().unwrap_or(0.0)
    }

    /// The rails of the plan.
    #[must_use]
    pub fn rails(&self) -> &Rails {
        &self.rails
    }

    /// Loads of all blocks at a pose: Fy, Fz (N), Mx, My, Mz (N mm); truck A's blocks first.
    pub fn block_loads<'a>(&'a self, pose: &'a Vector24, imposed: &'a [[f64; 5]]) -> impl Iterator<Item = [f64; 5]> + 'a {
        self.blocks.iter().zip(imposed).map(move |(block, imposed)| block.load(pose, imposed))
    }

    /// Largest resultant force in one joint at a pose, N.
    #[must_use]
    pub fn largest_joint_force_n(&self, pose: &Vector24, offsets: &[f64], drag: Drag) -> f64 {
        let mut largest: f64 = 0.0;
        let mut first = 0;
        while first < self.joints.len() {
            let joint = &self.joints[first];
            let of_joint = self.joints[first..].iter().take_while(|j| j.end == joint.end && j.number == joint.number).count();
            let place = self.plan.arrangements[self.arrangement].ends[joint.end][joint.number].place_mm;
            let motion = relative_displacement(pose, joint.end, place, self.plan.trucks[joint.end].bridge_axis_height_mm);
            let last = first + of_joint;
            let components = self.joints[first..last].iter().zip(&offsets[first..last]).filter(|(j, _)| j.axis < 3);
            let square = components.map(|(j, offset)| drag.force(&j.component.law, motion[j.axis] - offset).0.powi(2)).sum();
            largest = largest.max(square);
            first = last;
        }
        largest.sqrt()
    }

    /// Springs along x, y and z of each joint, joint by joint: ranges in [`Machine::joint_spring_forces`].
    #[must_use]
    pub fn joint_springs(&self) -> Vec<std::ops::Range<usize>> {
        let mut list: Vec<std::ops::Range<usize>> = Vec::new();
        let (mut of, mut count) = (None, 0);
        for joint in &self.joints {
            if of != Some((joint.end, joint.number)) {
                of = Some((joint.end, joint.number));
                list.push(count..count);
            }
            count += usize::from(joint.is_straight_spring());
            if let Some(last) = list.last_mut() {
                last.end = count;
            }
        }
        list
    }

    /// Forces of the joints' springs along x, y and z at a pose, N; offsets left out are 0.
    #[must_use]
    pub fn joint_spring_forces(&self, pose: &Vector24, offsets: &[f64]) -> Vec<f64> {
        let springs = self.joints.iter().enumerate().filter(|(_, j)| j.is_straight_spring());
        springs.map(|(i, j)| j.component.stiffness_at_rest() * (j.row.dot(pose) - offsets.get(i).copied().unwrap_or(0.0))).collect()
    }

    /// Sum of the squared drags along x, y and z in each joint, N^2, for floats that slide short of their stops.
    #[must_use]
    pub fn joint_drag_squares(&self, drag: Drag) -> Vec<f64> {
        let mut list: Vec<f64> = Vec::new();
        let mut of = None;
        for joint in &self.joints {
            if of != Some((joint.end, joint.number)) {
                of = Some((joint.end, joint.number));
                list.push(0.0);
            }
            if let (Law::Float { .. }, true, Some(last)) = (joint.component.law, joint.axis < 3, list.last_mut()) {
                *last += drag.force(&joint.component.law, 0.0).0.powi(2);
            }
        }
        list
    }

    /// Stiffness of every block with its support in series: y, z (N/mm), roll, pitch, yaw (N mm/rad).
    #[must_use]
    pub fn block_stiffnesses(&self) -> Vec<[f64; 5]> {
        self.blocks.iter().map(|b| b.stiffness).collect()
    }

    /// Displacement of each joint component at a pose (mm, rad).
    #[must_use]
    pub fn joint_deltas(&self, pose: &Vector24, offsets: &[f64]) -> Vec<f64> {
        self.joints.iter().zip(offsets).map(|(j, offset)| j.row.dot(pose) - offset).collect()
    }

    /// End, number and axis of each joint component, with its law.
    #[must_use]
    pub fn joint_laws(&self) -> Vec<((usize, usize, usize), Law)> {
        self.joints.iter().map(|j| ((j.end, j.number, j.axis), j.component.law)).collect()
    }

    /// What the slot of each joint component takes up either way (mm, rad); 0 for a fit.
    #[must_use]
    pub fn take_up_limits(&self) -> Vec<f64> {
        self.joints.iter().map(|j| j.component.take_up).collect()
    }

    pub(super) fn float_elements(&self) -> impl Iterator<Item = &JointElement> {
        self.floats.iter().map(|&j| &self.joints[j])
    }

    /// Stiffness with each joint component as a spring of the given stiffness.
    pub(super) fn stiffness(&self, of_joint: impl Fn(&JointElement) -> f64) -> Matrix24 {
        let mut k = self.of_blocks();
        for joint in &self.joints {
            k += joint.row * joint.row.transpose() * of_joint(joint);
        }
        for drive in &self.drives {
            k += drive.row * drive.row.transpose() * drive.stiffness;
        }
        let bridge = beam::stiffness(&self.plan.bridge, self.plan.frame.span_mm);
        let mut ends = k.fixed_view_mut::<12, 12>(12, 12);
        ends += bridge;
        k
    }

    /// Stiffness of the blocks as springs.
    fn of_blocks(&self) -> Matrix24 {
        let mut k = Matrix24::zeros();
        for block in &self.blocks {
            for (row, stiffness) in block.rows.iter().zip(block.stiffness) {
                k += row * row.transpose() * stiffness;
            }
        }
        k
    }

    /// Stiffness of all that is a spring, with each joint component as a spring of the given stiffness.
    pub(super) fn spring_stiffness(&self, of_joint: impl Fn(&JointElement) -> f64) -> Matrix24 {
        let whole = self.stiffness(of_joint);
        if self.rows.is_some() { whole - self.of_blocks() } else { whole }
    }

    /// The blocks as rows of rolling elements over what the rails impose, at the contact level.
    pub(super) fn contacts<'a>(&'a self, imposed: &'a [[f64; 5]]) -> Option<ContactSet<'a>> {
        self.rows.as_ref().map(|rows| ContactSet { rows, blocks: &self.blocks, imposed })
    }

    /// Stiffness with floats that do not slide yet.
    pub(super) fn at_rest(&self) -> Matrix24 {
        self.stiffness(|joint| joint.component.stiffness_at_rest())
    }

    /// Generalised forces by which the rails under the blocks act through the blocks' springs.
    #[must_use]
    pub fn rail_forces(&self, imposed: &[[f64; 5]]) -> Vector24 {
        let mut f = Vector24::zeros();
        for (block, imposed) in self.blocks.iter().zip(imposed) {
            block.add_rail_force(&mut f, imposed);
        }
        f
    }

    /// Generalised forces of the bridge's stress-free shape and of the drives' positions.
    #[must_use]
    pub fn made_forces(&self, installation: &Installation, thermal: &Thermal, skew_mm: f64) -> Vector24 {
        let frame = &self.plan.frame;
        let q0 = beam::stress_free(&self.plan.bridge, frame.span_mm, frame.expansion_per_k, installation, thermal);
        let on_ends = beam::stiffness(&self.plan.bridge, frame.span_mm) * q0;
        let mut f = Vector24::zeros();
        f.fixed_rows_mut::<12>(12).copy_from(&on_ends);
        for drive in &self.drives {
            f += drive.row * (drive.stiffness * self.drive_position(drive, installation, skew_mm));
        }
        f
    }

    /// Generalised forces of the elastic joint components' offsets.
    #[must_use]
    pub fn joint_offset_forces(&self, offsets: &[f64]) -> Vector24 {
        let mut f = Vector24::zeros();
        for (joint, offset) in self.joints.iter().zip(offsets) {
            if let Law::Elastic { k } = joint.component.law {
                f += joint.row * (k * offset);
            }
        }
        f
    }

    /// Generalised forces of a common skew of the drives, per mm.
    #[must_use]
    pub fn unit_skew_forces(&self) -> Vector24 {
        self.drives.iter().map(|d| d.row * (d.stiffness * if d.side == 0 { -0.5 } else { 0.5 })).sum()
    }

    /// Loads of a load case on the 24 freedoms (N, N mm).
    #[must_use]
    pub fn case_loads(&self, case: usize) -> Vector24 {
        super::loads::case_loads(self.plan, &self.plan.duty[case])
    }

    /// Offsets of the floats among the offsets of all joint components.
    pub fn float_offsets(&self, offsets: &[f64]) -> Vec<f64> {
        self.floats.iter().map(|&j| offsets[j]).collect()
    }

    /// Position of a drive: its own offset and its half of a common skew.
    pub(super) fn drive_position(&self, drive: &DriveElement, installation: &Installation, skew_mm: f64) -> f64 {
        let half = if drive.side == 0 { -0.5 } else { 0.5 };
        installation.drive_offset_mm[drive.side] + half * skew_mm
    }

    /// Offset of each joint component from its seat and from what was taken up (mm, rad).
    #[must_use]
    pub fn joint_offsets(&self, installation: &Installation, taken_up: &[f64]) -> Vec<f64> {
        let seat = |j: &JointElement| installation.seats[j.end][j.number][j.axis];
        self.joints.iter().enumerate().map(|(i, j)| seat(j) + taken_up.get(i).copied().unwrap_or(0.0)).collect()
    }
}

/// The rows of a plan's blocks at the contact level.
fn rows(plan: &Plan) -> Option<RowBlock> {
    let contact = plan.block.contact.as_ref().filter(|_| plan.block.level == Level::Contact)?;
    RowBlock::new(contact, plan.block.preload_n)
}
