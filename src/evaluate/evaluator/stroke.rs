//! Installations of one machine on their way along the stroke: one alone, or several side by side.

use super::Perfect;
use crate::evaluate::Outcome;
use crate::evaluate::ServiceState;
use crate::evaluate::{Evaluator, Work};
use crate::input::Installation;
use crate::math::lanes::EIGHT;
use crate::structure::{Acting, Drag, FloatMap, NotConverged, Settling, Vector24};

/// One installation on its way along the stroke.
struct Running {
    offsets: Vec<f64>,
    float_offsets: Vec<f64>,
    float_pose: Vector24,
    rail_forces: Vector24,
    rail_pose: Vector24,
    pose: Vector24,
    outcome: Outcome,
}

impl Evaluator<'_> {
    /// What several installations come to, eight by eight; each is what it is alone, but for the last digits of contacts.
    ///
    /// # Errors
    /// An equilibrium was not found: the place of the installation.
    pub(crate) fn evaluate_side_by_side(
        &self,
        installations: &[Installation],
        service: &[ServiceState],
        works: &mut Vec<Work>,
    ) -> Result<Vec<Outcome>, (usize, NotConverged)> {
        works.resize_with(works.len().max(installations.len()), Work::default);
        let mut outcomes = Vec::with_capacity(installations.len());
        for (k, (eight, works)) in installations.chunks(EIGHT).zip(works.chunks_mut(EIGHT)).enumerate() {
            let found = self.run_all(eight, service, &mut works[..eight.len()], None);
            outcomes.extend(found.map_err(|(i, e)| (EIGHT * k + i, e))?);
        }
        Ok(outcomes)
    }

    pub(super) fn run(
        &self,
        installation: &Installation,
        service: &[ServiceState],
        work: &mut Work,
        record: Option<&mut Perfect>,
    ) -> Result<Outcome, NotConverged> {
        let outcomes = self.run_all(std::slice::from_ref(installation), service, std::slice::from_mut(work), record);
        outcomes.map(|mut list| list.pop().unwrap_or_else(Outcome::start)).map_err(|(_, e)| e)
    }

    fn run_all(
        &self,
        installations: &[Installation],
        service: &[ServiceState],
        works: &mut [Work],
        mut record: Option<&mut Perfect>,
    ) -> Result<Vec<Outcome>, (usize, NotConverged)> {
        let plan = self.machine.plan;
        let mut running = Vec::with_capacity(installations.len());
        for (i, (installation, work)) in installations.iter().zip(works.iter_mut()).enumerate() {
            running.push(self.begin(installation, service, work).map_err(|e| (i, e))?);
        }
        for (s, station) in self.stations.iter().enumerate() {
            for ((one, work), installation) in running.iter_mut().zip(works.iter_mut()).zip(installations) {
                work.imposed.clear();
                work.imposed.extend(station.points.iter().map(|p| self.machine.rails().imposed(p, installation)));
                one.rail_forces = self.machine.rail_forces(&work.imposed);
                one.rail_pose = self.maps[0].linear_pose(&one.rail_forces) + one.float_pose;
            }
            for (k, (state, (c, case))) in
                service.iter().flat_map(|state| plan.duty.iter().enumerate().map(move |c| (state, c))).enumerate()
            {
                let share = station.share * state.share * case.share / self.maps.len() as f64;
                for (d, map) in self.maps.iter().enumerate() {
                    let at = k * self.maps.len() + d;
                    self.poses(map, (k, at), &mut running, works)?;
                    for (one, work) in running.iter_mut().zip(works.iter_mut()) {
                        let outcome = &mut one.outcome;
                        self.note_floats(map, &work.floats.delta, station.x_mm, outcome, &mut work.slid);
                        self.note_blocks(&one.pose, (s, at), share, work);
                        let force = self.machine.largest_joint_force_n(&one.pose, &one.offsets, map.drag());
                        outcome.joint_force_n = outcome.joint_force_n.max(force);
                        let at_tool = self.tools[c].at(&one.pose);
                        let tool = std::array::from_fn(|i| at_tool[i] + work.tool_shape[k][i]);
                        match record.as_deref_mut() {
                            Some(perfect) => perfect.tool.push(tool),
                            None => outcome.note_tool(&tool, &self.perfect.tool[(s * plan.duty.len() + c) * self.maps.len() + d]),
                        }
                    }
                }
            }
        }
        for (one, work) in running.iter_mut().zip(works) {
            one.outcome.float_sticks = self.maps[0].drag() == Drag::Law && work.slid.iter().any(|slid| !slid);
            self.finish(&mut one.outcome, work);
        }
        Ok(running.into_iter().map(|one| one.outcome).collect())
    }

    fn begin(&self, installation: &Installation, service: &[ServiceState], work: &mut Work) -> Result<Running, NotConverged> {
        let taken_up = self.taken_up(installation)?;
        let offsets = self.machine.joint_offsets(installation, &taken_up.tau);
        let float_offsets = self.machine.float_offsets(&offsets);
        self.prepare(installation, service, &offsets, work);
        // All maps of an evaluator share their linear part: both signs of the drag, or the law alone.
        let float_pose = self.maps[0].linear_pose(&self.maps[0].offset_forces(&float_offsets));
        let outcome = Outcome { slot_used: taken_up.slot_used, ..Outcome::start() };
        let none = Vector24::zeros();
        Ok(Running { offsets, float_offsets, float_pose, rail_forces: none, rail_pose: none, pose: none, outcome })
    }

    /// Poses at a station in one situation: `k` is its load case and state of service, `at` the drag's state too.
    fn poses(
        &self,
        map: &FloatMap,
        (k, at): (usize, usize),
        running: &mut [Running],
        works: &mut [Work],
    ) -> Result<(), (usize, NotConverged)> {
        for (i, (one, work)) in running.iter_mut().zip(works.iter_mut()).enumerate() {
            let (forces, state_pose) = &work.made[k];
            one.pose = one.rail_pose + state_pose;
            let load = || one.rail_forces + forces;
            map.correct(&mut one.pose, &one.float_offsets, &mut work.floats, load).map_err(|e| (i, e))?;
        }
        if self.row_rating_n.is_none() {
            return Ok(());
        }
        let mut eight = works.first_mut().and_then(|first| first.eight.take());
        let both = running.iter_mut().zip(works.iter_mut());
        let mut list: Vec<Settling<'_>> = both
            .map(|(one, work)| Settling {
                acting: Acting { load: &work.made[k].0, imposed: &work.imposed, offsets: &one.float_offsets },
                pose: &mut one.pose,
                floats: &mut work.floats,
                carried: &mut work.carried[at],
            })
            .collect();
        let settled = match &mut list[..] {
            [one] => self.machine.settle_contacts(map, &one.acting, one.pose, one.floats, one.carried).map_err(|e| (0, e)),
            list => self.machine.settle_contacts_of_eight(map, list, eight.get_or_insert_default()),
        };
        works.iter_mut().take(1).for_each(|first| first.eight = eight.take());
        settled
    }
}
