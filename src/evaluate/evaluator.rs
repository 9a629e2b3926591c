//! One installation of one machine, over the whole stroke, duty and service: what every study counts.

use crate::bearing::{EquivalentLoad, LifeSum, effective_load, rating_life_km, row_rating_n, row_unloading_load, system_life_km};
use crate::geometry::RailPoint;
use crate::input::plan::{DragStates, Law};
use crate::input::{Installation, Plan};
use crate::structure::{Carried, Drag, Eight, FloatMap, FloatWork, Machine, NotConverged, TakenUp, Tightener, ToolPoint, Vector24};

use super::ServiceState;
use super::keepsake::Keepsake;
use super::row_lives::RowLives;
use super::service::drag_states;
use super::{BlockOutcome, Outcome};

mod stroke;
#[cfg(test)]
mod tests;

/// Working memory of one thread.
#[derive(Debug, Clone, Default)]
pub struct Work {
    floats: FloatWork,
    imposed: Vec<[f64; 5]>,
    lives: Vec<LifeSum>,
    made: Vec<(Vector24, Vector24)>,
    tool_shape: Vec<[f64; 4]>,
    slid: Vec<bool>,
    /// Contact-level blocks: what each load case and state carries from station to station, and the rows' lives.
    carried: Vec<Carried>,
    rows: Vec<RowLives>,
    /// Working memory of several side by side, of the first of them, once it was needed.
    eight: Option<Box<Eight>>,
    /// Largest equivalent load of any block at each station of the last installation, N.
    pub stroke_peak_n: Vec<f64>,
    /// Mean load, largest load and least static safety of each block of the last installation.
    pub blocks: Vec<BlockOutcome>,
}

/// What is counted against: the perfect installation.
#[derive(Debug, Clone, Default)]
struct Perfect {
    life_km: f64,
    /// Largest equivalent load of each block.
    peak_load_n: Vec<f64>,
    /// Tool point by station, load case, drag state.
    tool: Vec<[f64; 4]>,
}

pub(crate) struct StationData {
    x_mm: f64,
    pub(crate) share: f64,
    pub(crate) points: Vec<RailPoint>,
}

/// A machine made ready for many installations.
pub struct Evaluator<'p> {
    /// The machine.
    pub machine: Machine<'p>,
    tightener: Option<Tightener>,
    pub(crate) stations: Vec<StationData>,
    pub(crate) case_loads: Vec<Vector24>,
    case_poses: Vec<Vector24>,
    pub(crate) tools: Vec<ToolPoint>,
    pub(crate) maps: Vec<FloatMap>,
    unit_skew: Vector24,
    /// Rating of an element of a row, at the contact level.
    row_rating_n: Option<f64>,
    perfect: Perfect,
    perfect_outcome: Option<Outcome>,
    /// What the last studies prepared.
    pub(crate) keepsake: Keepsake,
}

impl Work {
    /// Newton steps that contact-level poses of the last installation took.
    #[must_use]
    pub fn newton_steps(&self) -> usize {
        self.carried.iter().map(|c| c.steps).sum()
    }
}

impl std::fmt::Debug for Evaluator<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Evaluator({})", self.machine.name())
    }
}

impl<'p> Evaluator<'p> {
    /// Prepares a machine and computes its perfect installation.
    ///
    /// # Errors
    /// An equilibrium was not found.
    pub fn new(machine: Machine<'p>, drag: DragStates) -> Result<Self, NotConverged> {
        let plan = machine.plan;
        let not_held = NotConverged { iterations: 0, residual: f64::INFINITY };
        let maps: Vec<FloatMap> =
            drag_states(&machine, drag).into_iter().map(|d| FloatMap::new(&machine, d).ok_or(not_held)).collect::<Result<_, _>>()?;
        let case_loads: Vec<Vector24> = (0..plan.duty.len()).map(|c| machine.case_loads(c)).collect();
        let stations = plan.frame.stations_x_mm.iter().zip(&plan.frame.station_share);
        let mut evaluator = Self {
            tightener: Tightener::new(&machine)?,
            stations: stations.map(|(&x_mm, &share)| StationData { x_mm, share, points: machine.rails().points(plan, x_mm) }).collect(),
            case_poses: case_loads.iter().map(|f| maps[0].linear_pose(f)).collect(),
            tools: plan.duty.iter().map(|c| ToolPoint::new(plan, c.payload_y_mm, c.payload_arm_mm)).collect(),
            unit_skew: machine.unit_skew_forces(),
            row_rating_n: plan.block.contact.as_ref().filter(|_| machine.rows().is_some()).map(|c| row_rating_n(&plan.block, c)),
            perfect: Perfect::default(),
            perfect_outcome: None,
            keepsake: Keepsake::default(),
            case_loads,
            maps,
            machine,
        };
        let mut perfect = Perfect::default();
        let mut work = Work::default();
        let still = [ServiceState::still()];
        let installation = Installation::perfect(plan);
        let outcome = evaluator.run(&installation, &still, &mut work, Some(&mut perfect))?;
        perfect.life_km = outcome.life_km;
        perfect.peak_load_n = work.blocks.iter().map(|b| b.peak_load_n).collect();
        evaluator.perfect = perfect;
        evaluator.perfect_outcome = Some(evaluator.run(&installation, &still, &mut work, None)?);
        Ok(evaluator)
    }

