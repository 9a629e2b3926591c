//! What the bearings make of a batch of loads: equivalent loads' weights and fatigue.

use nalgebra::{SMatrix, SVector};

use crate::bearing::{rating_life_km, row_unloading_load};
use crate::input::plan::{Block, Element};
use crate::math::lanes::{SingleLane, each, larger, multiply_add, part};
use crate::math::root::{cube_root, root};

/// Coefficients of the polynomial for preloaded rows.
const TERMS: usize = 7;

/// A power of 1 + s, s from 0 to 1, over powers of s from the constant on: through Chebyshev's points. Off by 6e-8 for the power
/// 4.5, as much as single precision is.
fn power_of_one_more(exponent: f64) -> SVector<f64, TERMS> {
    let at = |i: usize| 0.5 - 0.5 * (std::f64::consts::PI * (i as f64 + 0.5) / TERMS as f64).cos();
    let powers = SMatrix::<f64, TERMS, TERMS>::from_fn(|i, k| at(i).powi(k as i32));
    let wanted = SVector::from_fn(|i, _| (1.0 + at(i)).powf(exponent));
    powers.lu().solve(&wanted).unwrap_or_default()
}

/// What the bearings make of five loads. The map gives loads times their dynamic weights: P is the sum of their sizes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Weights {
    /// Factors of Fy, Fz, Mx, My, Mz in P.
    pub(crate) dynamic: [f64; 5],
    /// Factors in P0 over those in P, and the largest of them.
    fixed_over_dynamic: [f32; 5],
    pub(super) fixed_over_dynamic_most: f32,
    /// Fatigue below the load at which a row unloads, over powers of P; zeros without preload.
    preloaded: [f32; TERMS],
    /// Load at which a row unloads; 0 without preload.
    pub(crate) unloading_n: f64,
    /// Rating life of a block under 1 N: a rating life falls with the power of the load that the fatigue is a mean of.
    pub(super) life_at_one_newton_km: f64,
    pub(crate) element: Element,
}

impl Weights {
    pub(crate) fn new(block: &Block) -> Self {
        let [y, z] = block.c_over_direction;
        let [roll, pitch, yaw] = block.c_over_moment_per_mm;
        let [y0, z0] = block.c0_over_direction;
        let [roll0, pitch0, yaw0] = block.c0_over_moment_per_mm;
        let dynamic = [y, z, roll, pitch, yaw];
        let fixed = [y0, z0, roll0, pitch0, yaw0];
        let fixed_over_dynamic: [f32; 5] = std::array::from_fn(|i| (fixed[i] / dynamic[i]) as f32);
        let unloading_n = row_unloading_load(block);
        let (of_load, of_fatigue) = (block.element.contact_exponent(), block.element.life_exponent());
        let powers = power_of_one_more(of_load * of_fatigue);
        let of_power = |k: usize| powers[k] * block.preload_n.powf(of_fatigue) / unloading_n.powi(k as i32);
        Self {
            dynamic,
            fixed_over_dynamic,
            fixed_over_dynamic_most: fixed_over_dynamic.iter().copied().fold(0.0, f32::max),
            preloaded: std::array::from_fn(|k| if unloading_n > 0.0 { of_power(k) as f32 } else { 0.0 }),
            unloading_n,
            life_at_one_newton_km: rating_life_km(block, 1.0),
            element: block.element,
        }
    }

