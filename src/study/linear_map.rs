//! A machine with springs only, seen as one affine map of an installation's numbers: what the fast path of a study runs on.
//!
//! Everything is affine while blocks are springs, no float passes its stop, the floats' drag is set to its full value and no
//! slot comes to its end. The map is made by asking the machine itself: once for the perfect installation in every state
//! of service, once for every number, once for every value that a rail may take under a block.

use nalgebra::DMatrix;

use super::evaluate::Evaluator;
use super::linear_kernel::Packed;
use super::sampling::{Draws, Place};
use super::service::ServiceState;
use crate::geometry::RailPoint;
use crate::input::{ErrorKind, Installation};
use crate::structure::{Drag, FloatWork, NotConverged, TakenUp, Vector24};

/// Values that a rail takes at a place: lateral, vertical, roll, each with its slope.
pub(super) const RAIL: usize = 6;

/// A short row over some inputs: number of the input and factor.
pub(super) type Sparse = Vec<(u32, f64)>;

/// One station.
#[derive(Debug, Clone)]
pub(super) struct StationRows {
    pub(super) share: f64,
    /// Rail values, place by place, over the numbers.
    pub(super) rail: Vec<Sparse>,
}

/// One block: which truck's pose and which place of the rail it feels.
#[derive(Debug, Clone, Copy)]
pub(super) struct BlockArms {
    pub(super) side: usize,
    /// First of its rail values.
    pub(super) rail: usize,
    pub(super) x_mm: f64,
    pub(super) lateral_mm: f64,
    pub(super) stiffness: [f64; 5],
}

/// Constants of one state of service, load case and state of the drag.
#[derive(Debug, Clone)]
pub(super) struct SituationConstants {
    pub(super) share: f64,
    /// Five loads of every block.
    pub(super) loads: Vec<[f64; 5]>,
    /// Forces of the joints' springs, then the joints' drags stand in `drag_n`.
    pub(super) joints: Vec<f64>,
    /// Sum of squares of the drags in each joint, N^2.
    pub(super) drag_square: Vec<f64>,
    /// Tool point against the perfect installation: x, y, z (mm), yaw (rad).
    pub(super) tool: [f64; 4],
    /// First of its tool rows.
    pub(super) tool_rows: usize,
    /// Displacement of each float.
    pub(super) floats: Vec<f64>,
}

/// The whole map.
#[derive(Debug, Clone)]
pub(super) struct LinearMap {
    pub(super) stations: Vec<StationRows>,
    pub(super) blocks: Vec<BlockArms>,
    pub(super) situations: Vec<SituationConstants>,
    /// y, z, rx, ry, rz of both trucks over the rail values.
    pub(super) trucks: Packed,
    /// The same over the numbers, the part that no station changes.
    pub(super) trucks_made: Vec<Sparse>,
    /// Loads of the blocks by their own places in the truck, over the numbers: block by block, five each.
    pub(super) mounts: Vec<Sparse>,
    /// Joint springs, tool rows, floats: over the rail values and over the numbers.
    pub(super) others: Packed,
    pub(super) others_made: Vec<Sparse>,
    /// First and last joint spring of every joint.
    pub(super) joints: Vec<std::ops::Range<usize>>,
    pub(super) joint_springs: usize,
    pub(super) tool_rows: usize,
    /// Way of each float to its stop.
    pub(super) travel: Vec<f64>,
    /// Take-ups over the numbers, their constant and their slot.
    pub(super) take_ups: Vec<(Sparse, f64, f64)>,
    /// Where each profile's numbers stand: first amplitude, and the modes on the zone's grid.
    pub(super) profiles: Vec<usize>,
    pub(super) modes_on_grid: DMatrix<f64>,
    pub(super) count: usize,
}

/// What the machine answers to one thing: truck poses, block loads, joint springs, tool rows, floats.
struct Answer {
    trucks: [f64; 10],
    loads: Vec<[f64; 5]>,
    others: Vec<f64>,
}