    /// The plan.
    #[must_use]
    pub fn plan(&self) -> &'p Plan {
        self.machine.plan
    }

    /// What the perfect installation comes to.
    ///
    /// # Panics
    /// Never: the constructor has computed it.
    #[must_use]
    pub fn perfect(&self) -> Outcome {
        self.perfect_outcome.unwrap_or_else(Outcome::start)
    }

    /// What an installation comes to in these states of service.
    ///
    /// # Errors
    /// An equilibrium was not found.
    pub fn evaluate(&self, installation: &Installation, service: &[ServiceState], work: &mut Work) -> Result<Outcome, NotConverged> {
        self.run(installation, service, work, None)
    }

    /// Largest load of a block in the perfect installation, N.
    #[must_use]
    pub fn perfect_peak_load_n(&self, block: usize) -> f64 {
        self.perfect.peak_load_n.get(block).copied().unwrap_or(0.0)
    }

    /// States of the drag that count.
    #[must_use]
    pub fn drags(&self) -> Vec<Drag> {
        self.maps.iter().map(FloatMap::drag).collect()
    }

    /// Tool point of the perfect installation (x, y, z in mm, yaw in rad) at a station, in a load case and state of the drag.
    #[must_use]
    pub fn perfect_tool(&self, station: usize, case: usize, drag: usize) -> [f64; 4] {
        let at = (station * self.machine.plan.duty.len() + case) * self.maps.len() + drag;
        self.perfect.tool.get(at).copied().unwrap_or([0.0; 4])
    }

    /// What the joints of an installation take up.
    ///
    /// # Errors
    /// The program of the take-ups was not solved.
    pub fn taken_up(&self, installation: &Installation) -> Result<TakenUp, NotConverged> {
        self.tightener.as_ref().map_or_else(|| Ok(TakenUp::default()), |t| t.take_up(&self.machine, installation))
    }

    /// Counts the blocks' loads at a pose; `at` is the station and the situation there.
    fn note_blocks(&self, pose: &Vector24, at: (usize, usize), share: f64, work: &mut Work) {
        let (station, situation) = at;
        let mut peak = work.stroke_peak_n[station];
        match self.machine.rows() {
            None => {
                let loads = self.machine.block_loads(pose, &work.imposed);
                for ((load, sum), block) in loads.zip(&mut work.lives).zip(&mut work.blocks) {
                    peak = peak.max(self.note_load(&load, share, sum, block));
                }
            }
            Some(_) => {
                let all = work.carried[situation].blocks.iter().zip(&mut work.lives).zip(&mut work.blocks).zip(&mut work.rows);
                for (((loads, sum), block), lives) in all {
                    peak = peak.max(self.note_load(&loads.force, share, sum, block));
                    lives.note(&loads.rows, share, block);
                }
            }
        }
        work.stroke_peak_n[station] = peak;
    }

    /// Counts one block's load and returns its equivalent load.
    fn note_load(&self, load: &[f64; 5], share: f64, sum: &mut LifeSum, block: &mut BlockOutcome) -> f64 {
        let data = &self.machine.plan.block;
        let p = EquivalentLoad::of(data, load);
        if share > 0.0 {
            sum.add(data.element, share, effective_load(data, p.dynamic_n));
        }
        block.pull_n = block.pull_n.max(load[1]);
        block.peak_load_n = block.peak_load_n.max(p.dynamic_n);
        block.peak_static_load_n = block.peak_static_load_n.max(p.static_n);
        p.dynamic_n
    }

    /// Forces and poses that do not depend on the station, for each state of service and load case.
    fn prepare(&self, installation: &Installation, service: &[ServiceState], offsets: &[f64], work: &mut Work) {
        let plan = self.machine.plan;
        let map = &self.maps[0];
        let of_joints = self.machine.joint_offset_forces(offsets);
        work.made.clear();
        work.tool_shape.clear();
        for state in service {
            let made = self.machine.made_forces(installation, &state.thermal, 0.0) + of_joints;
            let made_pose = map.linear_pose(&made);
            for c in 0..plan.duty.len() {
                let skew = self.unit_skew * state.skew_in_case_mm(&self.machine, c);
                let skew_pose = if skew == Vector24::zeros() { skew } else { map.linear_pose(&skew) };
                work.made.push((made + skew + self.case_loads[c], made_pose + skew_pose + self.case_poses[c]));
                work.tool_shape.push(self.tools[c].shape(plan, installation, &state.thermal));
            }
        }
        let blocks = plan.block_count();
        work.lives.clear();
        work.lives.resize(blocks, LifeSum::default());
        work.blocks.clear();
        work.blocks.resize(blocks, BlockOutcome::default());
        work.stroke_peak_n.clear();
        work.stroke_peak_n.resize(self.stations.len(), 0.0);
        work.slid.clear();
        work.slid.resize(map.count(), false);
        work.rows.clear();
        work.carried.clear();
        if self.row_rating_n.is_some() {
            work.rows.resize(blocks, RowLives::default());
            work.carried.resize(work.made.len() * self.maps.len(), Carried::default());
        }
    }

    fn note_floats(&self, map: &FloatMap, delta: &[f64], x_mm: f64, outcome: &mut Outcome, slid: &mut [bool]) {
        for (i, d) in delta.iter().enumerate().take(map.count()) {
            let used = d.abs() / map.travel(i);
            outcome.float_travel_used = outcome.float_travel_used.max(used);
            if used > 1.0 {
                outcome.stop_from_x_mm = Some(outcome.stop_from_x_mm.map_or(x_mm, |x| x.min(x_mm)));
            }
            slid[i] |= !map.sticks(i, *d);
        }
    }

    fn finish(&self, outcome: &mut Outcome, work: &mut Work) {
        let block = &self.machine.plan.block;
        outcome.extra_load_n = f64::NEG_INFINITY;
        for (i, (sum, b)) in work.lives.iter().zip(&mut work.blocks).enumerate() {
            b.extra_load_n = b.peak_load_n - self.perfect.peak_load_n.get(i).copied().unwrap_or(b.peak_load_n);
            b.mean_load_n = sum.mean_load_n(block.element);
            b.life_km = rating_life_km(block, b.mean_load_n);
            b.static_safety = block.c0_n / b.peak_static_load_n;
            outcome.pull_n = outcome.pull_n.max(b.pull_n);
            outcome.peak_load_n = outcome.peak_load_n.max(b.peak_load_n);
            outcome.extra_load_n = outcome.extra_load_n.max(b.extra_load_n);
            outcome.static_safety = outcome.static_safety.min(b.static_safety);
        }
        // Without preload there is no load at which a row could still unload.
        let unloading_n = row_unloading_load(block);
        outcome.row_unloading = if unloading_n > 0.0 { outcome.peak_load_n / unloading_n } else { 0.0 };
        outcome.life_km = system_life_km(block.element, work.blocks.iter().map(|b| b.life_km));
        if let (Some(rating), Some(rows)) = (self.row_rating_n, self.machine.rows()) {
            super::row_lives::finish(block, rating, rows, outcome, &work.rows, &mut work.blocks);
        }
        outcome.life_loss = if self.perfect.life_km > 0.0 { 1.0 - outcome.life_km / self.perfect.life_km } else { 0.0 };
    }

    /// True if a float of this arrangement drags.
    #[must_use]
    pub fn has_floats_with_drag(&self) -> bool {
        let floats = self.plan().arrangements[self.machine.arrangement].ends.iter().flatten();
        floats.flat_map(|j| &j.components).any(|c| matches!(c.law, Law::Float { drag, .. } if drag > 0.0))
    }
}
