//! What the bearings make of a batch of loads: equivalent loads' weights and fatigue.

use crate::bearing::{rating_life_km, row_unloading_load};
use crate::input::plan::{Block, Element};
use crate::math::lanes::multiply_add;

/// (1 + share)^4.5 over powers of t = 2 share - 1 from the constant on: interpolated at the thirteen Chebyshev points of
/// -1..1, to 6e-14 of the value.
const PRELOADED: [f64; 13] = [
    6.200_270_911_419_92,
    9.300_406_367_129_344,
    5.425_237_047_492_539,
    1.507_010_290_985_070_4,
    0.188_376_286_368_204_2,
    0.006_279_209_426_566_601_5,
    -0.000_174_422_462_997_951_8,
    1.245_915_462_480_998_3e-05,
    -1.297_869_309_038_134_5e-06,
    1.675_647_022_564_021_2e-07,
    -2.509_848_211_735_556_7e-08,
    4.724_408_777_176_997e-09,
    -8.651_045_287_871_323e-10,
];

/// What the bearings make of five loads. The map gives loads times their dynamic weights: P is the sum of their sizes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Weights {
    /// Factors of Fy, Fz, Mx, My, Mz in P.
    pub(super) dynamic: [f64; 5],
    /// Factors in P0 over those in P, and the largest of them.
    pub(super) fixed_over_dynamic: [f64; 5],
    pub(super) fixed_over_dynamic_most: f64,
    /// The preload cubed, times [`PRELOADED`].
    preloaded: [f64; 13],
    /// 2 over the load at which a row unloads; 0 without preload.
    twice_over_unloading: f64,
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
            preloaded: PRELOADED.map(|c| c * block.preload_n.powi(3)),
            twice_over_unloading: if unloading_n > 0.0 { 2.0 / unloading_n } else { 0.0 },
            preload_n: block.preload_n,
            unloading_n,
            life_at_one_newton_km: rating_life_km(block, 1.0),
            element: block.element,
        }
    }

    /// Sizes of five loads with a situation's part.
    #[inline(always)]
    pub(super) fn sizes<const N: usize>(loads: &[[f64; N]; 5], constants: &[f64; 5], i: usize) -> [f64; 5] {
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
    /// (F_pr (P/P_u + 1)^1.5)^3 lies above P^3 below P_u and meets it there. Fourteen products are quicker than a root; even and
    /// odd powers do not wait for each other.
    #[inline(always)]
    pub(super) fn ball_fatigue<const FUSED: bool>(&self, p: f64) -> f64 {
        let t = multiply_add::<FUSED>(p, self.twice_over_unloading, -1.0);
        let t = if t < 1.0 { t } else { 1.0 };
        let square = t * t;
        let (mut even, mut odd) = (self.preloaded[12], self.preloaded[11]);
        for k in (0..11).rev() {
            let part = if k % 2 == 0 { &mut even } else { &mut odd };
            *part = multiply_add::<FUSED>(*part, square, self.preloaded[k]);
        }
        let preloaded = multiply_add::<FUSED>(odd, t, even);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bearing::effective_load;
    use crate::input::read_plan;

    /// Against the bearing's own rule, from no load to far beyond the load at which a row unloads.
    #[test]
    fn check_fatigue_is_that_of_the_effective_load() {
        let plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        for preload_n in [plan.block.preload_n, 0.0] {
            let block = Block { preload_n, ..plan.block.clone() };
            let weights = Weights::new(&block);
            let unloading_n = row_unloading_load(&plan.block);
            for i in 0..3000 {
                let p = unloading_n * f64::from(i) / 1000.0;
                let expected = effective_load(&block, p).powi(3);
                for fatigue in [weights.ball_fatigue::<true>(p), weights.ball_fatigue::<false>(p)] {
                    assert!((fatigue - expected).abs() <= 1e-13 * expected, "{p}: {fatigue} instead of {expected}");
                }
            }
        }
    }
}
