//! An adversary against the bounds: a million installations of each arrangement of the demo, corners and inside points; none
//! may pass a bound, nor may what climbing has attained. `cargo bench --bench adversary -- [COUNT]`; the contributor's page
//! keeps the dated result, the tests run a small share.
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a measuring program")]

use railtrue::draw::{Draws, run, uniform};
use railtrue::evaluate::{Evaluator, Outcome, Work, service_states};
use railtrue::input::read_plan;
use railtrue::structure::Machine;
use railtrue::study::{Effort, ToleranceBox, worst_case};

type Quantity = (&'static str, fn(&Outcome) -> f64);

const QUANTITIES: [Quantity; 7] = [
    ("life_km", |o| o.life_km),
    ("peak_load_n", |o| o.peak_load_n),
    ("static_safety", |o| o.static_safety),
    ("float_travel_used", |o| o.float_travel_used),
    ("joint_force_n", |o| o.joint_force_n),
    ("tool_displacement_mm", |o| o.tool_displacement_mm),
    ("tool_yaw_mrad", |o| o.tool_yaw_mrad),
];

fn main() {
    let count: u64 = std::env::args().filter_map(|a| a.parse().ok()).next().unwrap_or(1_000_000);
    let mut plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
    let mut passed = 0;
    for scale in [1.0, 2.0] {
        plan.errors.sources.iter_mut().for_each(|s| (s.lower, s.upper) = (s.lower * scale, s.upper * scale));
        for arrangement in 0..plan.arrangements.len() {
            let e = Evaluator::new(Machine::new(&plan, arrangement).unwrap(), plan.study.drag).unwrap();
            let w = worst_case(&e, Effort::FULL, &|| false).unwrap();
            let draws = Draws::new(&plan, e.machine.rails());
            let tolerance_box = ToleranceBox::new(&plan, draws.modes().clone());
            let service = service_states(&plan);
            let worse = |less: bool, a: f64, b: f64| if less { a.min(b) } else { a.max(b) };
            let mut extremes: Vec<f64> = Vec::new();
            for first in (0..count).step_by(10_000) {
                let outcomes = run(first, 10_000.min(count - first), 99, Work::default, |work, i, rng| {
                    let point = tolerance_box.random(i % 3 != 0, &mut || uniform(rng));
                    e.evaluate(&tolerance_box.installation(&plan, &point), &service, work).unwrap()
                });
                for o in &outcomes {
                    let values = QUANTITIES.map(|(key, of)| (w.get(key).is_some_and(|b| b.less_is_worse), of(o)));
                    if extremes.is_empty() {
                        extremes = values.iter().map(|v| v.1).collect();
                    }
                    extremes.iter_mut().zip(values).for_each(|(x, (less, v))| *x = worse(less, *x, v));
                }
            }
            println!("{} x tolerances, {}: {count} installations", if scale == 1.0 { 1 } else { 2 }, e.machine.name());
            for ((key, _), found) in QUANTITIES.iter().zip(&extremes) {
                let Some(b) = w.get(key) else { continue };
                let bound = b.bound.unwrap_or(if b.less_is_worse { 0.0 } else { f64::INFINITY });
                let over = if b.less_is_worse { *found < bound * (1.0 - 1e-9) } else { *found > bound * (1.0 + 1e-9) };
                let attained_over = if b.less_is_worse { b.attained < bound } else { b.attained > bound };
                passed += u64::from(over) + u64::from(attained_over);
                println!(
                    "  {key:22} adversary {found:12.4}  attained {:12.4}  bound {bound:12.4}{}",
                    b.attained,
                    if over { "  PASSED" } else { "" }
                );
            }
        }
    }
    println!("{passed} bounds passed");
    assert_eq!(passed, 0);
}
