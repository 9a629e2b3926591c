//! The hot loop of a study on springs: installations side by side through every station and situation.
//!
//! The compiler makes one version of it for each kind of processor and the program picks one when it runs. An installation's
//! bits do not depend on its neighbours nor on the number of threads; fused multiply-adds may change the last ones from one
//! kind of processor to another.

use multiversion::{multiversion, target::target_cfg_f};

use super::linear_fatigue::Weights;
use super::linear_map::{BlockArms, JointRows, LinearMap, RAIL};
use crate::input::plan::Element;
use crate::math::lanes::{LANES, Lane, ZERO, each, multiply_add, part, parts, put};

/// Extremes and sums of a batch.
#[derive(Debug, Clone, Default)]
pub(super) struct Sweep {
    memory: Memory,
    /// Largest P of each block.
    pub(super) peak: Vec<Lane>,
    /// Of the machine.
    pub(super) life_km: Lane,
    pub(super) peak_static: Lane,
    /// Largest Fz, times its weight in P.
    pub(super) lift: Lane,
    pub(super) joint_square: Lane,
    pub(super) tool_square: Lane,
    pub(super) tool_yaw: Lane,
    pub(super) travel_used: Lane,
    pub(super) slot_used: Lane,
    /// Largest equivalent load at each station.
    pub(super) stroke: Vec<Lane>,
}

/// Scaled numbers, profiles on their grid, what no station changes, and what each station does: working memory.
#[derive(Debug, Clone, Default)]
struct Memory {
    numbers: Vec<Lane>,
    grid: Vec<Lane>,
    take_ups: Vec<Lane>,
    made: Vec<Lane>,
    mounts: Vec<Lane>,
    rail: Vec<Lane>,
    forces: Vec<Lane>,
    response: Vec<Lane>,
    /// Situation by situation: equivalent loads of a block; twice the product of a joint's force with what the situation adds.
    equivalent: Vec<Lane>,
    twice: Vec<Lane>,
    /// Sum of fatigue of each block.
    fatigue: Vec<Lane>,
}

/// The larger of two, lane by lane. Arrays go by value, a register each: only then does the compiler keep them there.
#[inline(always)]
fn larger<const N: usize>(a: [f64; N], b: [f64; N]) -> [f64; N] {
    each(|i| if a[i] > b[i] { a[i] } else { b[i] })
}

#[inline(always)]
fn smaller<const N: usize>(a: [f64; N], b: [f64; N]) -> [f64; N] {
    each(|i| if a[i] < b[i] { a[i] } else { b[i] })
}

/// Raises some lanes to what is larger.
#[inline(always)]
fn raise<const N: usize>(to: &mut Lane, first: usize, by: [f64; N]) {
    put(to, first, larger(by, part(to, first)));
}

/// Largest |x + c| over a size, c between two constants.
#[inline(always)]
fn farthest<const N: usize>(to: &mut Lane, x: &Lane, [low, high]: [f64; 2], size: f64) {
    for first in (0..LANES).step_by(N) {
        let x: [f64; N] = part(x, first);
        raise::<N>(to, first, larger(each(|i| (x[i] + high) / size), each(|i| -(x[i] + low) / size)));
    }
}

/// Runs a batch of installations, given by their numbers, through every station and situation.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx2+fma", "x86_64+avx2+fma"))]
pub(super) fn sweep(map: &LinearMap, w: &Weights, numbers: &[Lane], out: &mut Sweep) {
    const FUSED: bool = target_cfg_f!(target_feature = "fma");
    // Lanes of one instruction.
    const WIDE: bool = target_cfg_f!(target_feature = "avx512f");
    if WIDE { by_element::<FUSED, 8>(map, w, numbers, out) } else { by_element::<FUSED, 4>(map, w, numbers, out) }
}

#[inline(always)]
fn by_element<const FUSED: bool, const N: usize>(map: &LinearMap, w: &Weights, numbers: &[Lane], out: &mut Sweep) {
    match w.element {
        Element::Ball => all::<FUSED, N, true>(map, w, numbers, out),
        Element::Roller => all::<FUSED, N, false>(map, w, numbers, out),
    }
}

