//! The least life inside the tolerances, from below: branch and bound over the limits of the scalar errors.
//!
//! 1/L is a norm of convex functions of the errors, so the least life stands at a corner. With some errors fixed at a
//! limit and the rest free, every block's load in every place is at most its own exact greatest value; a life from these
//! is a bound for the whole branch. The branch with the lowest bound is opened first, so the lowest open bound is a bound
//! for all. Profiles are not branched on: each block and place takes its own worst one, which is where the last of the gap
//! comes from.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use super::affine::AffineMap;
use super::bounds::{SIGNS, Spreads, sign, signed_row};
use crate::bearing::{LifeSum, effective_load, rating_life_km, system_life_km};
use crate::input::plan::Block;

/// Relative gap between attained and bound at which the search ends.
const WANTED_GAP: f64 = 0.05;

/// What branch and bound came to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LeastLife {
    /// No installation inside the tolerances has less, km.
    pub(super) bound_km: f64,
    /// Branches opened.
    pub(super) opened: usize,
    /// True where the caller's clock ended the search.
    pub(super) stopped: bool,
}

/// A branch: the first coordinates of the order fixed at these sides.
struct Branch {
    bound_km: f64,
    sides: Vec<bool>,
}

impl PartialEq for Branch {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Branch {}

impl PartialOrd for Branch {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Branch {
    /// The heap gives the greatest first: the branch with the lowest bound; among equals the deeper one.
    fn cmp(&self, other: &Self) -> Ordering {
        other.bound_km.total_cmp(&self.bound_km).then(self.sides.len().cmp(&other.sides.len())).then(self.sides.cmp(&other.sides))
    }
}

/// The tree's constant parts.
pub(super) struct Tree<'a> {
    block: &'a Block,
    map: &'a AffineMap,
    spreads: &'a Spreads,
    blocks: usize,
    /// Scalar coordinates, the most influential first.
    order: Vec<usize>,
    /// Coefficient of each ordered coordinate: coordinate, then station, block, pattern.
    coefficients: Vec<Vec<[f64; SIGNS]>>,
    /// Signed sums at the middle of the box: place, block, pattern.
    bases: Vec<[f64; SIGNS]>,
}

impl<'a> Tree<'a> {
    pub(super) fn new(block: &'a Block, map: &'a AffineMap, spreads: &'a Spreads, scalars: usize) -> Self {
        let blocks = map.loads.len() / map.places.len();
        let cells = spreads.values.len();
        let rows: Vec<Vec<Vec<f64>>> = (0..cells)
            .map(|cell| (0..SIGNS).map(|p| signed_row(map, blocks, cell / blocks, cell % blocks, p, &spreads.weights)).collect())
            .collect();
        let of = |j: usize| -> Vec<[f64; SIGNS]> { rows.iter().map(|r| std::array::from_fn(|p| r[p][j])).collect() };
        let mut weighted: Vec<(f64, usize)> =
            (0..scalars).map(|j| (of(j).iter().map(|c| c.iter().fold(0.0_f64, |m, v| m.max(v.abs())).powi(2)).sum::<f64>(), j)).collect();
        weighted.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let order: Vec<usize> = weighted.into_iter().map(|(_, j)| j).collect();
        let base = |load: &[f64; 5]| std::array::from_fn(|p| (0..5).map(|i| sign(p, i) * spreads.weights[i] * load[i]).sum());
        Self {
            block,
            map,
            spreads,
            blocks,
            coefficients: order.iter().map(|&j| of(j)).collect(),
            order,
            bases: map.loads.iter().map(base).collect(),
        }
    }

    /// Life that nothing in a branch can fall below.
    fn bound_km(&self, sides: &[bool]) -> f64 {
        let mut shift = vec![[0.0; SIGNS]; self.spreads.values.len()];
        let mut spread = self.spreads.values.clone();
        for (side, coefficients) in sides.iter().zip(&self.coefficients) {
            let s = if *side { 1.0 } else { -1.0 };
            for ((shift, spread), c) in shift.iter_mut().zip(&mut spread).zip(coefficients) {
                for p in 0..SIGNS {
                    shift[p] += s * c[p];
                    spread[p] -= c[p].abs();
                }
            }
        }
        let mut sums = vec![LifeSum::default(); self.blocks];
        for (n, place) in self.map.places.iter().enumerate().filter(|(_, p)| p.share > 0.0) {
            for (b, sum) in sums.iter_mut().enumerate() {
                let (cell, base) = (place.station * self.blocks + b, &self.bases[n * self.blocks + b]);
                let p = (0..SIGNS).map(|p| (base[p] + shift[cell][p]).abs() + spread[cell][p].max(0.0)).fold(0.0, f64::max);
                sum.add(self.block.element, place.share, effective_load(self.block, p));
            }
        }
        system_life_km(self.block.element, sums.iter().map(|s| rating_life_km(self.block, s.mean_load_n(self.block.element))))
    }

    /// Searches until the gap to `attained_km` is 5 %, or `most` branches are open, or `stop` says so.
    pub(super) fn search(&self, attained_km: f64, most: usize, stop: &dyn Fn() -> bool) -> LeastLife {
        let mut heap = BinaryHeap::from([Branch { bound_km: self.bound_km(&[]), sides: Vec::new() }]);
        let mut opened = 0;
        while let Some(branch) = heap.pop() {
            // A branch with every scalar fixed and the lowest bound: what is left of the gap is the profiles'.
            let closed = branch.sides.len() == self.order.len();
            let done = closed || branch.bound_km * (1.0 + WANTED_GAP) >= attained_km || opened >= most;
            if done || stop() {
                return LeastLife { bound_km: branch.bound_km.min(attained_km), opened, stopped: !done };
            }
            opened += 1;
            let child = |side: bool| {
                let mut sides = branch.sides.clone();
                sides.push(side);
                Branch { bound_km: self.bound_km(&sides), sides }
            };
            let (a, b) = rayon::join(|| child(false), || child(true));
            heap.extend([a, b]);
        }
        LeastLife { bound_km: 0.0, opened, stopped: false }
    }
}

#[cfg(test)]
mod tests {
    use super::super::by_hand::{CORNERS, along, map, plan_of_two, square};
    use super::*;
    use crate::input::Plan;

