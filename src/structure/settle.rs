//! Poses with contact-level blocks along a stroke: each starts from the springs' answer and what contacts made of the last one.

use super::eight::Eight;
use super::equilibrium::{NotConverged, Problem, minimise};
use super::floats::{FloatMap, FloatWork};
use super::state::State;
use super::state::Yield;
use super::{Machine, Matrix24, Vector24};
use crate::contact::BlockLoads;

/// What one load case carries from station to station of an installation.
#[derive(Debug, Clone, Default)]
pub struct Carried {
    /// Pose less that of the springs.
    correction: Vector24,
    yields: Vec<Yield>,
    /// What each block carries at the last pose.
    pub blocks: Vec<BlockLoads>,
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

/// One installation of several that are settled side by side.
#[derive(Debug)]
pub struct Settling<'a> {
    /// What acts on it.
    pub acting: Acting<'a>,
    /// The springs' pose, which is replaced.
    pub pose: &'a mut Vector24,
    /// Displacements of its floats.
    pub floats: &'a mut FloatWork,
    /// What it carries from station to station.
    pub carried: &'a mut Carried,
}

impl Machine<'_> {
    /// [`Machine::settle_contacts`] for up to eight installations side by side. The tangent is not carried.
    ///
    /// # Errors
    /// The place in the list of an installation whose equilibrium was not found.
    pub fn settle_contacts_of_eight(
        &self,
        map: &FloatMap,
        list: &mut [Settling<'_>],
        eight: &mut Eight,
    ) -> Result<(), (usize, NotConverged)> {
        let starts: Vec<State> = list
            .iter_mut()
            .map(|s| State { pose: *s.pose + s.carried.correction, yields: std::mem::take(&mut s.carried.yields) })
            .collect();
        let problems: Vec<(Problem<'_>, &State)> =
            list.iter().zip(&starts).map(|(s, start)| (self.problem(&self.springs, map, &s.acting), start)).collect();
        let found = eight.settle(&problems);
        for (i, ((s, start), found)) in list.iter_mut().zip(starts).zip(found).enumerate() {
            let Some(found) = found else {
                s.carried.yields = start.yields;
                self.settle_contacts(map, &s.acting, s.pose, s.floats, s.carried).map_err(|e| (i, e))?;
                continue;
            };
            s.carried.correction = found.state.pose - *s.pose;
            *s.pose = found.state.pose;
            s.carried.blocks = found.blocks;
            s.carried.yields = found.state.yields;
            s.carried.steps += found.steps;
            map.note_deltas(s.pose, s.acting.offsets, s.floats);
        }
        Ok(())
    }

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
        self.settle_on(&self.springs, map, acting, pose, floats, carried)?;
        carried.blocks.clear();
        if let Some(set) = self.contacts(acting.imposed) {
            carried.blocks.extend(set.displacements(pose, &carried.yields).map(|d| set.rows.loads(&d)));
        }
        Ok(())
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
        let problem = self.problem(springs, map, acting);
        if problem.contacts.is_none() {
            return Ok(());
        }
        let start = State { pose: *pose + carried.correction, yields: std::mem::take(&mut carried.yields) };
        let found = minimise(&problem, start)?;
        carried.correction = found.state.pose - *pose;
        *pose = found.state.pose;
        carried.yields = found.state.yields;
        carried.tangent = found.tangent;
        carried.steps += found.iterations;
        map.note_deltas(pose, acting.offsets, floats);
        Ok(())
    }

    pub(super) fn problem<'a>(&'a self, stiffness: &'a Matrix24, map: &'a FloatMap, acting: &Acting<'a>) -> Problem<'a> {
        Problem { stiffness, load: acting.load, floats: map.set(acting.offsets), contacts: self.contacts(acting.imposed) }
    }
}