#[inline(always)]
fn all<const FUSED: bool, const N: usize, const BALLS: bool>(map: &LinearMap, w: &Weights, numbers: &[Lane], out: &mut Sweep) {
    let blocks = map.blocks.len();
    for list in [&mut out.memory.fatigue, &mut out.peak] {
        list.clear();
        list.resize(blocks, ZERO);
    }
    (out.joint_square, out.tool_square, out.tool_yaw, out.travel_used, out.slot_used) = (ZERO, ZERO, ZERO, ZERO, ZERO);
    (out.peak_static, out.lift) = (ZERO, ZERO);
    out.stroke.clear();
    scale_profiles::<FUSED, N>(map, numbers, &mut out.memory);
    let memory = &mut out.memory;
    map.take_ups.product::<FUSED, N>(&memory.numbers, &mut memory.take_ups);
    for ((constant, slot), tau) in map.slots.iter().zip(&memory.take_ups) {
        farthest::<N>(&mut out.slot_used, tau, [*constant; 2], *slot);
    }
    map.made.product::<FUSED, N>(&memory.numbers, &mut memory.made);
    map.mounts.product::<FUSED, N>(&memory.numbers, &mut memory.mounts);
    for station in &map.stations {
        let memory = &mut out.memory;
        station.rail.product::<FUSED, N>(&memory.numbers, &mut memory.rail);
        map.forces.product::<FUSED, N>(&memory.rail, &mut memory.forces);
        map.response.product_from::<FUSED, N>(&memory.made, &memory.forces, &mut memory.response);
        let mut at_station = ZERO;
        for b in 0..blocks {
            one_block::<FUSED, N, BALLS>(map, w, (b, station.share), out, &mut at_station);
        }
        out.stroke.push(at_station);
        others::<FUSED, N>(map, out);
    }
    for first in (0..LANES).step_by(N) {
        let of_block = |b: usize| part(&out.memory.fatigue[b], first);
        put::<N>(&mut out.life_km, first, w.system_km::<N, BALLS>(blocks, of_block));
    }
}

/// Amplitudes of the profiles' modes to the wanted peak-to-valley.
#[inline(always)]
fn scale_profiles<const FUSED: bool, const N: usize>(map: &LinearMap, numbers: &[Lane], memory: &mut Memory) {
    memory.numbers.clear();
    memory.numbers.extend_from_slice(numbers);
    for &first in &map.profiles {
        map.grid.product::<FUSED, N>(&numbers[first..first + map.modes], &mut memory.grid);
        for lanes in (0..LANES).step_by(N) {
            let (mut low, mut high) = ([f64::INFINITY; N], [f64::NEG_INFINITY; N]);
            for value in &memory.grid[..map.grid_points] {
                let value = part(value, lanes);
                (low, high) = (smaller(value, low), larger(value, high));
            }
            let wanted: [f64; N] = part(&numbers[first + map.modes], lanes);
            let scale: [f64; N] = each(|i| {
                // Divided first, chosen then: no branch, all lanes at once.
                let has = high[i] - low[i];
                let of_all = wanted[i] / has;
                if has > 0.0 { of_all } else { 0.0 }
            });
            for amplitude in &mut memory.numbers[first..first + map.modes] {
                let as_drawn: [f64; N] = part(amplitude, lanes);
                put::<N>(amplitude, lanes, each(|i| as_drawn[i] * scale[i]));
            }
        }
    }
}

/// Five loads of a block on its rail, times their weights in P, situations apart, of some lanes.
#[inline(always)]
fn block_loads<const FUSED: bool, const N: usize>(block: &BlockArms, of: [&[Lane]; 3], first: usize) -> [[f64; N]; 5] {
    let (x, b, k) = (block.x_mm, block.lateral_mm, &block.stiffness);
    let [truck, rail, mounts] = of;
    let [r0, r1, r2, r3, r4, r5]: [[f64; N]; RAIL] = parts(&rail[block.rail..block.rail + RAIL], first);
    let [t0, t1, t2, t3, t4]: [[f64; N]; 5] = parts(truck, first);
    let [m0, m1]: [[f64; N]; 2] = parts(mounts, first);
    let rolled: [f64; N] = each(|i| t2[i] - r4[i]);
    let raised: [f64; N] = each(|i| multiply_add::<FUSED>(b, rolled[i], t1[i]) - r2[i]);
    let turned: [f64; N] = each(|i| multiply_add::<FUSED>(b, r5[i], t3[i] + r3[i]));
    [
        each(|i| multiply_add::<FUSED>(k[0], multiply_add::<FUSED>(x, t4[i], t0[i]) - r0[i], m0[i])),
        each(|i| multiply_add::<FUSED>(k[1], multiply_add::<FUSED>(-x, t3[i], raised[i]), m1[i])),
        each(|i| k[2] * rolled[i]),
        each(|i| k[3] * turned[i]),
        each(|i| k[4] * (t4[i] - r1[i])),
    ]
}

