//! Joints tightened on the machine: what their slots take up of the misfit, once an installation.
//!
//! With all joints loose together, the take-ups tau minimise the strain energy that is left, plus the work
//! F_s tau of the weight that the joints carry, plus a whisper of regularisation; each is limited by its slot.

use nalgebra::{DMatrix, DVector};

use super::elements::JointElement;
use super::equilibrium::{FloatSet, NotConverged, Problem, minimise};
use super::floats::{FloatMap, FloatWork};
use super::laws::Drag;
use super::loads::tightening_loads;
use super::settle::{Acting, Carried};
use super::state::State;
use super::{Machine, Matrix24, Vector24};
use crate::geometry::RailPoint;
use crate::input::Installation;
use crate::input::plan::Law;
use crate::math::minimise_in_box;

/// Regularisation: stiffness of the take-ups themselves as a share of their joint's.
const MU: f64 = 1e-8;

/// Share of the energy in the slots that a step may still gain, with contacts: Newton's next step would square it.
const CURVED_GAIN: f64 = 1e-12;

/// Index of z among the components: the one that carries the bridge.
const Z: usize = 2;

/// What was taken up, for every joint component of the machine in order (mm, rad).
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TakenUp {
    /// tau of each component; empty where nothing is taken up.
    pub tau: Vec<f64>,
    /// Largest share of a slot that was used.
    pub slot_used: f64,
}

/// The machine in the state in which its joints are tightened.
#[derive(Debug, Clone)]
pub struct Tightener {
    /// Numbers of the taken-up components among the machine's joints.
    taken: Vec<usize>,
    rows: Vec<Vector24>,
    stiffness: Vec<f64>,
    slot: Vec<f64>,
    /// Forces of the taken-up components under dead weight alone.
    weight: Vec<f64>,
    /// All that is not taken up, with its floats.
    map: FloatMap,
    /// Numbers of those floats among the machine's joints.
    floats: Vec<usize>,
    load: Vector24,
    points: Vec<RailPoint>,
    /// All that is a spring in that state, where blocks are contacts.
    springs: Matrix24,
}

/// What a trial of the take-ups gives: forces of the taken-up components and the state of the other floats.
struct Trial {
    forces: DVector<f64>,
    /// Piece of its law on which each remaining float is: force at no displacement, and tangent. The tangent alone would not
    /// tell sliding one way from sliding the other.
    pieces: Vec<(f64, f64)>,
    /// Second derivative of the energy in the pose, where blocks are contacts.
    curved: Option<Matrix24>,
}

impl Trial {
    /// True where springs and floats answer alike in both, so that the model between them is exact.
    fn same_piece(&self, other: &Self) -> bool {
        self.curved.is_none() && self.pieces == other.pieces
    }
}

impl Tightener {
    /// The tightening state of a machine; `None` where no component takes anything up.
    ///
    /// # Errors
    /// The weight's equilibrium was not found.
    pub fn new(machine: &Machine<'_>) -> Result<Option<Self>, NotConverged> {
        let is_taken = |j: &JointElement| j.component.take_up > 0.0;
        let taken: Vec<usize> = (0..machine.joints.len()).filter(|&j| is_taken(&machine.joints[j])).collect();
        if taken.is_empty() {
            return Ok(None);
        }
        let state = &machine.plan.tightening;
        let load = tightening_loads(machine.plan, state);
        let floats: Vec<usize> = machine.floats.iter().copied().filter(|&j| !is_taken(&machine.joints[j])).collect();
        let elements: Vec<JointElement> = floats.iter().map(|&j| machine.joints[j].clone()).collect();
        let spring = |j: &JointElement| match j.component.law {
            Law::Float { .. } if !is_taken(j) => 0.0,
            _ => j.component.stiffness_at_rest(),
        };
        let softened = machine.spring_stiffness(|j| spring(j) * if is_taken(j) && j.axis != Z { MU } else { 1.0 });
        let zero = vec![0.0; elements.len()];
        let straight = vec![[0.0; 5]; machine.blocks.len()];
        let floats_of_weight = FloatSet { elements: &elements, offsets: &zero, drag: Drag::Law };
        let hanging = Problem { stiffness: &softened, load: &load, floats: floats_of_weight, contacts: machine.contacts(&straight) };
        let hanging = minimise(&hanging, State::default())?.state.pose;
        let of_weight = |&j: &usize| {
            let joint = &machine.joints[j];
            let soft = if joint.axis == Z { 1.0 } else { MU };
            soft * joint.component.stiffness_at_rest() * joint.row.dot(&hanging)
        };
        let not_held = NotConverged { iterations: 0, residual: f64::INFINITY };
        Ok(Some(Self {
            rows: taken.iter().map(|&j| machine.joints[j].row).collect(),
            stiffness: taken.iter().map(|&j| machine.joints[j].component.stiffness_at_rest()).collect(),
            slot: taken.iter().map(|&j| machine.joints[j].component.take_up).collect(),
            weight: taken.iter().map(of_weight).collect(),
            springs: machine.spring_stiffness(spring),
            map: FloatMap::with(machine.stiffness(spring), elements, Drag::Law).ok_or(not_held)?,
            points: machine.rails.points(machine.plan, state.station_x_mm),
            taken,
            floats,
            load,
        }))
    }

