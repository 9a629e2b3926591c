//! A machine with springs only, seen as one affine map of an installation's numbers: what the fast path of a study runs on.
//!
//! Everything is affine while blocks are springs, no float passes its stop, the floats' drag is set to its full value and no
//! slot comes to its end. The map is made by asking the machine itself: once for the perfect installation in every state
//! of service, once for every number, once for every value that a rail may take under a block.

use super::extremes::{Reach, Vector};
use super::fatigue::Weights;
use super::pairs::Pairs;
use super::rows::{Kept, OWN, RAIL, mirrored, without_noise};
use super::seats::Seats;
use super::situations::{Situations, situations};
use super::tiles::{LARGE, Run, Sparse, Tiles};
use crate::draw::numbers::Numbers;
use crate::evaluate::Evaluator;
use crate::evaluate::ServiceState;
use crate::geometry::RailPoint;
use crate::input::Installation;
use crate::structure::{Drag, NotConverged, TakenUp, Vector24};

/// Constants of blocks that differ by less than this part of the largest one differ by rounding.
const ALIKE: f64 = 1e-12;

/// Freedoms that a rail pushes: y, z, rx, ry, rz of both trucks.
const PUSHED: [usize; OWN] = [1, 2, 3, 4, 5, 7, 8, 9, 10, 11];

/// One station.
#[derive(Debug, Clone)]
pub(super) struct StationRows {
    pub(crate) share: f64,
    /// Rail values beside the seats' lines, place by place; poses of the trucks off their seats; seats: over the numbers.
    pub(crate) rail: Tiles,
}

/// One block: the truck and the place of the rail that it feels. Loads are times their weights in P.
#[derive(Debug, Clone)]
pub(super) struct BlockArms {
    /// First of its truck's freedoms, and first of its rail values.
    pub(crate) truck: usize,
    pub(crate) rail: usize,
    pub(crate) x_mm: f32,
    pub(crate) lateral_mm: f32,
    pub(crate) stiffness: [f32; 5],
    pub(crate) pairs: Pairs,
    /// Its loads in each situation of the perfect installation.
    pub(super) constants: Vec<[f32; 5]>,
    /// The largest of them upward.
    pub(super) most_lift: f32,
}

/// The whole map.
#[derive(Debug, Clone)]
pub(super) struct LinearMap {
    pub(crate) stations: Vec<StationRows>,
    pub(crate) blocks: Vec<BlockArms>,
    /// Rail values: the poses by the rails, off the seats, stand behind them, then the seats, in whose place come the poses themselves.
    pub(crate) values: usize,
    /// Joint springs over the poses off the seats; tool points and floats over the poses.
    pub(crate) response: Tiles,
    /// What no station changes, over the numbers: of the trucks' poses, and of the response.
    pub(crate) made: Tiles,
    /// Loads of the blocks by their own places in the truck, over the numbers: block by block, lateral and vertical.
    pub(super) mounts: Tiles,
    /// Forces of the joints; displacements of the distinct tool points, mm, and their yaws, rad; travel of the floats.
    pub(crate) joints: Vec<Vector>,
    pub(crate) tools: Vec<Vector>,
    pub(super) yaws: Vec<Reach>,
    pub(crate) floats: Vec<Reach>,
    /// Take-ups over the numbers; how far each goes in its slot.
    pub(crate) take_ups: Tiles,
    pub(crate) slots: Vec<Reach>,
    /// Where each profile's numbers stand: first amplitude. Modes on the zone's grid.
    pub(crate) profiles: Vec<usize>,
    pub(crate) modes: usize,
    pub(crate) grid: Run<LARGE>,
}

