//! The loads of one block at one station, in every situation.
//!
//! Five loads without the situation come in double precision, as small differences of large motions. What a situation adds, the
//! equivalent load and what it tires are sums and products without such differences: single precision holds them to 1e-7, twice as
//! many at a time.

use super::linear_fatigue::Weights;
use super::linear_kernel::Sweep;
use super::linear_map::{BlockArms, LinearMap, RAIL};
use crate::math::lanes::{LANES, Lane, SINGLE_ZERO, SingleLane, each, joined, larger, multiply_add, part, parts, put, raise};

/// Five loads of a block on its rail, times their weights in P, situations apart, of some lanes.
#[inline(always)]
fn block_loads<const FUSED: bool, const N: usize>(block: &BlockArms, of: [&[Lane]; 3], first: usize) -> [[f64; N]; 5] {
    let (x, b, k) = (block.x_mm, block.lateral_mm, &block.stiffness);
    let [truck, rail, mounts] = of;
    let [r0, r1, r2, r3, r4, r5]: [[f64; N]; RAIL] = parts(&rail[block.rail..block.rail + RAIL], first);
    let [t0, t1, t2, t3, t4]: [[f64; N]; 5] = parts(truck, first);
    let [m0, m1]: [[f64; N]; 2] = parts(mounts, first);
    let rolled: [f64; N] = each(|i| t2[i] - r4[i]);
    let raised: [f64; N] = each(|i| multiply_add::<FUSED, _>(b, rolled[i], t1[i]) - r2[i]);
    let turned: [f64; N] = each(|i| multiply_add::<FUSED, _>(b, r5[i], t3[i] + r3[i]));
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

/// Counts one block at one station in every situation, `N` double or `S` = 2 N single lanes at a time: first all equivalent loads,
/// then what they tire.
#[inline(always)]
pub(super) fn one_block<const FUSED: bool, const N: usize, const S: usize, const BALLS: bool>(
    map: &LinearMap,
    w: &Weights,
    (b, share): (usize, f64),
    out: &mut Sweep,
    at_station: &mut SingleLane,
) {
    let (block, memory) = (&map.blocks[b], &mut out.memory);
    let groups = &block.groups;
    memory.equivalent.resize(block.constants.len(), SINGLE_ZERO);
    for first in (0..LANES).step_by(S) {
        let of = [&memory.response[5 * block.side..5 * block.side + 5], &memory.rail, &memory.mounts[2 * b..2 * b + 2]];
        let (low, high) = (block_loads::<FUSED, N>(block, of, first), block_loads::<FUSED, N>(block, of, first + N));
        raise::<f64, N>(&mut out.lift, first, each(|i| low[1][i] + block.most_lift));
        raise::<f64, N>(&mut out.lift, first + N, each(|i| high[1][i] + block.most_lift));
        let load = |k: usize| -> [f32; S] { joined(low[k], high[k]) };
        let loads = [load(0), load(1), load(2), load(3), load(4)];
        let (s, t) = (loads[groups.shared[0]], loads[groups.shared[1]]);
        let own = [loads[groups.own[0]], loads[groups.own[1]], loads[groups.own[2]]];
        let mut peak = [0.0; S];
        let (mut constants, mut to) = (&groups.constants[..], &mut memory.equivalent[..]);
        for ([c, d], members) in &groups.groups {
            let shared: [f32; S] = each(|i| (s[i] + c).abs() + (t[i] + d).abs());
            let (now, later) = constants.split_at(*members);
            let (to_now, to_later) = to.split_at_mut(*members);
            let ((pairs, rest), (to_pairs, to_rest)) = (now.as_chunks::<2>(), to_now.as_chunks_mut::<2>());
            for ([one, other], [to_one, to_other]) in pairs.iter().zip(to_pairs) {
                let (p, q) = (equivalent(own, *one, shared), equivalent(own, *other, shared));
                peak = larger(larger(p, q), peak);
                put(to_one, first, p);
                put(to_other, first, q);
            }
            for (one, to) in rest.iter().zip(to_rest) {
                let p = equivalent(own, *one, shared);
                peak = larger(p, peak);
                put(to, first, p);
            }
            (constants, to) = (later, to_later);
        }
        put(&mut memory.tired, first, w.fatigue::<FUSED, S, BALLS>(&memory.equivalent, &groups.shares, first));
        // Out of sight between writing and reading, or the compiler takes the whole sum in halves.
        let tired = std::hint::black_box(&memory.tired);
        for half in [first, first + N] {
            let (tired, before): ([f32; N], [f64; N]) = (part(tired, half), part(&memory.fatigue[b], half));
            let sum: [f64; N] = each(|i| multiply_add::<FUSED, _>(f64::from(tired[i]), share, before[i]));
            put(&mut memory.fatigue[b], half, sum);
        }
        raise(&mut out.peak[b], first, peak);
        raise(at_station, first, peak);
        // P0 is looked at only where it can be a new largest one.
        let mut most: [f32; S] = part(&out.peak_static, first);
        if (0..S).fold(false, |may, i| may | (w.fixed_over_dynamic_most * peak[i] > most[i])) {
            for constants in &block.constants {
                most = larger(each(|i| w.static_load::<FUSED, S>(&loads, constants, i)), most);
            }
            put(&mut out.peak_static, first, most);
        }
    }
}
