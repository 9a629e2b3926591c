//! The hot loop of a study on springs: eight installations side by side through every station and situation.
//!
//! The compiler makes one version of it for each kind of processor and the program picks one when it runs. An installation's
//! bits do not depend on its neighbours nor on the number of threads; fused multiply-adds may change the last ones from one
//! kind of processor to another.

#![allow(clippy::needless_range_loop, reason = "lanes are counted: the compiler turns each loop over them into one instruction")]

use multiversion::{multiversion, target::target_cfg_f};

use super::linear_fatigue::{Ends, Weights};
use super::linear_map::{BlockArms, LinearMap, RAIL};
use crate::input::plan::Element;
use crate::math::lanes::{LANES, Lane, ZERO, multiply_add, part, put};

/// Extremes and sums of a batch.
#[derive(Debug, Clone, Default)]
pub(super) struct Sweep {
    memory: Memory,
    /// By block: sum of fatigue, largest P.
    pub(super) fatigue: Vec<Lane>,
    pub(super) peak: Vec<Lane>,
    /// Of the machine.
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
    /// Equivalent loads of a block, and squares of a joint's force against its own, situation by situation.
    equivalent: Vec<Lane>,
    squares: Vec<Lane>,
}

/// The larger of two, lane by lane. Arrays go by value: only then does the compiler keep them in wide registers.
#[inline(always)]
fn larger<const N: usize>(a: [f64; N], b: [f64; N]) -> [f64; N] {
    std::array::from_fn(|i| if a[i] > b[i] { a[i] } else { b[i] })
}

#[inline(always)]
fn smaller<const N: usize>(a: [f64; N], b: [f64; N]) -> [f64; N] {
    std::array::from_fn(|i| if a[i] < b[i] { a[i] } else { b[i] })
}

/// Largest |x + c| over a size, c between two constants.
#[inline(always)]
fn farthest(to: &mut Lane, x: &Lane, [low, high]: [f64; 2], size: f64) {
    let (mut up, mut down) = (ZERO, ZERO);
    for i in 0..LANES {
        up[i] = (x[i] + high) / size;
        down[i] = -(x[i] + low) / size;
    }
    *to = larger(larger(up, down), *to);
}

/// Runs a batch of installations, given by their numbers, through every station and situation.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx2+fma", "x86_64+avx2+fma"))]
pub(super) fn sweep(map: &LinearMap, w: &Weights, numbers: &[Lane], out: &mut Sweep) {
    const FUSED: bool = target_cfg_f!(target_feature = "fma");
    // The innermost loop has about twenty numbers of each lane at hand: as many lanes go together as registers hold.
    const WIDE: bool = target_cfg_f!(target_feature = "avx512f");
    if WIDE { by_element::<FUSED, LANES>(map, w, numbers, out) } else { by_element::<FUSED, { LANES / 2 }>(map, w, numbers, out) }
}

#[inline(always)]
fn by_element<const FUSED: bool, const N: usize>(map: &LinearMap, w: &Weights, numbers: &[Lane], out: &mut Sweep) {
    match w.element {
        Element::Ball => all::<FUSED, N>(map, w, numbers, out, |loads, shares, ends| w.balls::<FUSED, N>(loads, shares, ends)),
        Element::Roller => all::<FUSED, N>(map, w, numbers, out, |loads, shares, ends| w.rollers::<FUSED, N>(loads, shares, ends)),
    }
}

#[inline(always)]
fn all<const FUSED: bool, const N: usize>(
    map: &LinearMap,
    w: &Weights,
    numbers: &[Lane],
    out: &mut Sweep,
    fatigue: impl Fn(&[Lane], &[f64], Ends<N>) -> [f64; N] + Copy,
) {
    let blocks = map.blocks.len();
    for list in [&mut out.fatigue, &mut out.peak] {
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
        farthest(&mut out.slot_used, tau, [*constant; 2], *slot);
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
            one_block::<FUSED, N>(map, w, (b, station.share), out, &mut at_station, fatigue);
        }
        out.stroke.push(at_station);
        others::<FUSED, N>(map, out);
    }
}

/// Amplitudes of the profiles' modes to the wanted peak-to-valley.
#[inline(always)]
fn scale_profiles<const FUSED: bool, const N: usize>(map: &LinearMap, numbers: &[Lane], memory: &mut Memory) {
    memory.numbers.clear();
    memory.numbers.extend_from_slice(numbers);
    for &first in &map.profiles {
        map.grid.product::<FUSED, N>(&numbers[first..first + map.modes], &mut memory.grid);
        let (mut low, mut high) = ([f64::INFINITY; LANES], [f64::NEG_INFINITY; LANES]);
        for value in &memory.grid[..map.grid_points] {
            (low, high) = (smaller(*value, low), larger(*value, high));
        }
        let (mut scale, wanted) = (ZERO, &numbers[first + map.modes]);
        for i in 0..LANES {
            // Divided first, chosen then: no branch, all lanes at once.
            let has = high[i] - low[i];
            let of_all = wanted[i] / has;
            scale[i] = if has > 0.0 { of_all } else { 0.0 };
        }
        for amplitude in &mut memory.numbers[first..first + map.modes] {
            for i in 0..LANES {
                amplitude[i] *= scale[i];
            }
        }
    }
}

