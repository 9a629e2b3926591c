//! One pose of the demo machine with its blocks at the contact level, as a ratio to the same outcome with springs in the
//! same run; Newton steps a pose.
//!
//! 8 blocks, four rows of 12 balls each, on supports that yield. `cargo bench --bench contact` prints a table; the
//! contributor's page keeps a dated one.
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a measuring program")]

use railtrue::draw::{Draws, run};
use railtrue::evaluate::{Evaluator, Work, service_states};
use railtrue::input::{Plan, plan::Level, read_plan};
use railtrue::structure::Machine;
use std::time::Instant;

fn main() {
    let linear = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
    let mut contact = linear.clone();
    contact.block.level = Level::Contact;
    let service = service_states(&linear);
    for arrangement in 0..2 {
        let (springs, _, _) = measure(&linear, arrangement, &service);
        let (rows, steps, poses) = measure(&contact, arrangement, &service);
        println!(
            "{:10} one thread: springs {:7.1} us an installation, rows {:7.1} us ({:4.1} times); {poses} poses, {:5.2} us and {steps:4.2} Newton steps each",
            linear.arrangements[arrangement].name,
            1e6 * springs,
            1e6 * rows,
            rows / springs,
            1e6 * rows / poses as f64,
        );
    }
}

/// Seconds an installation, Newton steps a pose, poses an installation.
fn measure(plan: &Plan, arrangement: usize, service: &[railtrue::evaluate::ServiceState]) -> (f64, f64, usize) {
    let evaluator = Evaluator::new(Machine::new(plan, arrangement).unwrap(), plan.study.drag).unwrap();
    let draws = Draws::new(plan, evaluator.machine.rails());
    let installations = run(0, 300, 1, || (), |(), _, rng| draws.draw(rng));
    let mut work = Work::default();
    let mut steps = 0;
    let start = Instant::now();
    for installation in &installations {
        let outcome = evaluator.evaluate(installation, service, &mut work).unwrap();
        assert!(outcome.life_km > 0.0);
        steps += work.newton_steps();
    }
    let seconds = start.elapsed().as_secs_f64() / installations.len() as f64;
    let poses = plan.frame.stations_x_mm.len() * service.len() * plan.duty.len() * evaluator.drags().len();
    (seconds, steps as f64 / (poses * installations.len()) as f64, poses)
}