    /// What an installation's joints take up.
    ///
    /// One quadratic program where no other float slides and blocks are springs; else Newton on the convex remainder, each
    /// step a program with the tangent and a search along it, until floats stay on their pieces over a full step or, with
    /// contacts, the step can gain nothing more.
    ///
    /// # Errors
    /// No minimum after 60 steps.
    pub fn take_up(&self, machine: &Machine<'_>, installation: &Installation) -> Result<TakenUp, NotConverged> {
        let state = &machine.plan.tightening;
        let imposed: Vec<_> = self.points.iter().map(|p| machine.rails.imposed(p, installation)).collect();
        let mut with_drive = installation.clone();
        with_drive.drive_offset_mm = state.drive_offset_mm;
        let seats = machine.joint_offsets(installation, &[]);
        let mut load = self.load + machine.made_forces(&with_drive, &state.thermal, 0.0);
        for (j, joint) in machine.joints.iter().enumerate() {
            if !self.floats.contains(&j) {
                load += joint.row * (joint.component.stiffness_at_rest() * seats[j]);
            }
        }
        let float_seats: Vec<f64> = self.floats.iter().map(|&j| seats[j]).collect();
        let own_seats: Vec<f64> = self.taken.iter().map(|&j| seats[j]).collect();
        let of_rails = machine.rail_forces(&imposed);
        let acting = Acting { load: &load, imposed: &imposed, offsets: &float_seats };
        let (mut floats, mut carried) = (FloatWork::default(), Carried::default());
        let mut trial_at = |tau: &DVector<f64>| self.trial(machine, tau, &acting, &of_rails, &own_seats, &mut floats, &mut carried);
        let mut tau = DVector::zeros(self.taken.len());
        let mut now = trial_at(&tau)?;
        for _ in 0..60 {
            let inverse = self.tangent_inverse(&now);
            let target = inverse.and_then(|k| self.program(&k, &now, &tau));
            let Some(target) = target else { break };
            let way = &target - &tau;
            let slope = |trial: &Trial, tau: &DVector<f64>| self.gradient(trial, tau).dot(&way);
            let (mut low, mut high) = (0.0, 1.0);
            let mut next = trial_at(&target)?;
            let mut share = 1.0;
            let gain = slope(&now, &tau).abs();
            let flat = if now.curved.is_some() { 0.05 } else { 1e-9 } * gain;
            let energy: f64 = 1e-3 + target.iter().zip(&next.forces).map(|(t, f)| (t * f).abs()).sum::<f64>();
            let gains_nothing = now.curved.is_some() && gain <= CURVED_GAIN * energy;
            if !next.same_piece(&now) && !gains_nothing && slope(&next, &target) > flat {
                for _ in 0..60 {
                    share = f64::midpoint(low, high);
                    let at = &tau + &way * share;
                    next = trial_at(&at)?;
                    let s = slope(&next, &at);
                    if s.abs() <= flat {
                        break;
                    }
                    if s > 0.0 { high = share } else { low = share }
                }
            }
            let done = share == 1.0 && (next.same_piece(&now) || gains_nothing);
            tau += &way * share;
            now = next;
            if done {
                return Ok(self.result(machine, &tau));
            }
        }
        Err(NotConverged { iterations: 60, residual: self.gradient(&now, &tau).amax() })
    }

