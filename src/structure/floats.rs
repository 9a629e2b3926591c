//! Floats condensed to their own few components: everything else is linear, so a pose with floats is the
//! linear pose and a correction by the float forces.

use super::elements::JointElement;
use super::equilibrium::{FloatSet, NotConverged, Problem, minimise};
use super::laws::Drag;
use super::state::State;
use super::{Machine, Matrix24, Vector24};
use crate::input::plan::Law;

/// The machine seen from its floats, for one state of the drag.
///
/// With K the stiffness of all else (and of floats at rest, for the law), row b_i of float i and
/// C = B K^-1 B', the floats solve `delta + C g(delta) = delta_linear`, where g is their force beyond the
/// stiffness that K already has; the pose is then corrected by `-K^-1 B' g`.
#[derive(Debug, Clone)]
pub struct FloatMap {
    drag: Drag,
    elements: Vec<JointElement>,
    /// Stiffness of each float that K holds already.
    held: Vec<f64>,
    compliance: Vec<f64>,
    /// K^-1 b_i.
    columns: Vec<Vector24>,
    without_floats: Matrix24,
    /// K^-1.
    pub(super) inverse: Matrix24,
}

/// Working memory of one solution.
#[derive(Debug, Clone, Default)]
pub struct FloatWork {
    /// Displacement of each float.
    pub delta: Vec<f64>,
    /// Displacement of each float if it kept its stiffness at rest.
    linear: Vec<f64>,
    /// Force of each float beyond what K holds.
    beyond: Vec<f64>,
    piece: Vec<(f64, f64)>,
    next: Vec<(f64, f64)>,
    system: Vec<f64>,
    right: Vec<f64>,
}

impl FloatMap {
    /// The map for a state of the drag; `None` if that state leaves a direction free.
    #[must_use]
    pub fn new(machine: &Machine<'_>, drag: Drag) -> Option<Self> {
        let elements: Vec<JointElement> = machine.float_elements().cloned().collect();
        if drag != Drag::Law && !machine.holds_without_floats {
            return None;
        }
        Self::with(machine.without_floats, elements, drag)
    }

    /// The map of a machine with the given stiffness beside these floats.
    pub(super) fn with(without_floats: Matrix24, elements: Vec<JointElement>, drag: Drag) -> Option<Self> {
        let held: Vec<f64> = elements.iter().map(|e| if drag == Drag::Law { e.component.stiffness_at_rest() } else { 0.0 }).collect();
        let mut stiffness = without_floats;
        for (e, k) in elements.iter().zip(&held) {
            stiffness += e.row * e.row.transpose() * *k;
        }
        let inverse = stiffness.cholesky()?.inverse();
        let columns: Vec<Vector24> = elements.iter().map(|e| inverse * e.row).collect();
        let compliance = elements.iter().flat_map(|e| columns.iter().map(|c| e.row.dot(c))).collect();
        Some(Self { drag, elements, held, compliance, columns, without_floats, inverse })
    }

    /// Number of floats.
    #[must_use]
    pub fn count(&self) -> usize {
        self.elements.len()
    }

    /// State of the drag.
    #[must_use]
    pub fn drag(&self) -> Drag {
        self.drag
    }

    /// Way of float `i` to its stop.
    #[must_use]
    pub fn travel(&self, i: usize) -> f64 {
        match self.elements[i].component.law {
            Law::Float { travel, .. } => travel,
            _ => f64::INFINITY,
        }
    }

    /// Pose under a unit force of float `i` (on its truck; its opposite on the bridge) with no other float's force.
    #[must_use]
    pub fn pushed(&self, i: usize) -> Vector24 {
        -self.columns[i]
    }

    /// End, number and axis of float `i`.
    #[must_use]
    pub fn place(&self, i: usize) -> (usize, usize, usize) {
        let e = &self.elements[i];
        (e.end, e.number, e.axis)
    }

    /// Law of float `i`.
    #[must_use]
    pub fn law(&self, i: usize) -> Law {
        self.elements[i].component.law
    }

    /// True where float `i` has not begun to slide at this displacement.
    #[must_use]
    pub fn sticks(&self, i: usize, delta: f64) -> bool {
        matches!(self.elements[i].component.law, Law::Float { drag, k_slide, .. } if k_slide * delta.abs() < drag)
    }

    pub(super) fn without_floats(&self) -> Matrix24 {
        self.without_floats
    }

    pub(super) fn elements(&self) -> &[JointElement] {
        &self.elements
    }

    /// The pose under generalised forces with every float at rest (or, for a sign of the drag, without force).
    #[must_use]
    pub fn linear_pose(&self, forces: &Vector24) -> Vector24 {
        self.inverse * forces
    }

    /// Generalised force of the floats' offsets through the stiffness that K holds.
    #[must_use]
    pub fn offset_forces(&self, offsets: &[f64]) -> Vector24 {
        self.elements.iter().zip(&self.held).zip(offsets).map(|((e, k), o)| e.row * (k * o)).sum()
    }

