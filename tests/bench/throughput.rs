//! Installations per second of the demo machine, as a ratio to a stated baseline in the same run.
//!
//! Baseline: the same outcome by one full Newton search in 24 freedoms for every station, load case, state of service and
//! state of the drag (`Machine::respond`), the way a single trace is computed, on one thread.
//! `cargo bench --bench throughput` prints a table; the contributor's page keeps a dated one.
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a measuring program")]

use railtrue::input::read_plan;
use railtrue::structure::{Drag, Machine, Situation};
use railtrue::study::{Draws, Evaluator, Length, Work, drawn, monte_carlo, run, service_states};
use std::time::Instant;

fn main() {
    let plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
    let evaluators: Vec<Evaluator<'_>> =
        (0..2).map(|a| Evaluator::new(Machine::new(&plan, a).unwrap(), plan.study.drag).unwrap()).collect();
    let service = service_states(&plan);
    let draws = Draws::new(&plan, evaluators[0].machine.rails());
    println!(
        "demo machine: {} stations, {} blocks, {} load cases, {} states of service, {} threads",
        plan.frame.stations_x_mm.len(),
        plan.block_count(),
        plan.duty.len(),
        service.len(),
        rayon::current_num_threads()
    );
    for evaluator in &evaluators {
        let installations = run(0, 2000, 1, || (), |(), _, rng| draws.draw(rng));
        let mut work = Work::default();
        let start = Instant::now();
        let lives: f64 = installations.iter().map(|i| evaluator.evaluate(i, &service, &mut work).unwrap().life_km).sum();
        let fast = start.elapsed().as_secs_f64() / installations.len() as f64;
        let start = Instant::now();
        let taken: f64 = installations.iter().map(|i| evaluator.taken_up(i).unwrap().slot_used).sum();
        let tightening = start.elapsed().as_secs_f64() / installations.len() as f64;
        let few = &installations[..10];
        let start = Instant::now();
        let mut checksum = 0.0;
        for installation in few {
            let taken_up = evaluator.taken_up(installation).unwrap();
            let drags: &[Drag] = if evaluator.machine.drag_has_signs() { &[Drag::Plus, Drag::Minus] } else { &[Drag::Law] };
            for &station_x_mm in &plan.frame.stations_x_mm {
                for (state, case) in service.iter().flat_map(|s| (0..plan.duty.len()).map(move |c| (s, c))) {
                    for &drag in drags {
                        let s = Situation { station_x_mm, case, thermal: state.thermal, skew_mm: state.skew_mm, drag };
                        checksum += evaluator.machine.respond(installation, &taken_up, &s).unwrap().residual;
                    }
                }
            }
        }
        let slow = start.elapsed().as_secs_f64() / few.len() as f64;
        let one_thread = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        let many = 40_000;
        let start = Instant::now();
        let batched: f64 = one_thread.install(|| drawn(evaluator, 1, many).unwrap().iter().map(|o| o.life_km).sum());
        let eight = start.elapsed().as_secs_f64() / many as f64;
        let start = Instant::now();
        let again: f64 = drawn(evaluator, 1, many).unwrap().iter().map(|o| o.life_km).sum();
        let all_threads = start.elapsed().as_secs_f64() / many as f64;
        assert!((batched - again).abs() == 0.0);
        println!(
            "{:10} eight at a time, drawing and all: {:5.2} us an installation on one thread, ratio to the full search {:4.0}; {:.0} installations per second on all threads",
            evaluator.machine.name(),
            1e6 * eight,
            slow / eight,
            1.0 / all_threads
        );
        println!(
            "{:10} one thread: {:6.1} us an installation (of it tightening {:5.1} us); full search {:8.1} us; ratio {:5.0}   (sums {lives:.3e} {taken:.2} {checksum:.1e})",
            evaluator.machine.name(),
            1e6 * fast,
            1e6 * tightening,
            1e6 * slow,
            slow / fast
        );
    }
    let start = Instant::now();
    let start_draw = Instant::now();
    let drawn: f64 = run(0, 20_000, 1, || (), |(), _, rng| draws.draw(rng).span_mm).iter().sum();
    println!("drawing alone: {:.1} us an installation (sum {drawn:.3})", 1e6 * start_draw.elapsed().as_secs_f64() / 20_000.0);
    let draws_count = 20_000;
    let study = monte_carlo(&evaluators, Length::Fixed(draws_count), 1, &|_| {}).unwrap();
    let seconds = start.elapsed().as_secs_f64();
    println!(
        "study of {draws_count} installations, {} arrangements: {seconds:.2} s, {:.0} installations per second and arrangement",
        study.arrangements.len(),
        draws_count as f64 * study.arrangements.len() as f64 / seconds
    );
}