    const BLOCKS: usize = 2;

    /// P is the sum of sizes of Fy and Fz here.
    const WEIGHTS: [f64; 5] = [1.0, 1.0, 0.0, 0.0, 0.0];

    /// Two blocks at two stations under Fy and Fz. What helps one block harms the other; a place without a share of the distance is
    /// loaded out of all proportion.
    fn two_blocks() -> AffineMap {
        let mut found = map(&[(0, 0.6), (1, 0.4), (1, 0.0)]);
        let loads = [[100.0, -900.0], [-150.0, -700.0], [200.0, -800.0], [50.0, -1000.0], [9e4, 0.0], [9e4, 0.0]];
        found.loads = loads.map(|[y, z]| [y, z, 0.0, 0.0, 0.0]).into();
        let rows = [
            [[200.0, -50.0], [-300.0, 100.0]],
            [[-100.0, 250.0], [250.0, -300.0]],
            [[150.0, 20.0], [-200.0, 250.0]],
            [[-60.0, -120.0], [350.0, 150.0]],
        ];
        for of_block in rows {
            found.load_rows.extend(of_block.map(Vec::from));
            found.load_rows.extend(vec![vec![0.0; 2]; 3]);
        }
        found
    }

    /// P of a block in a place at a point.
    fn load(of: &AffineMap, place: usize, block: usize, point: &[f64]) -> f64 {
        let first = (of.places[place].station * BLOCKS + block) * 5;
        (0..2).map(|i| (of.loads[place * BLOCKS + block][i] + along(&of.load_rows[first + i], point)).abs()).sum()
    }

    /// Life with P of every block in every place given.
    fn life_km(plan: &Plan, of: &AffineMap, p: impl Fn(usize, usize) -> f64) -> f64 {
        let block = &plan.block;
        let of_block = |b: usize| {
            let mut sum = LifeSum::default();
            for (n, place) in of.places.iter().enumerate().filter(|(_, place)| place.share > 0.0) {
                sum.add(block.element, place.share, effective_load(block, p(n, b)));
            }
            rating_life_km(block, sum.mean_load_n(block.element))
        };
        system_life_km(block.element, (0..BLOCKS).map(of_block))
    }

    fn with_tree(look: impl FnOnce(&Plan, &AffineMap, &Tree<'_>)) {
        let plan = plan_of_two();
        let of = two_blocks();
        let spreads = Spreads::new(&of, &square(&plan), BLOCKS, WEIGHTS, &mut crate::math::Corners::default());
        look(&plan, &of, &Tree::new(&plan.block, &of, &spreads, 2));
    }

    /// Against enumeration: with every error fixed the bound is the life of that corner; with some left open each block in each place
    /// takes the greatest load of the corners that are left.
    #[test]
    fn check_a_branch_is_bounded_by_the_greatest_load_of_its_corners() {
        with_tree(|plan, of, tree| {
            for sides in [vec![], vec![false], vec![true], vec![false, false], vec![false, true], vec![true, false], vec![true, true]] {
                let held = |c: &&[f64; 2]| sides.iter().zip(&tree.order).all(|(side, &j)| (c[j] > 0.0) == *side);
                let left: Vec<_> = CORNERS.iter().filter(held).collect();
                assert_eq!(left.len(), 4 >> sides.len());
                let expected = life_km(plan, of, |n, b| left.iter().map(|c| load(of, n, b, &c[..])).fold(0.0, f64::max));
                let found = tree.bound_km(&sides);
                assert!((found / expected - 1.0).abs() < 1e-12, "{sides:?}: {found} against {expected}");
            }
        });
    }

    /// A search ends where the gap is 5 %, where enough branches are open, or where it is stopped, and says which of them it was.
    #[test]
    fn check_a_search_ends_for_the_reason_that_it_says() {
        with_tree(|plan, of, tree| {
            let root_km = tree.bound_km(&[]);
            let run = |attained_km: f64, most: usize, stop: bool| tree.search(attained_km, most, &|| stop);
            let at_root = |stopped: bool| LeastLife { bound_km: root_km, opened: 0, stopped };
            assert_eq!(run(1.04 * root_km, 100, false), at_root(false));
            assert_eq!(run(1.04 * root_km, 100, true), at_root(false));
            assert_eq!(run(1.06 * root_km, 0, false), at_root(false));
            assert_eq!(run(1.06 * root_km, 100, true), at_root(true));
            assert!(run(1.06 * root_km, 100, false).opened > 0);
            // Nothing is bounded above what is attained.
            assert_eq!(run(0.9 * root_km, 100, false).bound_km, 0.9 * root_km);
            let least_km = CORNERS.map(|c| life_km(plan, of, |n, b| load(of, n, b, &c))).into_iter().fold(f64::INFINITY, f64::min);
            assert!(least_km > 1.1 * root_km, "{least_km} against {root_km}");
            let found = run(least_km, 100, false);
            assert!(found.bound_km <= least_km * (1.0 + 1e-12) && found.bound_km >= least_km / 1.05, "{found:?} against {least_km}");
            assert!(!found.stopped && (1..=3).contains(&found.opened));
        });
    }
}