impl LinearMap {
    /// The map of an evaluator; `None` where its machine is not affine (rows, drag by its law, floats that move while joints
    /// are tightened, a perfect installation that is at a stop or at the end of a slot).
    ///
    /// # Errors
    /// An equilibrium was not found.
    pub(super) fn new(evaluator: &Evaluator<'_>, draws: &Draws<'_>, service: &[ServiceState]) -> Result<Option<Self>, NotConverged> {
        let machine = &evaluator.machine;
        let plan = machine.plan;
        let floats = machine.float_count();
        let by_law = floats > 0 && evaluator.maps.iter().any(|m| m.drag() == Drag::Law);
        let slots = machine.take_up_limits();
        let tightened = slots.iter().any(|s| *s > 0.0);
        if machine.rows().is_some() || by_law || (tightened && floats > 0) {
            return Ok(None);
        }
        let ask = Asker { evaluator, places: rail_places(&evaluator.stations[0].points) };
        let perfect = Installation::perfect(plan);
        let taken_0 = evaluator.taken_up(&perfect)?;
        let at_end = |t: &TakenUp| t.slot_used >= 1.0 - 1e-9;
        let Some(situations) = ask.situations(&perfect, &taken_0, service)?.filter(|_| !at_end(&taken_0)) else { return Ok(None) };
        let places = draws.places();
        let (mut trucks_made, mut mounts) = (vec![Sparse::new(); 10], vec![Sparse::new(); 5 * plan.block_count()]);
        let mut others_made = vec![Sparse::new(); ask.others(&Vector24::zeros(), &[]).len()];
        let mut take_ups: Vec<(Sparse, f64, f64)> = taken_0.tau.iter().zip(&slots).map(|(t, slot)| (Sparse::new(), *t, *slot)).collect();
        let mut rail: Vec<Vec<Sparse>> = evaluator.stations.iter().map(|_| vec![Sparse::new(); RAIL * ask.places.len()]).collect();
        for (j, place) in places.iter().enumerate() {
            let Some((unit, size)) = probe(draws, *place, j, &places) else { continue };
            let taken = evaluator.taken_up(&unit)?;
            if at_end(&taken) {
                return Ok(None);
            }
            let j = j as u32;
            let of_unit = |t: f64| t / size;
            let keep = |to: &mut Sparse, value: f64| {
                if value != 0.0 {
                    to.push((j, value));
                }
            };
            let tau: Vec<f64> = taken.tau.iter().zip(&taken_0.tau).map(|(t, t0)| t - t0).collect();
            take_ups.iter_mut().zip(&tau).for_each(|((row, _, _), t)| keep(row, of_unit(*t)));
            let answer = ask.made(&unit, &tau);
            trucks_made.iter_mut().zip(answer.trucks).for_each(|(row, v)| keep(row, of_unit(v)));
            let loads = answer.loads.iter().flatten();
            mounts.iter_mut().zip(loads).for_each(|(row, v)| keep(row, of_unit(*v)));
            others_made.iter_mut().zip(&answer.others).for_each(|(row, v)| keep(row, of_unit(*v)));
            for (rows, station) in rail.iter_mut().zip(&evaluator.stations) {
                for (p, &first) in ask.places.iter().enumerate() {
                    let line = machine.rails().line(&station.points[first], &unit);
                    line.iter().enumerate().for_each(|(i, (value, slope))| {
                        keep(&mut rows[RAIL * p + 2 * i], of_unit(*value));
                        keep(&mut rows[RAIL * p + 2 * i + 1], of_unit(*slope));
                    });
                }
            }
        }
        let by_rail: Vec<Answer> = (0..RAIL * ask.places.len()).map(|i| ask.rail(i)).collect();
        let over = |row: usize, of: &dyn Fn(&Answer, usize) -> f64| -> Vec<f64> { by_rail.iter().map(|a| of(a, row)).collect() };
        let joints = machine.joint_springs();
        Ok(Some(Self {
            stations: evaluator.stations.iter().zip(rail).map(|(s, rail)| StationRows { share: s.share, rail }).collect(),
            blocks: ask.blocks(),
            trucks: Packed::new(&(0..10).map(|row| over(row, &|a, r| a.trucks[r])).collect::<Vec<_>>()),
            trucks_made,
            mounts,
            others: Packed::new(&(0..others_made.len()).map(|row| over(row, &|a, r| a.others[r])).collect::<Vec<_>>()),
            others_made,
            joint_springs: joints.iter().map(ExactSizeIterator::len).sum(),
            joints,
            tool_rows: 4 * ask.tools().len(),
            travel: (0..floats).map(|i| evaluator.maps[0].travel(i)).collect(),
            take_ups: take_ups.into_iter().filter(|(_, _, slot)| *slot > 0.0).collect(),
            profiles: (0..places.len()).filter(|&j| matches!(places[j], Place::Mode { mode: 0, .. })).collect(),
            modes_on_grid: draws.modes().on_grid.clone(),
            count: places.len(),
            situations,
        }))
    }
}

