//! What the bearings make of a batch of loads: equivalent loads' weights and fatigue.

use crate::bearing::{rating_life_km, row_unloading_load};
use crate::input::plan::{Block, Element};
use crate::math::lanes::{Lane, each, multiply_add, part};
use crate::math::root::root;

/// (1 + s)^4.5 over powers of s from the constant on, for s from 0 to 1: the polynomial of degree 9 with the least largest
/// relative error (exchange algorithm, 50 digits), 1.2e-11.
const PRELOADED: [f64; 10] = [
    1.000_000_000_011_445_8,
    4.499_999_996_724_212,
    7.875_000_146_484_183,
    6.562_497_559_551_762,
    2.460_957_583_950_745,
    0.246_000_237_546_677_68,
    -0.020_242_729_821_121_53,
    0.003_918_407_472_612_254_8,
    -0.000_819_151_620_595_382_4,
    0.000_104_947_928_588_321_95,
];

/// What the bearings make of five loads. The map gives loads times their dynamic weights: P is the sum of their sizes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Weights {
    /// Factors of Fy, Fz, Mx, My, Mz in P.
    pub(super) dynamic: [f64; 5],
    /// Factors in P0 over those in P, and the largest of them.
    pub(super) fixed_over_dynamic: [f64; 5],
    pub(super) fixed_over_dynamic_most: f64,
    /// Fatigue below the load at which a row unloads, over powers of P; zeros without preload.
    preloaded: [f64; 10],
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
            preloaded: std::array::from_fn(|k| {
                if unloading_n > 0.0 { PRELOADED[k] * block.preload_n.powi(3) / unloading_n.powi(k as i32) } else { 0.0 }
            }),
            preload_n: block.preload_n,
            unloading_n,
            life_at_one_newton_km: rating_life_km(block, 1.0),
            element: block.element,
        }
    }

    /// P0 of five loads with a situation's part, in lane `i`.
    #[inline(always)]
    pub(super) fn static_load<const FUSED: bool, const N: usize>(&self, loads: &[[f64; N]; 5], constants: &[f64; 5], i: usize) -> f64 {
        let sizes = loads.iter().zip(constants).map(|(load, constant)| (load[i] + constant).abs());
        sizes.zip(&self.fixed_over_dynamic).fold(0.0, |sum, (size, factor)| multiply_add::<FUSED>(size, *factor, sum))
    }

    /// Fatigue of an equivalent load on balls with their preload: P_eff^3.
    ///
    /// Below the load P_u at which a row unloads that is (F_pr (P/P_u + 1)^1.5)^3, a polynomial here: a dozen products are
    /// quicker than a root. Both are counted, then one is chosen: of eight loads some are nearly always on the other side.
    #[inline(always)]
    fn ball<const FUSED: bool>(&self, p: f64) -> f64 {
        let (above, below) = (p * p * p, self.preloaded::<FUSED>(p));
        if p > self.unloading_n { above } else { below }
    }

    /// Life of a system of blocks from the sums of their fatigue, km: (sum L_i^-e)^(-1/e) with L_i = L(1 N) / fatigue. The exponent
    /// e is 10/9 with balls and 9/8 with rollers, so that its powers are roots.
    #[inline(always)]
    pub(super) fn system_km<const N: usize, const BALLS: bool>(&self, blocks: usize, fatigue: impl Fn(usize) -> [f64; N]) -> [f64; N] {
        if BALLS { self.system_of_roots::<N, 9, 10>(blocks, fatigue) } else { self.system_of_roots::<N, 8, 9>(blocks, fatigue) }
    }

    /// The same with e = M / K, M = K + 1.
    #[inline(always)]
    fn system_of_roots<const N: usize, const K: i32, const M: i32>(&self, blocks: usize, fatigue: impl Fn(usize) -> [f64; N]) -> [f64; N] {
        let mut sum = [0.0; N];
        for b in 0..blocks {
            let own = fatigue(b);
            sum = each(|i| sum[i] + own[i] * root::<K>(own[i]));
        }
        each(|i| self.life_at_one_newton_km * (root::<M>(sum[i]) / sum[i]))
    }

    /// Fatigue of the equivalent loads of some lanes from `first` on, weighed by their shares.
    #[inline(always)]
    pub(super) fn fatigue<const FUSED: bool, const N: usize, const BALLS: bool>(
        &self,
        loads: &[Lane],
        shares: &[f64],
        first: usize,
    ) -> [f64; N] {
        let mut sum = [0.0; N];
        for (p, share) in loads.iter().zip(shares) {
            let p: [f64; N] = part(p, first);
            let of = |p: f64| if BALLS { self.ball::<FUSED>(p) } else { self.roller(p) };
            sum = each(|i| multiply_add::<FUSED>(of(p[i]), *share, sum[i]));
        }
        sum
    }

    /// Even and odd powers apart: they do not wait for each other.
    #[inline(always)]
    fn preloaded<const FUSED: bool>(&self, p: f64) -> f64 {
        let (c, square) = (&self.preloaded, p * p);
        let (mut even, mut odd) = (c[8], c[9]);
        for k in [6, 4, 2, 0] {
            even = multiply_add::<FUSED>(even, square, c[k]);
            odd = multiply_add::<FUSED>(odd, square, c[k + 1]);
        }
        multiply_add::<FUSED>(odd, p, even)
    }

    /// The same on rollers: P_eff^(10/3).
    #[inline(always)]
    fn roller(&self, p: f64) -> f64 {
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
    use crate::bearing::{effective_load, system_life_km};
    use crate::input::read_plan;
    use crate::math::lanes::LANES;

    /// Against the bearing's own rule, from no load to far beyond the load at which a row unloads: loads below it, above it and
    /// on both sides, and the same bits in any company.
    #[test]
    fn check_fatigue_is_that_of_the_effective_load() {
        let plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        for preload_n in [plan.block.preload_n, 0.0] {
            let block = Block { preload_n, ..plan.block.clone() };
            let weights = Weights::new(&block);
            let unloading_n = row_unloading_load(&plan.block);
            let fatigue = |p: Lane, fused: bool| {
                if fused { weights.fatigue::<true, 8, true>(&[p], &[1.0], 0) } else { weights.fatigue::<false, 8, true>(&[p], &[1.0], 0) }
            };
            for i in 0..3000 {
                let p = unloading_n * f64::from(i) / 1000.0;
                let expected = effective_load(&block, p).powi(3);
                let company = Lane(std::array::from_fn(|k| if k == 3 { p } else { unloading_n * (0.5 + k as f64) }));
                for fused in [true, false] {
                    let alone = fatigue(Lane([p; LANES]), fused)[3];
                    assert!((alone - expected).abs() <= 2e-11 * expected, "{p}: {alone} instead of {expected}");
                    assert_eq!(alone.to_bits(), fatigue(company, fused)[3].to_bits(), "{p}");
                }
            }
        }
    }

    /// Roots against the bearing's own powers, on balls and on rollers: blocks that last from 1 to 100,000 times a unit.
    #[test]
    fn check_life_of_the_system_is_that_of_the_rule() {
        let plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        for element in [Element::Ball, Element::Roller] {
            let weights = Weights::new(&Block { element, ..plan.block.clone() });
            let fatigue = |b: usize| -> [f64; 4] { each(|i| 1e9 * 10.0_f64.powf((0.7 * b as f64 + 1.3 * i as f64) % 5.0)) };
            let found: [f64; 4] =
                if element == Element::Ball { weights.system_km::<4, true>(6, fatigue) } else { weights.system_km::<4, false>(6, fatigue) };
            for (i, life_km) in found.into_iter().enumerate() {
                let expected = system_life_km(element, (0..6).map(|b| weights.life_at_one_newton_km / fatigue(b)[i]));
                assert!((life_km - expected).abs() <= 1e-14 * expected, "{element:?}: {life_km} instead of {expected}");
            }
        }
    }
}