    /// P0 of five loads with a situation's part, in lane `i`.
    #[inline(always)]
    pub(super) fn static_load<const FUSED: bool, const S: usize>(&self, loads: &[[f32; S]; 5], constants: &[f32; 5], i: usize) -> f32 {
        let sizes = loads.iter().zip(constants).map(|(load, constant)| (load[i] + constant).abs());
        sizes.zip(&self.fixed_over_dynamic).fold(0.0, |sum, (size, factor)| multiply_add::<FUSED, _>(size, *factor, sum))
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

    /// Fatigue of the equivalent loads of some lanes from `first` on, weighed by their shares: P_eff^3 on balls, P_eff^(10/3) on
    /// rollers.
    ///
    /// Below the load P_u at which a row unloads P_eff is F_pr (P/P_u + 1)^n, n the contact's exponent: a polynomial here, which
    /// a dozen products make quicker than a root. Above it is P. The larger of the two is the right one where the first ends at P_u.
    #[inline(always)]
    pub(crate) fn fatigue<const FUSED: bool, const S: usize, const BALLS: bool>(
        &self,
        loads: &[[SingleLane; 2]],
        shares: &[[f32; 2]],
        first: usize,
    ) -> [f32; S] {
        let mut sum = [0.0; S];
        for ([p, q], [of_p, of_q]) in loads.iter().zip(shares) {
            let one = self.tired_by::<FUSED, S, BALLS>(part(p, first));
            let other = self.tired_by::<FUSED, S, BALLS>(part(q, first));
            sum = each(|i| multiply_add::<FUSED, _>(other[i], *of_q, multiply_add::<FUSED, _>(one[i], *of_p, sum[i])));
        }
        sum
    }

    #[inline(always)]
    fn tired_by<const FUSED: bool, const S: usize, const BALLS: bool>(&self, p: [f32; S]) -> [f32; S] {
        let unloading_n = self.unloading_n as f32;
        let above: [f32; S] = each(|i| if BALLS { p[i] * p[i] * p[i] } else { p[i] * p[i] * p[i] * cube_root(p[i]) });
        let below: [f32; S] = each(|i| self.preloaded::<FUSED>(if p[i] < unloading_n { p[i] } else { unloading_n }));
        larger(above, below)
    }

    /// Even and odd powers apart: they do not wait for each other.
    #[inline(always)]
    fn preloaded<const FUSED: bool>(&self, p: f32) -> f32 {
        let (c, square) = (&self.preloaded, p * p);
        let (mut even, mut odd) = (c[6], c[5]);
        for k in [4, 2, 0] {
            even = multiply_add::<FUSED, _>(even, square, c[k]);
        }
        for k in [3, 1] {
            odd = multiply_add::<FUSED, _>(odd, square, c[k]);
        }
        multiply_add::<FUSED, _>(odd, p, even)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bearing::{effective_load, system_life_km};
    use crate::input::read_plan;
    use crate::math::lanes::{LANES, Lane};

    /// Against the bearing's own rule, on balls and on rollers, from no load to far beyond the load at which a row unloads: loads
    /// below it, above it and on both sides, and the same bits in any company.
    #[test]
    fn check_fatigue_is_that_of_the_effective_load() {
        let plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        let shapes = [Element::Ball, Element::Roller].map(|e| [(e, plan.block.preload_n), (e, 0.0)]);
        for (element, preload_n) in shapes.into_iter().flatten() {
            let block = Block { preload_n, element, ..plan.block.clone() };
            let weights = Weights::new(&block);
            let unloading_n = row_unloading_load(&plan.block);
            let fatigue = |p: SingleLane, fused: bool| -> [f32; LANES] {
                match (element, fused) {
                    (Element::Ball, true) => weights.fatigue::<true, LANES, true>(&[[p, p]], &[[0.25, 0.75]], 0),
                    (Element::Ball, false) => weights.fatigue::<false, LANES, true>(&[[p, p]], &[[0.25, 0.75]], 0),
                    (Element::Roller, true) => weights.fatigue::<true, LANES, false>(&[[p, p]], &[[0.25, 0.75]], 0),
                    (Element::Roller, false) => weights.fatigue::<false, LANES, false>(&[[p, p]], &[[0.25, 0.75]], 0),
                }
            };
            for i in 0..3000 {
                let p = (unloading_n * f64::from(i) / 1000.0) as f32;
                let expected = effective_load(&block, f64::from(p)).powf(element.life_exponent());
                let company = Lane(std::array::from_fn(|k| if k == 3 { p } else { unloading_n as f32 * (0.5 + k as f32) }));
                for fused in [true, false] {
                    let alone = fatigue(Lane([p; LANES]), fused)[3];
                    let off = (f64::from(alone) - expected).abs();
                    assert!(off <= 1e-6 * expected + 1e-20, "{element:?} {p}: {alone} instead of {expected}");
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