/// Counts one block at one station in every situation, `N` lanes at a time: first all equivalent loads, then what they tire.
#[inline(always)]
fn one_block<const FUSED: bool, const N: usize, const BALLS: bool>(
    map: &LinearMap,
    w: &Weights,
    (b, share): (usize, f64),
    out: &mut Sweep,
    at_station: &mut Lane,
) {
    let (block, memory) = (&map.blocks[b], &mut out.memory);
    let groups = &block.groups;
    memory.equivalent.resize(block.constants.len(), ZERO);
    for first in (0..LANES).step_by(N) {
        let truck = &memory.response[5 * block.side..5 * block.side + 5];
        let loads: [[f64; N]; 5] = block_loads::<FUSED, N>(block, [truck, &memory.rail, &memory.mounts[2 * b..2 * b + 2]], first);
        raise::<N>(&mut out.lift, first, each(|i| loads[1][i] + block.most_lift));
        let (s, t) = (loads[groups.shared[0]], loads[groups.shared[1]]);
        let (u, v, x) = (loads[groups.own[0]], loads[groups.own[1]], loads[groups.own[2]]);
        let mut peak = [0.0; N];
        let (mut constants, mut to) = (&groups.constants[..], &mut memory.equivalent[..]);
        for ([c, d], members) in &groups.groups {
            let shared: [f64; N] = each(|i| (s[i] + c).abs() + (t[i] + d).abs());
            let (now, later) = constants.split_at(*members);
            let (to_now, to_later) = to.split_at_mut(*members);
            for ([c, d, e], to) in now.iter().zip(to_now) {
                let p = each(|i| ((u[i] + c).abs() + (v[i] + d).abs()) + ((x[i] + e).abs() + shared[i]));
                peak = larger(p, peak);
                put::<N>(to, first, p);
            }
            (constants, to) = (later, to_later);
        }
        let sum = w.fatigue::<FUSED, N, BALLS>(&memory.equivalent, &groups.shares, first);
        let before: [f64; N] = part(&memory.fatigue[b], first);
        put::<N>(&mut memory.fatigue[b], first, each(|i| multiply_add::<FUSED>(sum[i], share, before[i])));
        raise(&mut out.peak[b], first, peak);
        raise(at_station, first, peak);
        // P0 is looked at only where it can be a new largest one.
        let most: [f64; N] = part(&out.peak_static, first);
        if (0..N).any(|i| w.fixed_over_dynamic_most * peak[i] > most[i]) {
            let mut most = most;
            for constants in &block.constants {
                most = larger(each(|i| w.static_load::<FUSED, N>(&loads, constants, i)), most);
            }
            put::<N>(&mut out.peak_static, first, most);
        }
    }
}

/// Joints, tool points and floats at one station.
#[inline(always)]
fn others<const FUSED: bool, const N: usize>(map: &LinearMap, out: &mut Sweep) {
    for joint in &map.joints {
        one_joint::<FUSED, N>(joint, out);
    }
    let response = &out.memory.response;
    for tool in &map.tools {
        let at = &response[tool.rows..tool.rows + 4];
        for first in (0..LANES).step_by(N) {
            let [x, y, z]: [[f64; N]; 3] = parts(&at[..3], first);
            let mut most = [0.0; N];
            for c in &tool.ways {
                let way: [[f64; N]; 3] = [each(|i| x[i] + c[0]), each(|i| y[i] + c[1]), each(|i| z[i] + c[2])];
                most = larger(each(|i| way[0][i] * way[0][i] + way[1][i] * way[1][i] + way[2][i] * way[2][i]), most);
            }
            raise(&mut out.tool_square, first, most);
        }
        farthest::<N>(&mut out.tool_yaw, &at[3], tool.yaw, 1.0);
    }
    for float in &map.floats {
        farthest::<N>(&mut out.travel_used, &response[float.row], float.constants, float.travel);
    }
}

