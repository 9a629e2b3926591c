//! Poses with contact-level blocks along a stroke: each starts from the springs' answer and what contacts made of the last one.

use super::contacts::Yield;
use super::equilibrium::{NotConverged, Problem, State, minimise};
use super::floats::{FloatMap, FloatWork};
use super::{Machine, Matrix24, Vector24};
use crate::contact::Vector5;

/// What one load case carries from station to station of an installation.
#[derive(Debug, Clone, Default)]
pub struct Carried {
    /// Pose less that of the springs.
    correction: Vector24,
    yields: Vec<Yield>,
    /// Displacement of each block's contacts from their preloaded place: y, z (mm), roll, pitch, yaw (rad).
    pub displacements: Vec<Vector5>,
    /// Newton steps taken so far.
    pub steps: usize,
    /// Second derivative of the energy at the last pose.
    pub(super) tangent: Matrix24,
}

/// What acts on a machine, as the search for contacts wants it.
#[derive(Debug, Clone, Copy)]
pub struct Acting<'a> {
    /// Generalised force without that of rails and floats.
    pub load: &'a Vector24,
    /// What the rails impose on each block.
    pub imposed: &'a [[f64; 5]],
    /// Offsets of the floats.
    pub offsets: &'a [f64],
}

impl Machine<'_> {
    /// Replaces the springs' `pose` by the one with the blocks' rows; `floats.delta` follows. Nothing happens at the linear
    /// level.
    ///
    /// # Errors
    /// The equilibrium was not found.
    pub fn settle_contacts(
        &self,
        map: &FloatMap,
        acting: &Acting<'_>,
        pose: &mut Vector24,
        floats: &mut FloatWork,
        carried: &mut Carried,
    ) -> Result<(), NotConverged> {
        self.settle_on(&self.springs, map, acting, pose, floats, carried)
    }

    /// The same with other springs.
    pub(super) fn settle_on(
        &self,
        springs: &Matrix24,
        map: &FloatMap,
        acting: &Acting<'_>,
        pose: &mut Vector24,
        floats: &mut FloatWork,
        carried: &mut Carried,
    ) -> Result<(), NotConverged> {
        let contacts = self.contacts(acting.imposed);
        let Some(set) = &contacts else { return Ok(()) };
        let problem = Problem { stiffness: springs, load: acting.load, floats: map.set(acting.offsets), contacts };
        let start = State { pose: *pose + carried.correction, yields: std::mem::take(&mut carried.yields) };
        let found = minimise(&problem, start)?;
        carried.correction = found.state.pose - *pose;
        *pose = found.state.pose;
        carried.displacements.clear();
        carried.displacements.extend(set.displacements(pose, &found.state.yields));
        carried.yields = found.state.yields;
        carried.tangent = found.tangent;
        carried.steps += found.iterations;
        map.note_deltas(pose, acting.offsets, floats);
        Ok(())
    }
}