impl LinearMap {
    /// The map of an evaluator; `None` where its machine is not affine (rows, drag by its law, floats that move while joints
    /// are tightened, a perfect installation that is at a stop or at the end of a slot).
    ///
    /// # Errors
    /// An equilibrium was not found.
    pub(crate) fn new(evaluator: &Evaluator<'_>, numbers: &dyn Numbers, service: &[ServiceState]) -> Result<Option<Self>, NotConverged> {
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
        let of_point = |p: usize| -> Sparse { (0..grid.ncols()).map(|m| (m as u32, grid[(p, m)])).collect() };
        let (poses, answers) = response.split_at(OWN);
        let (made_poses, made_answers) = made.split_at(OWN);
        let kept = mirrored(answers, made_answers);
        let Some(seats) = Seats::new(&forces, poses, &ask.places_in_trucks()) else { return Ok(None) };
        let Some(response) = ask.answers(&seats, answers, &kept) else { return Ok(None) };
        let rail: Vec<Vec<Sparse>> = rail.iter().map(|values| seats.of_numbers(values)).collect();
        // Rows answer to much the same numbers at every station.
        let groups = rail.first().map_or_else(Vec::new, |rows| Tiles::groups(rows));
        let values = RAIL * ask.places.len();
        Ok(Some(Self {
            stations: evaluator
                .stations
                .iter()
                .zip(&rail)
                .map(|(s, rail)| StationRows { share: s.share, rail: Tiles::grouped(rail, &groups) })
                .collect(),
            blocks: ask.blocks(&weights, &situations),
            joints: ask.joints(&situations, &kept),
            tools: ask.tools(&situations, &kept),
            yaws: ask.yaws(&situations, &kept),
            floats: ask.floats(&situations, &kept),
            values,
            made: Tiles::new(&made_poses.iter().chain(kept.rows.iter().map(|&r| &made_answers[r])).cloned().collect::<Vec<_>>()),
            response: Tiles::new(&response),
            mounts: Tiles::new(&mounts),
            take_ups: Tiles::new(&limited.iter().map(|&i| take_ups[i].clone()).collect::<Vec<_>>()),
            slots: limited.iter().enumerate().map(|(row, &i)| Reach::new(row, slots[i], [taken_0.tau[i]; 2])).collect(),
            profiles: numbers.profiles(),
            modes: grid.ncols(),
            grid: Run::of(&(0..grid.nrows()).map(of_point).collect::<Vec<_>>()),
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

    /// First row of the tool points and of the floats behind those of the joints' springs.
    fn rows(&self) -> [usize; 2] {
        let tools: usize = self.evaluator.machine.joint_springs().iter().map(ExactSizeIterator::len).sum();
        [tools, tools + 4 * self.evaluator.distinct_tools().len()]
    }

    /// Side and x in the truck of each place.
    fn places_in_trucks(&self) -> Vec<(usize, f64)> {
        let points = &self.evaluator.stations[0].points;
        let of = |&p: &usize| (points[p].side, self.evaluator.machine.plan.trucks[points[p].side].blocks[points[p].block].x_mm);
        self.places.iter().map(of).collect()
    }

    /// The rows that are kept of those over forces, over the rows of a station; `None` where joints are loaded on the seats.
    fn answers(&self, seats: &Seats, over_forces: &[Sparse], kept: &Kept) -> Option<Vec<Sparse>> {
        let ([tools, _], values) = (self.rows(), (RAIL * self.places.len()) as u32);
        let moved = |row: Sparse, by: u32| -> Sparse { row.into_iter().map(|(j, v)| (j + by, v)).collect() };
        let (joints, others): (Vec<usize>, Vec<usize>) = kept.rows.iter().partition(|&&r| r < tools);
        let joints = seats.of_off(&joints.iter().map(|&r| over_forces[r].clone()).collect::<Vec<_>>())?;
        let others = others.iter().map(|&r| moved(seats.of_pose(&over_forces[r]), values + OWN as u32));
        Some(joints.into_iter().map(|row| moved(row, values)).chain(others).collect())
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
        let tools = OWN + self.rows()[0];
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
        without_noise(&mut response, ALIKE);
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
                truck: 5 * p.side,
                rail: RAIL * place(p),
                x_mm: machine.plan.trucks[p.side].blocks[p.block].x_mm as f32,
                lateral_mm: p.lateral_mm as f32,
                stiffness: weighed(&stiffness).map(|k| k as f32),
                pairs: Pairs::new(&constants, &situations.shares, ALIKE * largest),
                most_lift: constants.iter().map(|c| c[1]).fold(f64::NEG_INFINITY, f64::max) as f32,
                constants: constants.into_iter().map(|c| c.map(|c| c as f32)).collect(),
            }
        };
        points.iter().zip(machine.block_stiffnesses()).enumerate().map(of).collect()
    }

    fn joints(&self, situations: &Situations, kept: &Kept) -> Vec<Vector> {
        let of = |(j, springs): (usize, std::ops::Range<usize>)| {
            let at: Vec<(usize, f64)> = springs.clone().map(|i| kept.at[i]).collect();
            let signed = |forces: &Vec<f64>| forces[springs.clone()].iter().zip(&at).map(|(force, (_, sign))| sign * force).collect();
            let situations = situations.joints.iter().zip(&situations.drag_squares).map(|(forces, drags)| (signed(forces), drags[j]));
            Vector::new(&at.iter().map(|(row, _)| *row).collect::<Vec<_>>(), situations)
        };
        self.evaluator.machine.joint_springs().into_iter().enumerate().map(of).collect()
    }

    /// What is added to a tool point's x, y, z and yaw in its situations.
    fn ways<'s>(&self, situations: &'s Situations, tool: usize) -> impl Iterator<Item = [f64; 4]> + 's {
        situations.tools.iter().filter(move |(of, _)| *of == tool).map(|(_, at)| *at)
    }

    fn tools(&self, situations: &Situations, kept: &Kept) -> Vec<Vector> {
        let first = self.rows()[0];
        let of = |t: usize| {
            let at: [(usize, f64); 3] = std::array::from_fn(|k| kept.at[first + 4 * t + k]);
            let signed = |way: [f64; 4]| way.iter().zip(&at).map(|(value, (_, sign))| sign * value).collect();
            Vector::new(&at.map(|(row, _)| row), self.ways(situations, t).map(|way| (signed(way), 0.0)))
        };
        (0..self.evaluator.distinct_tools().len()).map(of).collect()
    }

    fn yaws(&self, situations: &Situations, kept: &Kept) -> Vec<Reach> {
        let first = self.rows()[0];
        let of = |t: usize| kept.reach(first + 4 * t + 3, 1.0, ends(self.ways(situations, t).map(|way| way[3])));
        (0..self.evaluator.distinct_tools().len()).map(of).collect()
    }

    fn floats(&self, situations: &Situations, kept: &Kept) -> Vec<Reach> {
        let (first, map) = (self.rows()[1], &self.evaluator.maps[0]);
        (0..map.count()).map(|i| kept.reach(first + i, map.travel(i), ends(situations.floats.iter().map(|f| f[i])))).collect()
    }
}

/// Least and largest of some numbers.
fn ends(list: impl Iterator<Item = f64>) -> [f64; 2] {
    list.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], v| [low.min(v), high.max(v)])
}
