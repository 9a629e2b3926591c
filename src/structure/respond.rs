//! The function behind every study: (machine, errors, station) to pose, joint forces and block loads.

use super::elements::JointElement;
use super::equilibrium::{FloatSet, NotConverged, Problem, minimise};
use super::laws::Drag;
use super::laws::float_energy;
use super::state::State;
use super::tightening::TakenUp;
use super::tool::ToolPoint;
use super::{Machine, Vector24};
use crate::input::Installation;
use crate::input::plan::{Law, Thermal};

/// Where the bridge stands, under which load case, in which state of service.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Situation {
    /// Position along the rails.
    pub station_x_mm: f64,
    /// Number of the load case in the plan's duty.
    pub case: usize,
    /// Temperatures.
    pub thermal: Thermal,
    /// Skew of the drives beside the installation's, B ahead of A.
    pub skew_mm: f64,
    /// Drag of the floats.
    pub drag: Drag,
}

/// One component of a joint that is not free.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JointState {
    /// End of the bridge.
    pub end: usize,
    /// Number of the joint at its end, from 0.
    pub number: usize,
    /// Component: x, y, z, rx, ry, rz.
    pub axis: usize,
    /// Bridge against truck, less seat error and take-up (mm, rad).
    pub delta: f64,
    /// Force on the truck (N, N mm); the bridge gets its opposite.
    pub force: f64,
    /// What was taken up at tightening (mm, rad).
    pub taken_up: f64,
    /// Share of the travel used, for a float.
    pub travel_used: Option<f64>,
    /// True for a float that has not begun to slide.
    pub sticks: bool,
}

/// The machine's answer in one situation.
#[derive(Debug, Clone, PartialEq)]
pub struct Response {
    /// Pose: truck A, truck B, bridge end A, bridge end B, each ux uy uz rx ry rz (mm, rad).
    pub pose: Vector24,
    /// What each truck exerts on each of its blocks: Fy, Fz (N), Mx, My, Mz (N mm); truck A's blocks first.
    pub block_loads: Vec<[f64; 5]>,
    /// Displacement of each block's contacts from their preloaded place: y, z (mm), roll, pitch, yaw (rad); empty at the
    /// linear level.
    pub block_displacements: Vec<[f64; 5]>,
    /// What rail and truck making impose on each block: y, z (mm), roll, pitch, yaw (rad).
    pub imposed: Vec<[f64; 5]>,
    /// Joint components.
    pub joints: Vec<JointState>,
    /// Force of each drive on its truck along x; 0 where a truck is not driven.
    pub drive_n: [f64; 2],
    /// Tool point: displacement x, y, z (mm) and yaw (rad), from the drawing's place.
    pub tool: [f64; 4],
    /// Newton steps.
    pub iterations: usize,
    /// Largest unbalanced force (moments over 100 mm) over the largest load.
    pub residual: f64,
}

/// What acts on the machine: rails under the blocks, joint offsets, and both with the loads as one force.
struct Task {
    imposed: Vec<[f64; 5]>,
    offsets: Vec<f64>,
    load: Vector24,
}

