//! What the bearings make of a batch of loads: equivalent loads' weights and fatigue.

use super::linear_tiles::multiply_add;
use crate::bearing::{rating_life_km, row_unloading_load};
use crate::input::plan::{Block, Element};

/// Lanes that the inner loop keeps in registers.
pub(super) const HALF: usize = 4;

/// Half of a lane.
pub(super) type Half = [f64; HALF];

/// What the bearings make of five loads. The map gives loads times their dynamic weights: P is the sum of their sizes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Weights {
    /// Factors of Fy, Fz, Mx, My, Mz in P.
    pub(super) dynamic: [f64; 5],
    /// Factors in P0 over those in P, and the largest of them.
    pub(super) fixed_over_dynamic: [f64; 5],
    pub(super) fixed_over_dynamic_most: f64,
    preload_cubed: f64,
    over_unloading: f64,
    preload_n: f64,
    /// Load at which a row unloads; 0 without preload.
    pub(super) unloading_n: f64,
    /// Rating life of a block under 1 N: a rating life falls with the power of the load that the fatigue is a mean of.
    pub(super) life_at_one_newton_km: f64,
    pub(super) element: Element,
}

impl Weights {
    pub(super) fn new(block: &Block) -> Self {
        let [y, z] = block.c_over_direction;
        let [roll, pitch, yaw] = block.c_over_moment_per_mm;
        let [y0, z0] = block.c0_over_direction;
        let [roll0, pitch0, yaw0] = block.c0_over_moment_per_mm;
        let dynamic = [y, z, roll, pitch, yaw];
        let fixed = [y0, z0, roll0, pitch0, yaw0];
        let fixed_over_dynamic: [f64; 5] = std::array::from_fn(|i| fixed[i] / dynamic[i]);
        let unloading_n = row_unloading_load(block);
        Self {
            dynamic,
            fixed_over_dynamic,
            fixed_over_dynamic_most: fixed_over_dynamic.iter().copied().fold(0.0, f64::max),
            preload_cubed: block.preload_n.powi(3),
            over_unloading: if unloading_n > 0.0 { 1.0 / unloading_n } else { 0.0 },
            preload_n: block.preload_n,
            unloading_n,
            life_at_one_newton_km: rating_life_km(block, 1.0),
            element: block.element,
        }
    }

    /// Sizes of five loads with a situation's part.
    #[inline(always)]
    pub(super) fn sizes(loads: &[Half; 5], constants: &[f64; 5], i: usize) -> [f64; 5] {
        std::array::from_fn(|j| (loads[j][i] + constants[j]).abs())
    }

    /// P of sizes that hold their weights.
    #[inline(always)]
    pub(super) fn load(a: &[f64; 5]) -> f64 {
        ((a[0] + a[1]) + (a[2] + a[3])) + a[4]
    }

    /// P0 of the sizes that make P.
    #[inline(always)]
    pub(super) fn static_load<const FUSED: bool>(&self, sizes: &[f64; 5]) -> f64 {
        sizes.iter().zip(&self.fixed_over_dynamic).fold(0.0, |sum, (size, factor)| multiply_add::<FUSED>(*size, *factor, sum))
    }

    /// Fatigue of an equivalent load on balls with its preload: P_eff^3.
    ///
    /// (F_pr (P/P_u + 1)^1.5)^3 = F_pr^3 x^4 sqrt(x), x = P/P_u + 1, lies above P^3 below P_u and meets it there.
    #[inline(always)]
    pub(super) fn ball_fatigue(&self, p: f64) -> f64 {
        let share = p * self.over_unloading;
        let x = if share < 1.0 { share } else { 1.0 } + 1.0;
        let square = x * x;
        let preloaded = self.preload_cubed * (square * square) * x.sqrt();
        let free = p * p * p;
        if free > preloaded { free } else { preloaded }
    }

    /// The same on rollers: P_eff^(10/3).
    #[inline(always)]
    pub(super) fn roller_fatigue(&self, p: f64) -> f64 {
        let loaded = if p > self.unloading_n || self.unloading_n == 0.0 {
            p
        } else {
            self.preload_n * (p / self.unloading_n + 1.0).powf(self.element.contact_exponent())
        };
        loaded.powf(self.element.life_exponent())
    }
}
