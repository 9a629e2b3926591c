//! The shim program against scipy's milp on 50 random cases: fewest pads, then least movement. The cases and their solutions
//! were made by tests/cross/shim_programs.py; versions stand in the file.

use crate::common;

use common::{json, num, nums};
use railtrue::survey::shims::program::{Bound, Pad, Task, cost, keeps, solve};

#[test]
fn cross_fewest_pads_and_least_movement_of_fifty_programs() {
    let file = json("cross/shim_programs.json");
    let cases = file["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 50);
    let mut proved = 0;
    for (k, case) in cases.iter().enumerate() {
        let rails = [0, 1].map(|r: usize| {
            let values = nums(&case["rails"][r]);
            let n = values.len();
            let pad =
                |i: usize| Pad { s: i as f64 / (n - 1) as f64 - 0.5, value: values[i], steps: (0, num(&case["steps"]) as i32), cost: 1.0 };
            (0..n).map(pad).collect::<Vec<_>>()
        });
        let (b0, b1) = (num(&case["offset"]), num(&case["drift"]));
        let task = Task {
            rails,
            zones: [0, 1].map(|r: usize| num(&case["zones"][r])),
            bounds: vec![
                Bound { factors: [-1.0, 0.0, 1.0, 0.0], low: -b0, high: b0 },
                Bound { factors: [0.0, -1.0, 0.0, 1.0], low: -b1, high: b1 },
            ],
            step: num(&case["step"]),
            whole: true,
            largest_step: num(&case["largest_step"]),
            bend: [0, 1].map(|r: usize| num(&case["bend"][r])),
        };
        let found = solve(&task).unwrap();
        assert!(found.widened == 0.0 && keeps(&task, &found.steps, 0.0), "case {k}: {found:?}");
        assert!((cost(&task, &found.steps) - num(&case["touched"])).abs() < 1e-9, "case {k}: {found:?} against {}", case["touched"]);
        let moved: i32 = found.steps.iter().flatten().map(|n| n.abs()).sum();
        // Never less than the proved least; equal where ours is proved too.
        assert!(f64::from(moved) >= num(&case["movement"]), "case {k}: {moved} beats {}", case["movement"]);
        if found.least_proved {
            proved += 1;
            assert!((f64::from(moved) - num(&case["movement"])).abs() < 1e-9, "case {k}: {moved} against {}", case["movement"]);
        }
    }
    assert!(proved >= 40, "only {proved} of 50 proved");
}