impl Machine<'_> {
    /// Loads and pose of an installation in a situation: the unique minimum of the strain energy.
    ///
    /// `taken_up` is what the joints took up when they were tightened (see [`super::Tightener`]).
    ///
    /// # Errors
    /// The equilibrium was not found (residual above 1e-8).
    pub fn respond(&self, installation: &Installation, taken_up: &TakenUp, situation: &Situation) -> Result<Response, NotConverged> {
        let task = self.task(installation, taken_up, situation);
        let elements: Vec<JointElement> = self.float_elements().cloned().collect();
        let float_offsets = self.float_offsets(&task.offsets);
        let floats = FloatSet { elements: &elements, offsets: &float_offsets, drag: situation.drag };
        let contacts = self.contacts(&task.imposed);
        let found = minimise(&Problem { stiffness: &self.springs, load: &task.load, floats, contacts }, State::default())?;
        let pose = found.state.pose;
        let yields = &found.state.yields;
        Ok(Response {
            block_loads: match &contacts {
                Some(contacts) => contacts.displacements(&pose, yields).map(|d| contacts.rows.force(&d).into()).collect(),
                None => self.block_loads(&pose, &task.imposed).collect(),
            },
            block_displacements: contacts.iter().flat_map(|c| c.displacements(&pose, yields)).map(Into::into).collect(),
            joints: self.joint_states(&pose, &task.offsets, taken_up, situation.drag),
            drive_n: self.drive_forces(&pose, installation, situation.skew_mm),
            tool: self.tool(&pose, installation, situation),
            iterations: found.iterations,
            residual: found.residual,
            imposed: task.imposed,
            pose,
        })
    }

    /// Energy (N mm) that the equilibrium makes least, up to a constant, at any pose; for the drag's law.
    #[must_use]
    pub fn potential_n_mm(&self, installation: &Installation, taken_up: &TakenUp, situation: &Situation, pose: &Vector24) -> f64 {
        let task = self.task(installation, taken_up, situation);
        let of_floats = self.floats.iter().map(|&j| {
            let joint = &self.joints[j];
            float_energy(&joint.component.law, joint.row.dot(pose) - task.offsets[j])
        });
        0.5 * pose.dot(&(self.springs * pose)) - task.load.dot(pose)
            + of_floats.sum::<f64>()
            + self.contacts(&task.imposed).map_or(0.0, |c| c.energy_n_mm(pose, &c.settled_yields(pose)))
    }

    /// Collects what acts on the machine in a situation.
    fn task(&self, installation: &Installation, taken_up: &TakenUp, situation: &Situation) -> Task {
        let points = self.rails.points(self.plan, situation.station_x_mm);
        let imposed: Vec<_> = points.iter().map(|p| self.rails.imposed(p, installation)).collect();
        let offsets = self.joint_offsets(installation, &taken_up.tau);
        let of_rails = if self.rows.is_some() { Vector24::zeros() } else { self.rail_forces(&imposed) };
        let load = self.case_loads(situation.case)
            + of_rails
            + self.made_forces(installation, &situation.thermal, situation.skew_mm)
            + self.joint_offset_forces(&offsets);
        Task { imposed, offsets, load }
    }

    fn joint_states(&self, pose: &Vector24, offsets: &[f64], taken_up: &TakenUp, drag: Drag) -> Vec<JointState> {
        let state = |(i, joint): (usize, &JointElement)| {
            let delta = joint.row.dot(pose) - offsets[i];
            let law = &joint.component.law;
            let (travel_used, sticks) = match *law {
                Law::Float { travel, drag: full, k_slide, .. } => {
                    (Some(delta.abs() / travel), drag == Drag::Law && k_slide * delta.abs() < full)
                }
                _ => (None, false),
            };
            JointState {
                end: joint.end,
                number: joint.number,
                axis: joint.axis,
                delta,
                force: drag.force(law, delta).0,
                taken_up: taken_up.tau.get(i).copied().unwrap_or(0.0),
                travel_used,
                sticks,
            }
        };
        self.joints.iter().enumerate().map(state).collect()
    }

    fn drive_forces(&self, pose: &Vector24, installation: &Installation, skew_mm: f64) -> [f64; 2] {
        let mut forces = [0.0; 2];
        for drive in &self.drives {
            let at = self.drive_position(drive, installation, skew_mm);
            forces[drive.side] = -drive.stiffness * (drive.row.dot(pose) - at);
        }
        forces
    }

    fn tool(&self, pose: &Vector24, installation: &Installation, situation: &Situation) -> [f64; 4] {
        let case = &self.plan.duty[situation.case];
        let tool = ToolPoint::new(self.plan, case.payload_y_mm, case.payload_arm_mm);
        let shape = tool.shape(self.plan, installation, &situation.thermal);
        let at = tool.at(pose);
        std::array::from_fn(|i| at[i] + shape[i])
    }
}