    /// Corrects the linear `pose` for the floats; `work.delta` holds their displacements afterwards.
    ///
    /// `load` gives the generalised forces behind the pose, without those of the floats; it is asked for only
    /// where the pieces of the laws do not settle at once.
    ///
    /// # Errors
    /// The equilibrium was not found.
    pub fn correct(
        &self,
        pose: &mut Vector24,
        offsets: &[f64],
        work: &mut FloatWork,
        load: impl FnOnce() -> Vector24,
    ) -> Result<(), NotConverged> {
        let m = self.count();
        if m == 0 {
            return Ok(());
        }
        work.linear.clear();
        work.linear.extend(self.elements.iter().zip(offsets).map(|(e, o)| e.row.dot(pose) - o));
        if self.settle(work) {
            for (column, g) in self.columns.iter().zip(&work.beyond) {
                *pose -= column * *g;
            }
            return Ok(());
        }
        let problem = Problem { stiffness: &self.without_floats, load: &load(), floats: self.set(offsets), contacts: None };
        *pose = minimise(&problem, State { pose: *pose, yields: Vec::new() })?.state.pose;
        self.note_deltas(pose, offsets, work);
        Ok(())
    }

    /// The floats with their offsets.
    pub(super) fn set<'a>(&'a self, offsets: &'a [f64]) -> FloatSet<'a> {
        FloatSet { elements: &self.elements, offsets, drag: self.drag }
    }

    /// Displacement of each float at a pose; offsets left out are 0.
    #[must_use]
    pub fn displacements(&self, pose: &Vector24, offsets: &[f64]) -> Vec<f64> {
        let of = |(i, e): (usize, &JointElement)| e.row.dot(pose) - offsets.get(i).copied().unwrap_or(0.0);
        self.elements.iter().enumerate().map(of).collect()
    }

    /// Displacements of the floats at a pose, into `work.delta`.
    pub(super) fn note_deltas(&self, pose: &Vector24, offsets: &[f64], work: &mut FloatWork) {
        work.delta.clear();
        work.delta.extend(self.elements.iter().zip(offsets).map(|(e, o)| e.row.dot(pose) - o));
    }

    /// Finds the piece of every law by turns: guess the pieces, solve, look which pieces the answer lies on.
    /// True when they agree: the energy is convex, so that answer is the one.
    fn settle(&self, work: &mut FloatWork) -> bool {
        let m = self.count();
        work.delta.clone_from(&work.linear);
        work.piece.clear();
        work.piece.extend(work.linear.iter().enumerate().map(|(i, d)| self.piece(i, *d)));
        for _ in 0..24 {
            work.system.clear();
            work.right.clear();
            for i in 0..m {
                let c = &self.compliance[i * m..(i + 1) * m];
                work.right.push(work.linear[i] - c.iter().zip(&work.piece).map(|(c, p)| c * p.0).sum::<f64>());
                for (j, c) in c.iter().enumerate() {
                    let unit = if i == j { 1.0 } else { 0.0 };
                    work.system.push(unit + c * (work.piece[j].1 - self.held[j]));
                }
            }
            if !eliminate(&mut work.system, &mut work.right) {
                return false;
            }
            work.delta.copy_from_slice(&work.right);
            work.next.clear();
            work.next.extend(work.delta.iter().enumerate().map(|(i, d)| self.piece(i, *d)));
            if work.next == work.piece {
                work.beyond.clear();
                work.beyond.extend((0..m).map(|i| work.next[i].0 + (work.next[i].1 - self.held[i]) * work.delta[i]));
                return true;
            }
            std::mem::swap(&mut work.piece, &mut work.next);
        }
        false
    }

    /// The law of float `i` around `delta` as force = a + b delta.
    pub(super) fn piece(&self, i: usize, delta: f64) -> (f64, f64) {
        let (force, tangent) = self.drag.force(&self.elements[i].component.law, delta);
        // The intercept is made from the law's own numbers, so that two displacements on one piece agree to the bit.
        let Law::Float { travel, drag, k_slide, k_stop } = self.elements[i].component.law else {
            return (force - tangent * delta, tangent);
        };
        let sign = delta.signum();
        let (a, b) = match self.drag {
            Drag::Law if k_slide * delta.abs() <= drag => (0.0, k_slide),
            Drag::Law => (sign * drag, 0.0),
            Drag::Plus => (drag, 0.0),
            Drag::Minus => (-drag, 0.0),
        };
        if delta.abs() > travel { (a - sign * k_stop * travel, b + k_stop) } else { (a, b) }
    }
}

