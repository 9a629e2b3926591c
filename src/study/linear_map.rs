//! A machine with springs only, seen as one affine map of an installation's numbers: what the fast path of a study runs on.
//!
//! Everything is affine while blocks are springs, no float passes its stop, the floats' drag is set to its full value and no
//! slot comes to its end. The map is made by asking the machine itself: once for the perfect installation in every state
//! of service, once for every number, once for every value that a rail may take under a block.

use super::evaluate::Evaluator;
use super::linear_fatigue::Weights;
use super::linear_groups::Groups;
use super::linear_situations::{Situations, situations};
use super::linear_tiles::{Sparse, Tiles};
use super::numbers::Numbers;
use super::service::ServiceState;
use crate::geometry::RailPoint;
use crate::input::Installation;
use crate::structure::{Drag, NotConverged, TakenUp, Vector24};

/// Values that a rail takes at a place: lateral, vertical, roll, each with its slope.
pub(super) const RAIL: usize = 6;

/// Constants of blocks that differ by less than this part of the largest one differ by rounding.
const ALIKE: f64 = 1e-12;

/// Freedoms that a rail pushes: y, z, rx, ry, rz of both trucks.
const PUSHED: [usize; 10] = [1, 2, 3, 4, 5, 7, 8, 9, 10, 11];

/// One station.
#[derive(Debug, Clone)]
pub(super) struct StationRows {
    pub(super) share: f64,
    /// Rail values, place by place, over the numbers.
    pub(super) rail: Tiles,
}

/// One block: which truck's pose and which place of the rail it feels. Loads are times their weights in P.
#[derive(Debug, Clone)]
pub(super) struct BlockArms {
    pub(super) side: usize,
    /// First of its rail values.
    pub(super) rail: usize,
    pub(super) x_mm: f64,
    pub(super) lateral_mm: f64,
    pub(super) stiffness: [f64; 5],
    pub(super) groups: Groups,
    /// Its loads in each situation of the perfect installation.
    pub(super) constants: Vec<[f64; 5]>,
    /// The largest of them upward.
    pub(super) most_lift: f64,
}

/// Springs of one joint.
#[derive(Debug, Clone)]
pub(super) struct JointRows {
    /// Their rows in the response.
    pub(super) springs: std::ops::Range<usize>,
    /// Twice the springs' forces in each situation, over the springs.
    pub(super) twice: Tiles,
    /// Sum of squares of them and of the drags in each situation, N^2.
    pub(super) squares: Vec<f64>,
    /// Largest of those sums; of each spring, twice its least and its largest force.
    pub(super) most: f64,
    pub(super) twice_ends: Vec<[f64; 2]>,
}

/// One distinct tool point.
#[derive(Debug, Clone)]
pub(super) struct ToolRows {
    /// First of its four rows in the response: x, y, z (mm), yaw (rad).
    pub(super) rows: usize,
    /// Each situation at this point: its x, y, z against the perfect installation.
    pub(super) ways: Vec<[f64; 3]>,
    /// Least and largest yaw of them.
    pub(super) yaw: [f64; 2],
}

/// One float.
#[derive(Debug, Clone)]
pub(super) struct FloatRow {
    pub(super) row: usize,
    pub(super) travel: f64,
    /// Least and largest displacement in the perfect installation.
    pub(super) constants: [f64; 2],
}

/// The whole map.
#[derive(Debug, Clone)]
pub(super) struct LinearMap {
    pub(super) stations: Vec<StationRows>,
    pub(super) blocks: Vec<BlockArms>,
    /// Forces of the rails on the trucks over the rail values.
    pub(super) forces: Tiles,
    /// y, z, rx, ry, rz of both trucks, joint springs, tool points, floats over those forces.
    pub(super) response: Tiles,
    /// The same over the numbers, the part that no station changes.
    pub(super) made: Tiles,
    /// Loads of the blocks by their own places in the truck, over the numbers: block by block, lateral and vertical.
    pub(super) mounts: Tiles,
    pub(super) joints: Vec<JointRows>,
    pub(super) tools: Vec<ToolRows>,
    pub(super) floats: Vec<FloatRow>,
    /// Take-ups over the numbers; constant and slot of each.
    pub(super) take_ups: Tiles,
    pub(super) slots: Vec<(f64, f64)>,
    /// Where each profile's numbers stand: first amplitude. Modes on the zone's grid.
    pub(super) profiles: Vec<usize>,
    pub(super) modes: usize,
    pub(super) grid: Tiles,
    pub(super) grid_points: usize,
}