    fn result(&self, machine: &Machine<'_>, tau: &DVector<f64>) -> TakenUp {
        let mut all = vec![0.0; machine.joints.len()];
        let mut slot_used: f64 = 0.0;
        for (i, &j) in self.taken.iter().enumerate() {
            all[j] = tau[i];
            slot_used = slot_used.max(tau[i].abs() / self.slot[i]);
        }
        TakenUp { tau: all, slot_used }
    }

    /// Slope of the energy in each take-up.
    fn gradient(&self, trial: &Trial, tau: &DVector<f64>) -> DVector<f64> {
        DVector::from_fn(tau.len(), |i, _| self.weight[i] - trial.forces[i] + MU * self.stiffness[i] * tau[i])
    }

    #[allow(clippy::too_many_arguments, reason = "one call, from the loop above")]
    fn trial(
        &self,
        machine: &Machine<'_>,
        tau: &DVector<f64>,
        acting: &Acting<'_>,
        of_rails: &Vector24,
        own_seats: &[f64],
        floats: &mut FloatWork,
        carried: &mut Carried,
    ) -> Result<Trial, NotConverged> {
        let mut with_tau = *acting.load;
        for (i, row) in self.rows.iter().enumerate() {
            with_tau += row * (self.stiffness[i] * tau[i]);
        }
        let with_rails = with_tau + of_rails;
        let mut pose = self.map.linear_pose(&(with_rails + self.map.offset_forces(acting.offsets)));
        self.map.correct(&mut pose, acting.offsets, floats, || with_rails)?;
        machine.settle_on(&self.springs, &self.map, &Acting { load: &with_tau, ..*acting }, &mut pose, floats, carried)?;
        let forces = DVector::from_fn(tau.len(), |i, _| self.stiffness[i] * (self.rows[i].dot(&pose) - own_seats[i] - tau[i]));
        let elements = self.map.elements();
        let pieces = (0..elements.len()).map(|i| self.map.piece(i, elements[i].row.dot(&pose) - acting.offsets[i]));
        Ok(Trial { forces, pieces: pieces.collect(), curved: machine.rows().map(|_| carried.tangent) })
    }

    /// Inverse of the tangent stiffness of all but the taken-up components' slots.
    fn tangent_inverse(&self, trial: &Trial) -> Option<Matrix24> {
        if let Some(k) = trial.curved {
            return k.cholesky().map(|c| c.inverse());
        }
        let at_rest = |(e, (_, t)): (&JointElement, &(f64, f64))| e.component.stiffness_at_rest() == *t;
        if self.map.elements().iter().zip(&trial.pieces).all(at_rest) {
            return Some(self.map.inverse);
        }
        let mut k = self.map.without_floats();
        for (e, (_, t)) in self.map.elements().iter().zip(&trial.pieces) {
            k += e.row * e.row.transpose() * *t;
        }
        k.cholesky().map(|c| c.inverse())
    }

    /// The best take-ups of the quadratic model around a trial, in variables scaled by the root of the stiffness.
    fn program(&self, inverse: &Matrix24, trial: &Trial, tau: &DVector<f64>) -> Option<DVector<f64>> {
        let n = tau.len();
        let root: Vec<f64> = self.stiffness.iter().map(|k| k.sqrt()).collect();
        let columns: Vec<Vector24> = self.rows.iter().map(|r| inverse * r).collect();
        let hessian = DMatrix::from_fn(n, n, |i, j| {
            let unit = if i == j { 1.0 + MU } else { 0.0 };
            unit - root[i] * root[j] * f64::midpoint(self.rows[i].dot(&columns[j]), self.rows[j].dot(&columns[i]))
        });
        let scaled = DVector::from_fn(n, |i, _| root[i] * tau[i]);
        let slope = self.gradient(trial, tau);
        let right = &hessian * &scaled - DVector::from_fn(n, |i, _| slope[i] / root[i]);
        let bound: Vec<f64> = (0..n).map(|i| root[i] * self.slot[i]).collect();
        minimise_in_box(&hessian, &right, &bound).map(|y| DVector::from_fn(n, |i, _| y[i] / root[i]))
    }
}