/// Five loads of a block on its rail, times their weights in P, situations apart.
#[inline(always)]
fn block_loads<const FUSED: bool>(block: &BlockArms, truck: &[Lane], rail: &[Lane], mounts: &[Lane]) -> [Lane; 5] {
    let (x, b, k) = (block.x_mm, block.lateral_mm, &block.stiffness);
    let r: &[Lane] = &rail[block.rail..block.rail + RAIL];
    let mut loads = [ZERO; 5];
    for i in 0..LANES {
        let rolled = truck[2][i] - r[4][i];
        let raised = multiply_add::<FUSED>(b, rolled, truck[1][i]) - r[2][i];
        let turned = multiply_add::<FUSED>(b, r[5][i], truck[3][i] + r[3][i]);
        loads[0][i] = multiply_add::<FUSED>(k[0], multiply_add::<FUSED>(x, truck[4][i], truck[0][i]) - r[0][i], mounts[0][i]);
        loads[1][i] = multiply_add::<FUSED>(k[1], multiply_add::<FUSED>(-x, truck[3][i], raised), mounts[1][i]);
        loads[2][i] = multiply_add::<FUSED>(k[2], rolled, mounts[2][i]);
        loads[3][i] = multiply_add::<FUSED>(k[3], turned, mounts[3][i]);
        loads[4][i] = multiply_add::<FUSED>(k[4], truck[4][i] - r[1][i], mounts[4][i]);
    }
    loads
}

/// Counts one block at one station in every situation, `N` lanes at a time: first all equivalent loads, then what they tire.
#[inline(always)]
fn one_block<const FUSED: bool, const N: usize>(
    map: &LinearMap,
    w: &Weights,
    (b, share): (usize, f64),
    out: &mut Sweep,
    at_station: &mut Lane,
    fatigue: impl Fn(&[Lane], &[f64], Ends<N>) -> [f64; N],
) {
    let block = &map.blocks[b];
    let memory = &mut out.memory;
    let truck = &memory.response[5 * block.side..5 * block.side + 5];
    let loads = block_loads::<FUSED>(block, truck, &memory.rail, &memory.mounts[5 * b..5 * b + 5]);
    out.lift = larger(std::array::from_fn(|i| loads[1][i] + block.most_lift), out.lift);
    memory.equivalent.resize(block.constants.len(), ZERO);
    for first in (0..LANES).step_by(N) {
        let [y, z, roll, pitch, yaw] = &loads;
        let own: [[f64; N]; 5] = [part(y, first), part(z, first), part(roll, first), part(pitch, first), part(yaw, first)];
        let (mut least, mut peak) = ([f64::INFINITY; N], [0.0; N]);
        for (constants, to) in block.constants.iter().zip(&mut memory.equivalent) {
            let p: [f64; N] = std::array::from_fn(|i| Weights::load(&Weights::sizes(&own, constants, i)));
            (least, peak) = (smaller(p, least), larger(p, peak));
            put::<N>(to, first, p);
        }
        let sum = fatigue(&memory.equivalent, &map.shares, Ends { first, least, most: peak });
        let (fatigue, before): ([f64; N], [f64; N]) = (part(&out.fatigue[b], first), part(&out.peak[b], first));
        let (at, most): ([f64; N], [f64; N]) = (part(at_station, first), part(&out.peak_static, first));
        put::<N>(&mut out.fatigue[b], first, std::array::from_fn(|i| multiply_add::<FUSED>(sum[i], share, fatigue[i])));
        put::<N>(&mut out.peak[b], first, larger(peak, before));
        put::<N>(at_station, first, larger(peak, at));
        // P0 is looked at only where it can be a new largest one.
        if (0..N).any(|i| w.fixed_over_dynamic_most * peak[i] > most[i]) {
            let of = |constants| std::array::from_fn(|i| w.static_load::<FUSED>(&Weights::sizes(&own, constants, i)));
            put::<N>(&mut out.peak_static, first, block.constants.iter().map(of).fold(most, larger));
        }
    }
}

/// Joints, tool points and floats at one station.
#[inline(always)]
fn others<const FUSED: bool, const N: usize>(map: &LinearMap, out: &mut Sweep) {
    let Memory { response, squares, .. } = &mut out.memory;
    for joint in &map.joints {
        let springs = &response[joint.springs.clone()];
        let (mut own, mut most) = (ZERO, [f64::NEG_INFINITY; LANES]);
        for spring in springs {
            own = std::array::from_fn(|i| multiply_add::<FUSED>(spring[i], spring[i], own[i]));
        }
        // |f + c|^2 = |f|^2 + (2 f c + |c|^2)
        joint.twice.product_from::<FUSED, N>(&joint.squares, springs, squares);
        for with in &squares[..map.situations] {
            most = larger(*with, most);
        }
        out.joint_square = larger(std::array::from_fn(|i| own[i] + most[i]), out.joint_square);
    }
    for tool in &map.tools {
        let at = &response[tool.rows..tool.rows + 4];
        for c in &tool.ways {
            let mut square = ZERO;
            for i in 0..LANES {
                let way = [at[0][i] + c[0], at[1][i] + c[1], at[2][i] + c[2]];
                square[i] = way[0] * way[0] + way[1] * way[1] + way[2] * way[2];
            }
            out.tool_square = larger(square, out.tool_square);
        }
        farthest(&mut out.tool_yaw, &at[3], tool.yaw, 1.0);
    }
    for float in &map.floats {
        farthest(&mut out.travel_used, &response[float.row], float.constants, float.travel);
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
                numbers.iter_mut().flatten().for_each(|v| *v = middled(next()));
                draws.spread(&mut numbers);
                let found = |run: fn(&LinearMap, &Weights, &[Lane], &mut Sweep)| {
                    let mut out = Sweep::default();
                    run(&map, &w, &numbers, &mut out);
                    let own = [out.peak_static, out.lift, out.joint_square, out.tool_square, out.tool_yaw, out.travel_used, out.slot_used];
                    [&out.fatigue[..], &out.peak, &out.stroke, &own].concat().concat()
                };
                let wide = found(by_element::<true, LANES>);
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