impl LinearMap {
    /// The map of an evaluator; `None` where its machine is not affine (rows, drag by its law, floats that move while joints
    /// are tightened, a perfect installation that is at a stop or at the end of a slot).
    ///
    /// # Errors
    /// An equilibrium was not found.
    pub(super) fn new(evaluator: &Evaluator<'_>, numbers: &dyn Numbers, service: &[ServiceState]) -> Result<Option<Self>, NotConverged> {
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
        let weights = Weights::new(&plan.block);
        let perfect = Installation::perfect(plan);
        let taken_0 = evaluator.taken_up(&perfect)?;
        let at_end = |t: &TakenUp| t.slot_used >= 1.0 - 1e-9;
        let found = situations(evaluator, &perfect, &taken_0, service)?.filter(|_| !at_end(&taken_0));
        let (Some(situations), Some((forces, response))) = (found, ask.pushes()) else { return Ok(None) };
        let mut made = vec![Sparse::new(); response.len()];
        let mut mounts = vec![Sparse::new(); 2 * plan.block_count()];
        let mut take_ups = vec![Sparse::new(); slots.len()];
        let mut rail: Vec<Vec<Sparse>> = evaluator.stations.iter().map(|_| vec![Sparse::new(); RAIL * ask.places.len()]).collect();
        for j in 0..numbers.count() {
            let Some((unit, size)) = numbers.probe(j) else { continue };
            let taken = evaluator.taken_up(&unit)?;
            if at_end(&taken) {
                return Ok(None);
            }
            let keep = |to: &mut Sparse, value: f64| {
                if value != 0.0 {
                    to.push((j as u32, value / size));
                }
            };
            let tau: Vec<f64> = taken.tau.iter().zip(&taken_0.tau).map(|(t, t0)| t - t0).collect();
            take_ups.iter_mut().zip(&tau).for_each(|(row, t)| keep(row, *t));
            let (response, loads) = ask.made(&unit, &tau);
            made.iter_mut().zip(response).for_each(|(row, v)| keep(row, v));
            let loads = loads.iter().flat_map(|l| l.iter().zip(&weights.dynamic).take(2));
            mounts.iter_mut().zip(loads).for_each(|(row, (v, weight))| keep(row, v * weight));
            for (rows, station) in rail.iter_mut().zip(&evaluator.stations) {
                for (p, &first) in ask.places.iter().enumerate() {
                    let line = machine.rails().line(&station.points[first], &unit);
                    line.iter().enumerate().for_each(|(i, (value, slope))| {
                        keep(&mut rows[RAIL * p + 2 * i], *value);
                        keep(&mut rows[RAIL * p + 2 * i + 1], *slope);
                    });
                }
            }
        }
        let limited: Vec<usize> = (0..slots.len()).filter(|&i| slots[i] > 0.0).collect();
        let grid = &numbers.modes().on_grid;
        let of_point = |row: usize| -> Sparse { (0..grid.ncols()).map(|m| (m as u32, grid[(row, m)])).collect() };
        Ok(Some(Self {
            stations: evaluator
                .stations
                .iter()
                .zip(rail)
                .map(|(s, rail)| StationRows { share: s.share, rail: Tiles::new(&rail) })
                .collect(),
            blocks: ask.blocks(&weights, &situations),
            joints: ask.joints(&situations),
            tools: ask.tool_rows(&situations),
            floats: ask.floats(&situations),
            forces: Tiles::new(&forces),
            response: Tiles::new(&response),
            made: Tiles::new(&made),
            mounts: Tiles::new(&mounts),
            take_ups: Tiles::new(&limited.iter().map(|&i| take_ups[i].clone()).collect::<Vec<_>>()),
            slots: limited.iter().map(|&i| (taken_0.tau[i], slots[i])).collect(),
            profiles: numbers.profiles(),
            modes: grid.ncols(),
            grid: Tiles::new(&(0..grid.nrows()).map(of_point).collect::<Vec<_>>()),
            grid_points: grid.nrows(),
        }))
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
    /// Truck poses, joint springs, tool points (without the bridge's own shape), floats at a pose.
    fn response(&self, pose: &Vector24, offsets: &[f64]) -> Vec<f64> {
        let machine = &self.evaluator.machine;
        let mut list: Vec<f64> = PUSHED.iter().map(|&i| pose[i]).collect();
        list.extend(machine.joint_spring_forces(pose, offsets));
        list.extend(self.evaluator.distinct_tools().iter().flat_map(|&c| self.evaluator.tools[c].at(pose)));
        let float_offsets = if offsets.is_empty() { Vec::new() } else { machine.float_offsets(offsets) };
        list.extend(self.evaluator.maps[0].displacements(pose, &float_offsets));
        list
    }

    /// First row of the joints' springs, of the tool points and of the floats in the response.
    fn rows(&self) -> [usize; 3] {
        let springs: usize = self.evaluator.machine.joint_springs().iter().map(ExactSizeIterator::len).sum();
        let tools = PUSHED.len() + springs;
        [PUSHED.len(), tools, tools + 4 * self.evaluator.distinct_tools().len()]
    }

    /// What all that is no rail line does (making, mounting, seats, take-ups) to the response, and the loads that blocks get by
    /// their own places: those by the pose come from the trucks' rows.
    fn made(&self, unit: &Installation, tau: &[f64]) -> (Vec<f64>, Vec<[f64; 5]>) {
        let machine = &self.evaluator.machine;
        let map = &self.evaluator.maps[0];
        let imposed: Vec<[f64; 5]> = unit.block_offset_mm.iter().flatten().map(|offset| [offset[0], offset[1], 0.0, 0.0, 0.0]).collect();
        let offsets = machine.joint_offsets(unit, tau);
        let forces = machine.rail_forces(&imposed)
            + machine.made_forces(unit, &Default::default(), 0.0)
            + machine.joint_offset_forces(&offsets)
            + map.offset_forces(&machine.float_offsets(&offsets));
        let mut response = self.response(&map.linear_pose(&forces), &offsets);
        let tools = self.rows()[1];
        for (i, &case) in self.evaluator.distinct_tools().iter().enumerate() {
            let shape = self.evaluator.tools[case].shape(machine.plan, unit, &Default::default());
            (0..4).for_each(|k| response[tools + 4 * i + k] += shape[k]);
        }
        (response, machine.block_loads(&Vector24::zeros(), &imposed).collect())
    }

    /// Rail forces over rail values and responses over rail forces; `None` if a rail pushed anything but the trucks.
    fn pushes(&self) -> Option<(Vec<Sparse>, Vec<Sparse>)> {
        let mut forces = vec![Sparse::new(); PUSHED.len()];
        for value in 0..RAIL * self.places.len() {
            let of_value = self.rail_force(value);
            if (0..24).any(|i| of_value[i] != 0.0 && !PUSHED.contains(&i)) {
                return None;
            }
            for (row, &i) in forces.iter_mut().zip(&PUSHED) {
                if of_value[i] != 0.0 {
                    row.push((value as u32, of_value[i]));
                }
            }
        }
        let mut response: Vec<Sparse> = Vec::new();
        for (j, &i) in PUSHED.iter().enumerate() {
            let unit = Vector24::from_fn(|k, _| if k == i { 1.0 } else { 0.0 });
            let of_force = self.response(&self.evaluator.maps[0].linear_pose(&unit), &[]);
            response.resize(of_force.len(), Sparse::new());
            response.iter_mut().zip(of_force).for_each(|(row, v)| row.push((j as u32, v)));
        }
        Some((forces, response))
    }

    /// Generalised forces of one rail value.
    fn rail_force(&self, value: usize) -> Vector24 {
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
        self.evaluator.machine.rail_forces(&imposed)
    }

    fn blocks(&self, weights: &Weights, situations: &Situations) -> Vec<BlockArms> {
        let machine = &self.evaluator.machine;
        let points = &self.evaluator.stations[0].points;
        let place = |p: &RailPoint| self.places.iter().position(|&j| points[j].side == p.side && points[j].s == p.s).unwrap_or(0);
        let weighed = |loads: &[f64; 5]| -> [f64; 5] { std::array::from_fn(|i| weights.dynamic[i] * loads[i]) };
        let largest = situations.loads.iter().flatten().flat_map(&weighed).fold(0.0, |most: f64, c| most.max(c.abs()));
        let of = |(b, (p, stiffness)): (usize, (&RailPoint, [f64; 5]))| {
            let constants: Vec<[f64; 5]> = situations.loads.iter().map(|loads| weighed(&loads[b])).collect();
            BlockArms {
                side: p.side,
                rail: RAIL * place(p),
                x_mm: machine.plan.trucks[p.side].blocks[p.block].x_mm,
                lateral_mm: p.lateral_mm,
                stiffness: weighed(&stiffness),
                groups: Groups::new(&constants, &situations.shares, ALIKE * largest),
                most_lift: constants.iter().map(|c| c[1]).fold(f64::NEG_INFINITY, f64::max),
                constants,
            }
        };
        points.iter().zip(machine.block_stiffnesses()).enumerate().map(of).collect()
    }

    fn joints(&self, situations: &Situations) -> Vec<JointRows> {
        let first = self.rows()[0];
        let of = |(j, range): (usize, std::ops::Range<usize>)| {
            let own = |forces: &Vec<f64>| forces[range.clone()].to_vec();
            let squares = situations.joints.iter().zip(&situations.drag_squares);
            let squares: Vec<f64> = squares.map(|(f, drags)| own(f).iter().map(|f| f * f).sum::<f64>() + drags[j]).collect();
            let twice: Vec<Sparse> = situations.joints.iter().map(|f| (0u32..).zip(own(f)).map(|(i, f)| (i, 2.0 * f)).collect()).collect();
            let most = squares.iter().copied().fold(0.0, f64::max);
            let twice_ends = range.clone().map(|i| ends(situations.joints.iter().map(|f| 2.0 * f[i]))).collect();
            JointRows { springs: first + range.start..first + range.end, twice: Tiles::new(&twice), squares, most, twice_ends }
        };
        self.evaluator.machine.joint_springs().into_iter().enumerate().map(of).collect()
    }

    fn tool_rows(&self, situations: &Situations) -> Vec<ToolRows> {
        let first = self.rows()[1];
        let of = |t: usize| {
            let own = || situations.tools.iter().filter(move |(of, _)| *of == t).map(|(_, at)| at);
            ToolRows { rows: first + 4 * t, ways: own().map(|at| [at[0], at[1], at[2]]).collect(), yaw: ends(own().map(|at| at[3])) }
        };
        (0..self.evaluator.distinct_tools().len()).map(of).collect()
    }

    fn floats(&self, situations: &Situations) -> Vec<FloatRow> {
        let (first, map) = (self.rows()[2], &self.evaluator.maps[0]);
        let constants = |i: usize| ends(situations.floats.iter().map(move |f| f[i]));
        (0..map.count()).map(|i| FloatRow { row: first + i, travel: map.travel(i), constants: constants(i) }).collect()
    }
}

/// Least and largest of some numbers.
fn ends(list: impl Iterator<Item = f64>) -> [f64; 2] {
    list.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], v| [low.min(v), high.max(v)])
}
