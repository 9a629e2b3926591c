//! The loads of one block at one station, in every situation.
//!
//! Trucks and rails come as what they are off from the truck's seat (`seats.rs`): loads are then no small differences of
//! large motions, and single precision holds them and all that follows to some 1e-7, twice as many at a time.

use super::affine_map::{BlockArms, LinearMap};
use super::fatigue::Weights;
use super::memory::Memory;
use super::rows::RAIL;
use crate::math::lanes::{SINGLE_ZERO, SingleLane, each, larger, multiply_add, part, parts, put, raise};

/// Five loads of a block on its rail, times their weights in P, situations apart, of some lanes.
#[inline(always)]
fn block_loads<const FUSED: bool, const S: usize>(block: &BlockArms, of: [&[SingleLane]; 3], first: usize) -> [[f32; S]; 5] {
    let (x, b, k) = (block.x_mm, block.lateral_mm, &block.stiffness);
    let [truck, rail, mounts] = of;
    let [r0, r1, r2, r3, r4, r5]: [[f32; S]; RAIL] = parts(&rail[block.rail..block.rail + RAIL], first);
    let [t0, t1, t2, t3, t4]: [[f32; S]; 5] = parts(truck, first);
    let [m0, m1]: [[f32; S]; 2] = parts(mounts, first);
    let rolled: [f32; S] = each(|i| t2[i] - r4[i]);
    let raised: [f32; S] = each(|i| multiply_add::<FUSED, _>(b, rolled[i], t1[i]) - r2[i]);
    let turned: [f32; S] = each(|i| multiply_add::<FUSED, _>(b, r5[i], t3[i] + r3[i]));
    [
        each(|i| multiply_add::<FUSED, _>(k[0], multiply_add::<FUSED, _>(x, t4[i], t0[i]) - r0[i], m0[i])),
        each(|i| multiply_add::<FUSED, _>(k[1], multiply_add::<FUSED, _>(-x, t3[i], raised[i]), m1[i])),
        each(|i| k[2] * rolled[i]),
        each(|i| k[3] * turned[i]),
        each(|i| k[4] * (t4[i] - r1[i])),
    ]
}

/// P in one situation: three loads with its constants, and what it shares with others.
#[inline(always)]
fn equivalent<const S: usize>([u, v, w]: [[f32; S]; 3], [c, d, e]: [f32; 3], shared: [f32; S]) -> [f32; S] {
    each(|i| ((u[i] + c).abs() + (v[i] + d).abs()) + ((w[i] + e).abs() + shared[i]))
}

/// Extremes so far of the blocks at a station: P, its static counterpart, and the load upward times its weight in P.
#[derive(Clone, Copy)]
pub(crate) struct Extremes<const S: usize> {
    pub(crate) peak: [f32; S],
    pub(super) peak_static: [f32; S],
    pub(crate) lift: [f32; S],
}

/// Counts one block at one station in every situation, `S` lanes from `first` on, `N` = S / 2 of double numbers at a time: first all
/// equivalent loads, then what they tire. Extremes go by value, or they are written under masks.
#[inline(always)]
pub(super) fn one_block<const FUSED: bool, const N: usize, const S: usize, const BALLS: bool>(
    map: &LinearMap,
    w: &Weights,
    (b, share, first): (usize, f64, usize),
    (memory, peaks): (&mut Memory, &mut [SingleLane]),
    so_far: Extremes<S>,
) -> Extremes<S> {
    let block = &map.blocks[b];
    let all = &block.pairs;
    memory.equivalent.resize(all.pairs.len(), [SINGLE_ZERO; 2]);
    let of = [&memory.trucks[block.truck..block.truck + 5], &memory.rail, &memory.mounts[2 * b..2 * b + 2]];
    let loads: [[f32; S]; 5] = block_loads::<FUSED, S>(block, of, first);
    let (s, t) = (loads[all.shared[0]], loads[all.shared[1]]);
    let own = [loads[all.own[0]], loads[all.own[1]], loads[all.own[2]]];
    let mut peak = [0.0; S];
    for (pair, [to_one, to_other]) in all.pairs.iter().zip(&mut memory.equivalent) {
        let ([c, d], [one, other]) = (pair.shared, pair.own);
        let shared: [f32; S] = each(|i| (s[i] + c).abs() + (t[i] + d).abs());
        let (p, q) = (equivalent(own, one, shared), equivalent(own, other, shared));
        peak = larger(larger(p, q), peak);
        put(to_one, first, p);
        put(to_other, first, q);
    }
    put(&mut memory.tired, first, w.fatigue::<FUSED, S, BALLS>(&memory.equivalent, &all.shares, first));
    // Out of sight between writing and reading, or the compiler takes the whole sum in halves.
    let tired = std::hint::black_box(&memory.tired);
    for half in [first, first + N] {
        let (tired, before): ([f32; N], [f64; N]) = (part(tired, half), part(&memory.fatigue[b], half));
        let sum: [f64; N] = each(|i| multiply_add::<FUSED, _>(f64::from(tired[i]), share, before[i]));
        put(&mut memory.fatigue[b], half, sum);
    }
    raise(&mut peaks[b], first, peak);
    // P0 is looked at only where it can be a new largest one.
    let mut peak_static = so_far.peak_static;
    if (0..S).fold(false, |may, i| may | (w.fixed_over_dynamic_most * peak[i] > peak_static[i])) {
        for constants in &block.constants {
            peak_static = larger(each(|i| w.static_load::<FUSED, S>(&loads, constants, i)), peak_static);
        }
    }
    let lift = larger(each(|i| loads[1][i] + block.most_lift), so_far.lift);
    Extremes { peak: larger(peak, so_far.peak), peak_static, lift }
}
