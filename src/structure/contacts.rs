//! Blocks at the contact level inside the equilibrium: rows of rolling elements on supports that yield.
//!
//! With a support in series a block has three unknowns of its own, s in y, z and roll: the least over s of
//! E(d - s) + 1/2 s'K s. They are eliminated block by block in every Newton step, so the energy over pose and s together,
//! which is convex, is what the step and its search go down.

use nalgebra::{Cholesky, SMatrix, SVector};

use super::elements::BlockElement;
use super::state::{State, Yield};
use super::{Matrix24, Vector24};
use crate::contact::{RowBlock, Vector5};

type Vector3 = SVector<f64, 3>;

/// All blocks of a machine over their rails.
#[derive(Debug, Clone, Copy)]
pub(super) struct ContactSet<'a> {
    pub(super) rows: &'a RowBlock,
    pub(super) blocks: &'a [BlockElement],
    pub(super) imposed: &'a [[f64; 5]],
}

/// How a block's support follows a Newton step of the pose: step of s = slope x step of d - rest.
#[derive(Debug, Clone, Copy)]
pub(super) struct Follow {
    slope: SMatrix<f64, 3, 5>,
    rest: Vector3,
    /// Unbalanced force on the support.
    pub(super) force: Vector3,
}

impl ContactSet<'_> {
    /// Displacement of the contacts of a block: truck less rail less what the support yields.
    fn displacement(&self, block: usize, pose: &Vector24, yielded: &Yield) -> Vector5 {
        let motion = self.blocks[block].motion(pose);
        let imposed = &self.imposed[block];
        Vector5::from_fn(|i, _| motion[i] - imposed[i] - yielded.get(i).copied().unwrap_or(0.0))
    }

    /// Displacement of every block's contacts.
    pub(super) fn displacements<'s>(&'s self, pose: &'s Vector24, yields: &'s [Yield]) -> impl Iterator<Item = Vector5> + 's {
        yields.iter().enumerate().map(move |(b, s)| self.displacement(b, pose, s))
    }

    /// Adds the blocks' forces, plain and with the supports' share eliminated, and their tangents; says how the supports
    /// follow a step. Returns the largest unbalanced force on a support (roll over 100 mm), N.
    pub(super) fn add_to(
        &self,
        state: &State,
        plain: &mut Vector24,
        gradient: &mut Vector24,
        tangent: &mut Matrix24,
        follow: &mut Vec<Follow>,
    ) -> f64 {
        let mut residual: f64 = 0.0;
        follow.clear();
        for (b, (block, s)) in self.blocks.iter().zip(&state.yields).enumerate() {
            let (mut force, mut stiffness) = self.rows.force_and_tangent(&self.displacement(b, &state.pose, s));
            block.add_force(plain, force.into());
            if let Some(k) = block.support {
                let unbalanced = Vector3::from_fn(|i, _| k[i] * s[i] - force[i]);
                residual = residual.max(unbalanced[0].abs()).max(unbalanced[1].abs()).max(unbalanced[2].abs() / 100.0);
                let cross = stiffness.fixed_columns::<3>(0).into_owned();
                let own = stiffness.fixed_view::<3, 3>(0, 0) + SMatrix::from_diagonal(&Vector3::from(k));
                let follows = Cholesky::new(own).map(|factor| Follow {
                    slope: factor.solve(&cross.transpose()),
                    rest: factor.solve(&unbalanced),
                    force: unbalanced,
                });
                let follows = follows.unwrap_or(Follow { slope: SMatrix::zeros(), rest: Vector3::zeros(), force: unbalanced });
                force += cross * follows.rest;
                stiffness -= cross * follows.slope;
                follow.push(follows);
            } else {
                follow.push(Follow { slope: SMatrix::zeros(), rest: Vector3::zeros(), force: Vector3::zeros() });
            }
            block.add_force(gradient, force.into());
            block.add_stiffness(tangent, &stiffness);
        }
        residual
    }

    /// Steps of the supports that belong to a step of the pose.
    pub(super) fn support_steps(&self, follow: &[Follow], step: &Vector24, steps: &mut Vec<Yield>) {
        steps.clear();
        steps.extend(self.blocks.iter().zip(follow).map(|(block, f)| Yield::from(f.slope * Vector5::from(block.motion(step)) - f.rest)));
    }

    /// Energy of contacts and supports, N mm.
    pub(super) fn energy_n_mm(&self, pose: &Vector24, yields: &[Yield]) -> f64 {
        let of = |(b, d): (usize, Vector5)| {
            let support = self.blocks[b].support.map_or(0.0, |k| (0..3).map(|i| 0.5 * k[i] * yields[b][i].powi(2)).sum());
            self.rows.at(&d).energy_n_mm + support
        };
        self.displacements(pose, yields).enumerate().map(of).sum()
    }

    /// What the supports yield at a pose that is held.
    pub(super) fn settled_yields(&self, pose: &Vector24) -> Vec<Yield> {
        let mut yields = vec![[0.0; 3]; self.blocks.len()];
        for (b, block) in self.blocks.iter().enumerate() {
            let Some(k) = block.support else { continue };
            for _ in 0..50 {
                let (force, stiffness) = self.rows.force_and_tangent(&self.displacement(b, pose, &yields[b]));
                let unbalanced = Vector3::from_fn(|i, _| k[i] * yields[b][i] - force[i]);
                let own = stiffness.fixed_view::<3, 3>(0, 0) + SMatrix::from_diagonal(&Vector3::from(k));
                let Some(factor) = Cholesky::new(own) else { break };
                let step = factor.solve(&unbalanced);
                (0..3).for_each(|i| yields[b][i] -= step[i]);
                if step.norm() < 1e-13 {
                    break;
                }
            }
        }
        yields
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::plan::Level;
    use crate::input::read_plan;
    use crate::structure::Machine;

    /// One block's support yields in one direction alone: its spring and the contacts both push back.
    #[test]
    fn check_the_greatest_unbalanced_support_is_told_and_roll_counts_at_100_mm() {
        let mut plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        plan.block.level = Level::Contact;
        let machine = Machine::new(&plan, 1).unwrap();
        let straight = vec![[0.0; 5]; plan.block_count()];
        let contacts = machine.contacts(&straight).unwrap();
        let (own, support) = (contacts.rows.stiffness_at_rest(), plan.supports[0].stiffness);
        for (axis, yielded, arm) in [(0, 1e-5, 1.0), (1, -1e-5, 1.0), (2, 1e-7, 100.0)] {
            let mut state = State { yields: vec![[0.0; 3]; plan.block_count()], ..State::default() };
            state.yields[2][axis] = yielded;
            state.yields[5][axis] = 0.5 * yielded;
            let (mut plain, mut gradient, mut tangent) = (Vector24::zeros(), Vector24::zeros(), Matrix24::zeros());
            let residual = contacts.add_to(&state, &mut plain, &mut gradient, &mut tangent, &mut Vec::new());
            let expected = (own[axis] + support[axis]) * f64::abs(yielded) / arm;
            assert!((residual / expected - 1.0).abs() < 1e-3, "{axis}: {residual} instead of {expected}");
        }
    }
}
