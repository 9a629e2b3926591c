//! The shim program on small cases: every list tried one by one, and a machine that needs nothing.

use crate::golden_small::keep;
use railtrue::survey::shims::program::{Bound, Pad, Task, cost, keeps, solve};
use std::fmt::Write as _;

fn random_task(seed: u64, pads: usize, most: i32) -> Task {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15).wrapping_add(7);
    let mut random = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / f64::from(1_u32 << 31) - 0.5
    };
    let mut rail = |off: f64, low: i32| -> Vec<Pad> {
        let one = |i: usize| Pad {
            s: i as f64 / (pads - 1) as f64 - 0.5,
            value: off + if seed.is_multiple_of(2) { 0.3 } else { 0.7 } * random(),
            steps: (low, most),
            cost: 1.0,
        };
        (0..pads).map(one).collect()
    };
    let low = if seed.is_multiple_of(3) { -most } else { 0 };
    Task {
        rails: [rail(0.0, low), rail(0.25, low)],
        zones: [0.2, 0.2],
        bounds: vec![
            Bound { factors: [-1.0, 0.0, 1.0, 0.0], low: -0.1, high: 0.1 },
            Bound { factors: [0.0, -1.0, 0.0, 1.0], low: -0.2, high: 0.2 },
        ],
        step: 0.1,
        whole: true,
        largest_step: 0.25,
        bend: [0.15, 0.15],
    }
}

/// All lists of steps, one by one: least cost, then least movement.
fn brute(task: &Task) -> Option<(f64, i32)> {
    let pads: Vec<Pad> = task.rails.iter().flatten().copied().collect();
    let mut steps: Vec<i32> = pads.iter().map(|p| p.steps.0).collect();
    let mut best: Option<(f64, i32)> = None;
    loop {
        let (a, b) = steps.split_at(task.rails[0].len());
        let list = [a.to_vec(), b.to_vec()];
        if keeps(task, &list, 0.0) {
            let here = (cost(task, &list), steps.iter().map(|n| n.abs()).sum());
            if best.is_none_or(|b| here < b) {
                best = Some(here);
            }
        }
        let mut i = 0;
        while i < steps.len() && steps[i] == pads[i].steps.1 {
            steps[i] = pads[i].steps.0;
            i += 1;
        }
        if i == steps.len() {
            return best;
        }
        steps[i] += 1;
    }
}

#[test]
fn check_small_programs_against_brute_force() {
    let mut possible = 0;
    for seed in 0..24 {
        let task = random_task(seed, 4, if seed.is_multiple_of(3) { 2 } else { 4 });
        let found = solve(&task).unwrap();
        match brute(&task) {
            None => assert!(found.widened > 0.0, "seed {seed}: brute force finds nothing, the program {found:?}"),
            Some((cost, movement)) => {
                possible += 1;
                assert!(found.widened == 0.0 && keeps(&task, &found.steps, 0.0), "seed {seed}: {found:?}");
                let moved: i32 = found.steps.iter().flatten().map(|n| n.abs()).sum();
                assert!((found.touched - cost).abs() < 1e-9 && moved == movement, "seed {seed}: {found:?} against {cost}, {movement}");
            }
        }
    }
    assert!((8..23).contains(&possible), "{possible} of 24 can be met: the cases test too little");
}

#[test]
fn a_machine_within_its_limits_is_left_alone() {
    let mut task = random_task(1, 8, 10);
    task.rails.iter_mut().flatten().for_each(|p| p.value *= 0.1);
    let found = solve(&task).unwrap();
    assert!(found.steps.iter().flatten().all(|n| *n == 0) && found.fewest_proved && found.least_proved);
}

/// One pad of rail B may be raised, by m, and limits are widened by the share w. The offset is m/4 and must reach 0.075 - 0.125 w;
/// the bend is m and may be 0.1 + 0.5 w: so w = 0.2 and m = 0.2, two steps. The zone of such a bump is 1.1 m.
#[test]
fn check_bends_are_widened_by_the_share_of_the_zone() {
    let pad = |i: usize, steps: (i32, i32)| Pad { s: f64::from(i as u32) / 3.0 - 0.5, value: 0.0, steps, cost: 1.0 };
    let rail = |most: i32| (0..4).map(|i| pad(i, if i == 1 { (0, most) } else { (0, 0) })).collect::<Vec<_>>();
    for (sign, steps) in [(1.0, [0, 2, 0, 0]), (-1.0, [0, -2, 0, 0])] {
        let mut task = Task {
            rails: [rail(0), rail(9)],
            zones: [0.5, 0.5],
            bounds: vec![Bound { factors: [-1.0, 0.0, 1.0, 0.0], low: 0.075, high: 0.325 }],
            step: 0.1,
            whole: true,
            largest_step: 9.0,
            bend: [0.1, 0.1],
        };
        if sign < 0.0 {
            task.rails[1][1].steps = (-9, 0);
            (task.bounds[0].low, task.bounds[0].high) = (-0.325, -0.075);
        }
        let found = solve(&task).unwrap();
        // Whole steps are found at the least widening, or at the next that is tried, 1.05 w + 0.02.
        assert!((found.widened - 0.2).abs() < 1e-6 || (found.widened - 0.23).abs() < 1e-6, "{found:?}");
        assert_eq!(found.steps[1], steps);
        assert!(keeps(&task, &found.steps, 0.2) && !keeps(&task, &found.steps, 0.19));
    }
}

/// What the programs of a few tasks come to, and which of many lists keep their limits, widened by nothing to twice.
#[test]
fn golden_shims_and_which_lists_are_allowed() {
    let mut text = String::new();
    for seed in 0..9 {
        let mut task = random_task(seed, 4, 2);
        task.whole = seed % 4 != 3;
        if seed == 5 {
            task.rails[0].clear();
            task.rails[1].iter_mut().for_each(|p| p.cost = 0.5);
        }
        let _ = writeln!(text, "{:?}", solve(&task));
        for widened in [0.0, 0.5, 1.0, 2.0] {
            let allowed = |k: i32| {
                let list = [0, 1].map(|rail| {
                    (0..task.rails[rail].len() as i32).map(|i| (k / 3_i32.pow(i as u32) + rail as i32 * k / 7) % 3 - 1).collect()
                });
                if keeps(&task, &list, widened) { 'y' } else { 'n' }
            };
            let _ = writeln!(text, "{}", (0..81).map(allowed).collect::<String>());
        }
    }
    keep("shims", &text);
}
