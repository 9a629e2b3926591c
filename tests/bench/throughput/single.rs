//! One installation at a time: the evaluator, and the full Newton search in 24 freedoms that a trace uses.

use super::clock::best_of;
use railtrue::draw::{Draws, run};
use railtrue::evaluate::{Evaluator, Work, service_states};
use railtrue::structure::{Drag, Situation};
use std::time::Instant;

pub fn print(evaluator: &Evaluator<'_>, fast: f64) {
    let plan = evaluator.plan();
    let service = service_states(plan);
    let draws = Draws::new(plan, evaluator.machine.rails());
    let installations = run(0, 1000, 1, || (), |(), _, rng| draws.draw(rng));
    let mut work = Work::default();
    let evaluated = best_of(3, || {
        let lives: f64 = installations.iter().map(|i| evaluator.evaluate(i, &service, &mut work).unwrap().life_km).sum();
        assert!(lives > 0.0);
    }) / installations.len() as f64;
    let few = &installations[..5];
    let start = Instant::now();
    let mut residual = 0.0_f64;
    for installation in few {
        let taken_up = evaluator.taken_up(installation).unwrap();
        let drags: &[Drag] = if evaluator.machine.drag_has_signs() { &[Drag::Plus, Drag::Minus] } else { &[Drag::Law] };
        for &station_x_mm in &plan.frame.stations_x_mm {
            for (state, case) in service.iter().flat_map(|s| (0..plan.duty.len()).map(move |c| (s, c))) {
                for &drag in drags {
                    let s = Situation { station_x_mm, case, thermal: state.thermal, skew_mm: state.skew_mm, drag };
                    residual = residual.max(evaluator.machine.respond(installation, &taken_up, &s).unwrap().residual);
                }
            }
        }
    }
    assert!(residual < 1e-6);
    let searched = start.elapsed().as_secs_f64() / few.len() as f64;
    println!(
        "  one by one, one thread: {:.0} us ({:.0} times), full search of every pose {:.0} us ({:.0} times)",
        1e6 * evaluated,
        evaluated / fast,
        1e6 * searched,
        searched / fast
    );
}