/// Solves a small system in place by elimination with pivoting; false if it is singular.
fn eliminate(a: &mut [f64], x: &mut [f64]) -> bool {
    let n = x.len();
    for k in 0..n {
        let pivot = (k..n).max_by(|&i, &j| a[i * n + k].abs().total_cmp(&a[j * n + k].abs())).unwrap_or(k);
        if a[pivot * n + k].abs() < 1e-10 {
            return false;
        }
        if pivot != k {
            (0..n).for_each(|j| a.swap(k * n + j, pivot * n + j));
            x.swap(k, pivot);
        }
        for i in k + 1..n {
            let factor = a[i * n + k] / a[k * n + k];
            (k..n).for_each(|j| a[i * n + j] -= factor * a[k * n + j]);
            x[i] -= factor * x[k];
        }
    }
    for k in (0..n).rev() {
        let rest: f64 = (k + 1..n).map(|j| a[k * n + j] * x[j]).sum();
        x[k] = (x[k] - rest) / a[k * n + k];
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::plan::Component;
    use nalgebra::{DMatrix, DVector};

    /// Against nalgebra's LU, on systems that need no exchange of rows, one, and several.
    #[test]
    fn cross_small_systems_are_solved_like_a_library_does() {
        let systems: [&[f64]; 4] = [
            &[4.0, 1.0, 0.5, 1.0, 3.0, -1.0, 0.5, -1.0, 5.0],
            &[0.0, 2.0, 1.0, 3.0, 1.0, -1.0, 1.0, 0.0, 4.0],
            &[1e-3, 2.0, -7.0, 0.5, 0.0, 0.25, 8.0, 1.0, 2.0],
            &[0.0, 0.0, 3.0, 0.0, -2.0, 1.0, 5.0, 1.0, 1.0],
        ];
        for system in systems {
            let right = [1.0, -2.0, 3.5];
            let expected = DMatrix::from_row_slice(3, 3, system).lu().solve(&DVector::from_row_slice(&right)).unwrap();
            let (mut a, mut x) = (system.to_vec(), right);
            assert!(eliminate(&mut a, &mut x));
            for (own, library) in x.iter().zip(expected.iter()) {
                assert!((own - library).abs() < 1e-12, "{system:?}: {x:?} against {expected}");
            }
        }
        let mut one = [8.0];
        assert!(eliminate(&mut [4.0], &mut one) && one == [2.0]);
    }

    #[test]
    fn check_a_system_without_one_solution_is_said_to_be_so() {
        assert!(!eliminate(&mut [1.0, 2.0, 2.0, 4.0], &mut [1.0, 1.0]));
        assert!(!eliminate(&mut [0.0], &mut [1.0]));
        // Small numbers are no reason as such.
        let mut x = [2e-9];
        assert!(eliminate(&mut [1e-9], &mut x) && (x[0] - 2.0).abs() < 1e-12);
    }

    /// Systems that do nothing but exchange their unknowns: each row times its own factor, in every order of four.
    #[test]
    fn check_rows_in_any_order_are_sorted_out() {
        let right = [1.0, -2.0, 3.5, 0.75];
        let mut orders = 0;
        for code in 0..256_usize {
            let order = [code / 64, code / 16 % 4, code / 4 % 4, code % 4];
            if (0..4).any(|unknown| !order.contains(&unknown)) {
                continue;
            }
            let (mut a, mut expected) = ([0.0; 16], [0.0; 4]);
            for (row, unknown) in order.into_iter().enumerate() {
                let factor = 2.0 + row as f64;
                a[4 * row + unknown] = factor;
                expected[unknown] = right[row] / factor;
            }
            let mut x = right;
            assert!(eliminate(&mut a, &mut x) && x == expected, "{order:?}: {x:?} instead of {expected:?}");
            orders += 1;
        }
        assert_eq!(orders, 24);
    }

    /// A spring among the floats stays the spring that it is: 2000 N/mm beside 1000 N/mm, pulled by 30 N, its seat off by
    /// 0.01 mm.
    #[test]
    fn check_a_spring_among_the_floats_is_a_spring() {
        let mut row = Vector24::zeros();
        row[19] = 1.0;
        let component = Component { law: Law::Elastic { k: 2000.0 }, take_up: 0.0 };
        let spring = JointElement { end: 1, number: 0, axis: 1, row, component };
        for drag in [Drag::Law, Drag::Plus, Drag::Minus] {
            let map = FloatMap::with(Matrix24::identity() * 1000.0, vec![spring.clone()], drag).unwrap();
            let load = row * 30.0;
            let mut pose = map.linear_pose(&(load + map.offset_forces(&[0.01])));
            let mut work = FloatWork::default();
            map.correct(&mut pose, &[0.01], &mut work, || panic!("one piece is settled at once")).unwrap();
            // 1000 u + 2000 (u - 0.01) = 30.
            let expected = 50.0 / 3000.0;
            assert!((pose - row * expected).amax() < 1e-15, "{drag:?}: {}", pose[19]);
            assert!((work.delta[0] - (expected - 0.01)).abs() < 1e-15);
        }
    }
}