/// An installation with one number set, and how large that number is in it. A profile's amplitude is set without its shape's
/// peak-to-valley brought in: the kernel does that.
fn probe(draws: &Draws<'_>, place: Place, j: usize, places: &[Place]) -> Option<(Installation, f64)> {
    // Well inside every slot, yet large beside the digits of the take-ups; powers of two, so that dividing keeps all digits.
    let size = |kind: ErrorKind| {
        let angle = ErrorKind::ALL.iter().any(|s| s.kind == kind && s.angle);
        if angle { 2.0_f64.powi(-11) } else { 2.0_f64.powi(-5) }
    };
    match place {
        Place::Value { kind, .. } => {
            let mut numbers = vec![0.0; places.len()];
            numbers[j] = size(kind);
            Some((draws.installation(&numbers), size(kind)))
        }
        Place::Mode { kind, mode } => {
            let mut amplitudes = vec![0.0; draws.modes().count()];
            amplitudes[mode] = size(kind);
            Some((draws.with_profile(kind, draws.modes().at_anchors(&amplitudes)), size(kind)))
        }
        Place::PeakToValley { .. } => None,
    }
}

/// First point of every distinct place along each rail.
fn rail_places(points: &[RailPoint]) -> Vec<usize> {
    let mut list: Vec<usize> = Vec::new();
    for (i, p) in points.iter().enumerate() {
        if !list.iter().any(|&j| points[j].side == p.side && points[j].s == p.s) {
            list.push(i);
        }
    }
    list
}

struct Asker<'e, 'p> {
    evaluator: &'e Evaluator<'p>,
    /// First block over every distinct place of the rails.
    places: Vec<usize>,
}

impl Asker<'_, '_> {
    fn answer(&self, pose: &Vector24, imposed: &[[f64; 5]], offsets: &[f64]) -> Answer {
        Answer {
            trucks: std::array::from_fn(|i| pose[if i < 5 { 1 + i } else { 2 + i }]),
            loads: self.evaluator.machine.block_loads(pose, imposed).collect(),
            others: self.others(pose, offsets),
        }
    }

    /// Joint springs, tool rows (without the bridge's own shape), floats at a pose.
    fn others(&self, pose: &Vector24, offsets: &[f64]) -> Vec<f64> {
        let machine = &self.evaluator.machine;
        let mut list = machine.joint_spring_forces(pose, offsets);
        list.extend(self.tools().iter().flat_map(|&c| self.evaluator.tools[c].at(pose)));
        let float_offsets = if offsets.is_empty() { Vec::new() } else { machine.float_offsets(offsets) };
        list.extend(self.evaluator.maps[0].displacements(pose, &float_offsets));
        list
    }

    /// First load case of every distinct tool point.
    fn tools(&self) -> Vec<usize> {
        let duty = &self.evaluator.machine.plan.duty;
        let same = |a: usize, b: usize| duty[a].payload_y_mm == duty[b].payload_y_mm && duty[a].payload_arm_mm == duty[b].payload_arm_mm;
        (0..duty.len()).filter(|&c| !(0..c).any(|d| same(c, d))).collect()
    }

    /// What all that is no rail line does: making, mounting, seats, take-ups.
    fn made(&self, unit: &Installation, tau: &[f64]) -> Answer {
        let machine = &self.evaluator.machine;
        let map = &self.evaluator.maps[0];
        let imposed: Vec<[f64; 5]> = unit.block_offset_mm.iter().flatten().map(|offset| [offset[0], offset[1], 0.0, 0.0, 0.0]).collect();
        let offsets = machine.joint_offsets(unit, tau);
        let forces = machine.rail_forces(&imposed)
            + machine.made_forces(unit, &Default::default(), 0.0)
            + machine.joint_offset_forces(&offsets)
            + map.offset_forces(&machine.float_offsets(&offsets));
        let pose = map.linear_pose(&forces);
        let mut answer = self.answer(&pose, &imposed, &offsets);
        // Loads by the pose come from the trucks' rows; what stays here is the block's own place.
        let still = Vector24::zeros();
        answer.loads = machine.block_loads(&still, &imposed).collect();
        let first = machine.joint_spring_forces(&pose, &offsets).len();
        for (i, &case) in self.tools().iter().enumerate() {
            let shape = self.evaluator.tools[case].shape(machine.plan, unit, &Default::default());
            (0..4).for_each(|k| answer.others[first + 4 * i + k] += shape[k]);
        }
        answer
    }

