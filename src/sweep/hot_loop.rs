//! The hot loop of a study on springs: installations side by side through every station and situation.
//!
//! The compiler makes one version of it for each kind of processor and the program picks one when it runs. An installation's
//! bits do not depend on its neighbours nor on the number of threads; fused multiply-adds may change the last ones from one
//! kind of processor to another.

use std::hint::black_box;

use multiversion::{multiversion, target::target_cfg_f};

use super::affine_map::LinearMap;
use super::block_loads::{Extremes, one_block};
use super::fatigue::Weights;
use super::memory::{Memory, Sweep};
use super::rows::OWN;
use crate::input::plan::Element;
use crate::math::lanes::{LANES, Lane, SINGLE_ZERO, ZERO, each, part, put, single};

/// Runs a batch of installations, given by their numbers, through every station and situation.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx2+fma", "x86_64+avx2+fma"))]
pub(crate) fn sweep(map: &LinearMap, w: &Weights, numbers: &[Lane], out: &mut Sweep) {
    const FUSED: bool = cfg!(target_arch = "aarch64") || target_cfg_f!(target_feature = "fma");
    // Lanes of one instruction: double numbers, single ones.
    const WIDE: bool = target_cfg_f!(target_feature = "avx512f");
    if WIDE { by_element::<FUSED, 8, 16>(map, w, numbers, out) } else { by_element::<FUSED, 4, 8>(map, w, numbers, out) }
}

#[inline(always)]
fn by_element<const FUSED: bool, const N: usize, const S: usize>(map: &LinearMap, w: &Weights, numbers: &[Lane], out: &mut Sweep) {
    match w.element {
        Element::Ball => all::<FUSED, N, S, true>(map, w, numbers, out),
        Element::Roller => all::<FUSED, N, S, false>(map, w, numbers, out),
    }
}

#[inline(always)]
fn all<const FUSED: bool, const N: usize, const S: usize, const BALLS: bool>(
    map: &LinearMap,
    w: &Weights,
    numbers: &[Lane],
    out: &mut Sweep,
) {
    let blocks = map.blocks.len();
    out.memory.fatigue.clear();
    out.memory.fatigue.resize(blocks, ZERO);
    out.peak.clear();
    out.peak.resize(blocks, SINGLE_ZERO);
    (out.joint_square, out.tool_square, out.peak_static) = (SINGLE_ZERO, SINGLE_ZERO, SINGLE_ZERO);
    (out.tool_yaw, out.travel_used, out.slot_used, out.lift) = (SINGLE_ZERO, SINGLE_ZERO, SINGLE_ZERO, SINGLE_ZERO);
    out.stroke.clear();
    scale_profiles::<FUSED, S>(map, numbers, &mut out.memory);
    let memory = &mut out.memory;
    map.take_ups.product::<FUSED, S>(&memory.numbers, &mut memory.take_ups);
    for slot in &map.slots {
        slot.farthest::<FUSED, S>(&memory.take_ups, &mut out.slot_used);
    }
    map.made.product::<FUSED, S>(&memory.numbers, &mut memory.made);
    map.mounts.product::<FUSED, S>(&memory.numbers, &mut memory.mounts);
    for station in &map.stations {
        let memory = &mut out.memory;
        station.rail.product::<FUSED, S>(&memory.numbers, &mut memory.rail);
        let (off, seats) = memory.rail[map.values..].split_at_mut(OWN);
        for (((off, made), seat), truck) in off.iter().zip(&memory.made).zip(seats).zip(&mut memory.trucks) {
            // Out of sight, here and below: or the compiler gathers numbers of many rows.
            let off = black_box(off);
            *truck = Lane(each(|i| off[i] + made[i]));
            *seat = Lane(each(|i| off[i] + seat[i]));
        }
        map.response.product_from::<FUSED, S>(&memory.made[OWN..], &memory.rail, &mut memory.response);
        let mut at_station = SINGLE_ZERO;
        for first in (0..LANES).step_by(S) {
            let (peak_static, lift) = (part(&out.peak_static, first), part(&out.lift, first));
            let mut extremes = Extremes { peak: [0.0; S], peak_static, lift };
            for b in 0..blocks {
                extremes = one_block::<FUSED, N, S, BALLS>(map, w, (b, station.share, first), (memory, &mut out.peak), extremes);
            }
            put(&mut at_station, first, extremes.peak);
            put(&mut out.peak_static, first, extremes.peak_static);
            put(&mut out.lift, first, extremes.lift);
        }
        out.stroke.push(at_station);
        for joint in &map.joints {
            joint.longest::<FUSED, S>(&memory.response, &mut out.joint_square);
        }
        for tool in &map.tools {
            tool.longest::<FUSED, S>(&memory.response, &mut out.tool_square);
        }
        for yaw in &map.yaws {
            yaw.farthest::<FUSED, S>(&memory.response, &mut out.tool_yaw);
        }
        for float in &map.floats {
            float.farthest::<FUSED, S>(&memory.response, &mut out.travel_used);
        }
    }
    let memory = &out.memory;
    for first in (0..LANES).step_by(N) {
        let of_block = |b: usize| part(&memory.fatigue[b], first);
        put::<f64, N>(&mut out.life_km, first, w.system_km::<N, BALLS>(blocks, of_block));
    }
}

