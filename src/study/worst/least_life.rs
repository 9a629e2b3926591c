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