    /// What one rail value does.
    fn rail(&self, value: usize) -> Answer {
        let machine = &self.evaluator.machine;
        let points = &self.evaluator.stations[0].points;
        let at = &points[self.places[value / RAIL]];
        let imposed: Vec<[f64; 5]> = points
            .iter()
            .map(|p| {
                let b = p.lateral_mm;
                let one = |i: usize| if p.side == at.side && p.s == at.s && value % RAIL == i { 1.0 } else { 0.0 };
                [one(0), one(2) + b * one(4), one(4), -(one(3) + b * one(5)), one(1)]
            })
            .collect();
        let pose = self.evaluator.maps[0].linear_pose(&machine.rail_forces(&imposed));
        self.answer(&pose, &imposed, &[])
    }

    fn blocks(&self) -> Vec<BlockArms> {
        let machine = &self.evaluator.machine;
        let points = &self.evaluator.stations[0].points;
        let place = |p: &RailPoint| self.places.iter().position(|&j| points[j].side == p.side && points[j].s == p.s).unwrap_or(0);
        let stiffness = machine.block_stiffnesses();
        let of = |(p, stiffness): (&RailPoint, [f64; 5])| BlockArms {
            side: p.side,
            rail: RAIL * place(p),
            x_mm: machine.plan.trucks[p.side].blocks[p.block].x_mm,
            lateral_mm: p.lateral_mm,
            stiffness,
        };
        points.iter().zip(stiffness).map(of).collect()
    }

    /// Constants of every state of service, load case and state of the drag; `None` where a float is at its stop already.
    fn situations(
        &self,
        perfect: &Installation,
        taken_up: &TakenUp,
        service: &[ServiceState],
    ) -> Result<Option<Vec<SituationConstants>>, NotConverged> {
        let e = self.evaluator;
        let machine = &e.machine;
        let plan = machine.plan;
        let offsets = machine.joint_offsets(perfect, &taken_up.tau);
        let float_offsets = machine.float_offsets(&offsets);
        let straight = vec![[0.0; 5]; plan.block_count()];
        let joints = machine.joint_springs();
        let springs: usize = joints.iter().map(ExactSizeIterator::len).sum();
        let tools = self.tools();
        let mut list = Vec::new();
        for state in service {
            for (c, case) in plan.duty.iter().enumerate() {
                let forces = machine.made_forces(perfect, &state.thermal, state.skew_in_case_mm(machine, c))
                    + machine.joint_offset_forces(&offsets)
                    + e.case_loads[c];
                for (d, map) in e.maps.iter().enumerate() {
                    let mut pose = map.linear_pose(&(forces + map.offset_forces(&float_offsets)));
                    let mut work = FloatWork::default();
                    map.correct(&mut pose, &float_offsets, &mut work, || forces)?;
                    if (0..map.count()).any(|i| work.delta[i].abs() > map.travel(i)) {
                        return Ok(None);
                    }
                    let tool_at = e.tools[c].at(&pose);
                    let shape = e.tools[c].shape(plan, perfect, &state.thermal);
                    let from = e.perfect_tool(0, c, d);
                    let same =
                        |t: &usize| plan.duty[*t].payload_y_mm == case.payload_y_mm && plan.duty[*t].payload_arm_mm == case.payload_arm_mm;
                    list.push(SituationConstants {
                        share: state.share * case.share / e.maps.len() as f64,
                        loads: machine.block_loads(&pose, &straight).collect(),
                        joints: machine.joint_spring_forces(&pose, &offsets),
                        drag_square: machine.joint_drag_squares(map.drag()),
                        tool: std::array::from_fn(|i| tool_at[i] + shape[i] - from[i]),
                        tool_rows: springs + 4 * tools.iter().position(same).unwrap_or(0),
                        floats: work.delta,
                    });
                }
            }
        }
        Ok(Some(list))
    }
}