/// Largest force of one joint at one station, where it can be a new largest one.
#[inline(always)]
fn one_joint<const FUSED: bool, const N: usize>(joint: &JointRows, out: &mut Sweep) {
    let Memory { response, twice, .. } = &mut out.memory;
    let springs = &response[joint.springs.clone()];
    let (mut own, mut may_be_more) = (ZERO, false);
    for first in (0..LANES).step_by(N) {
        let (mut sum, mut most) = ([0.0; N], [joint.most; N]);
        for (spring, [low, high]) in springs.iter().zip(&joint.twice_ends) {
            let spring: [f64; N] = part(spring, first);
            sum = each(|i| multiply_add::<FUSED>(spring[i], spring[i], sum[i]));
            let both = (each(|i| spring[i] * low), each(|i| spring[i] * high));
            let larger: [f64; N] = larger(both.0, both.1);
            most = each(|i| most[i] + larger[i]);
        }
        put::<N>(&mut own, first, sum);
        // Each spring by itself at its worst: mostly below what was found before, by more than rounding.
        let before: [f64; N] = part(&out.joint_square, first);
        may_be_more |= !(0..N).all(|i| sum[i] + most[i] + 1e-9 * (sum[i] + joint.most) < before[i]);
    }
    if !may_be_more {
        return;
    }
    // |f + c|^2 = |f|^2 + (2 f c + |c|^2)
    joint.twice.product::<FUSED, N>(springs, twice);
    for first in (0..LANES).step_by(N) {
        let mut most = [f64::NEG_INFINITY; N];
        for (with, square) in twice.iter().zip(&joint.squares) {
            let with: [f64; N] = part(with, first);
            most = larger(each(|i| with[i] + square), most);
        }
        let own: [f64; N] = part(&own, first);
        raise::<N>(&mut out.joint_square, first, each(|i| own[i] + most[i]));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::read_plan;
    use crate::structure::Machine;
    use crate::study::engine::words;
    use crate::study::evaluate::Evaluator;
    use crate::study::sampling::{Draws, middled};
    use crate::study::service::service_states;

    /// What the loop for a wide register gives, that for two narrow ones gives to the last bit; without the fused multiply-add
    /// the last digits may differ.
    #[test]
    fn check_every_kind_of_processor_counts_the_same() {
        let text = include_str!("../../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 3 ");
        for element in [Element::Ball, Element::Roller] {
            let mut plan = read_plan(&text, "panel-bridge.toml").unwrap();
            plan.block.element = element;
            for arrangement in 0..plan.arrangements.len() {
                let evaluator = Evaluator::new(Machine::new(&plan, arrangement).unwrap(), plan.study.drag).unwrap();
                let draws = Draws::new(&plan, evaluator.machine.rails());
                let map = LinearMap::new(&evaluator, &draws, &service_states(&plan)).unwrap().unwrap();
                let w = Weights::new(&plan.block);
                let mut next = words(5, 1);
                let mut numbers = vec![ZERO; draws.places().len()];
                numbers.iter_mut().flat_map(|lane| lane.iter_mut()).for_each(|v| *v = middled(next()));
                draws.spread(&mut numbers);
                let found = |run: fn(&LinearMap, &Weights, &[Lane], &mut Sweep)| {
                    let mut out = Sweep::default();
                    run(&map, &w, &numbers, &mut out);
                    let own = [
                        out.life_km,
                        out.peak_static,
                        out.lift,
                        out.joint_square,
                        out.tool_square,
                        out.tool_yaw,
                        out.travel_used,
                        out.slot_used,
                    ];
                    [&out.peak[..], &out.stroke, &own].concat().iter().flat_map(|lane| lane.0).collect::<Vec<f64>>()
                };
                let wide = found(by_element::<true, 8>);
                assert_eq!(wide, found(by_element::<true, 4>), "{element:?} {arrangement}");
                let apart = found(by_element::<false, 4>);
                let picked = found(sweep);
                assert!(picked == wide || picked == apart, "{element:?} {arrangement}");
                for (x, y) in wide.iter().zip(&apart) {
                    assert!((x - y).abs() <= 1e-9 * x.abs().max(1e-3), "{element:?} {arrangement}: {x} {y}");
                }
            }
        }
    }
}