/// Amplitudes of the profiles' modes to the wanted peak-to-valley.
#[inline(always)]
fn scale_profiles<const FUSED: bool, const S: usize>(map: &LinearMap, numbers: &[Lane], memory: &mut Memory) {
    memory.numbers.clear();
    memory.numbers.extend(numbers.iter().map(single));
    for &first in &map.profiles {
        let [least, most] = map.grid.ends::<FUSED, S>(&memory.numbers[first..first + map.modes]);
        for lanes in (0..LANES).step_by(S) {
            let (low, high): ([f32; S], [f32; S]) = (part(&least, lanes), part(&most, lanes));
            let wanted: [f32; S] = part(&memory.numbers[first + map.modes], lanes);
            let scale: [f32; S] = each(|i| {
                // Divided first, chosen then: no branch, all lanes at once.
                let has = high[i] - low[i];
                let of_all = wanted[i] / has;
                if has > 0.0 { of_all } else { 0.0 }
            });
            for amplitude in &mut memory.numbers[first..first + map.modes] {
                let as_drawn: [f32; S] = part(black_box(amplitude), lanes);
                put::<f32, S>(amplitude, lanes, each(|i| as_drawn[i] * scale[i]));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::Draws;
    use crate::draw::engine::Stream;
    use crate::evaluate::Evaluator;
    use crate::evaluate::service_states;
    use crate::input::read_plan;
    use crate::structure::Machine;

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
                let mut streams: Vec<Stream> = (0..LANES as u64).map(rand::SeedableRng::seed_from_u64).collect();
                let mut numbers = Vec::new();
                draws.numbers(&mut streams, &mut numbers);
                let found = |run: fn(&LinearMap, &Weights, &[Lane], &mut Sweep)| {
                    let mut out = Sweep::default();
                    run(&map, &w, &numbers, &mut out);
                    let extremes =
                        [out.lift, out.tool_yaw, out.travel_used, out.slot_used, out.peak_static, out.joint_square, out.tool_square];
                    let single = [&out.peak[..], &out.stroke, &extremes].concat();
                    out.life_km.into_iter().chain(single.iter().flat_map(|lane| lane.0.map(f64::from))).collect::<Vec<f64>>()
                };
                let wide = found(by_element::<true, 8, 16>);
                assert_eq!(wide, found(by_element::<true, 4, 8>), "{element:?} {arrangement}");
                let apart = found(by_element::<false, 4, 8>);
                let picked = found(sweep);
                assert!(picked == wide || picked == apart, "{element:?} {arrangement}");
                for (x, y) in wide.iter().zip(&apart) {
                    assert!((x - y).abs() <= 2e-6 * x.abs().max(1e-3), "{element:?} {arrangement}: {x} {y}");
                }
            }
        }
    }
}
