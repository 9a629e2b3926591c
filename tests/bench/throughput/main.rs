//! How fast studies are, beside what else could be done on the same processor in the same run.
//!
//! `cargo bench --bench throughput` prints the table that the contributor's page keeps with its date: installations per second
//! of the demo machine; the same study in NumPy (`tests/bench/numpy_baseline.py`; RAILTRUE_PYTHON names a Python that has
//! numpy and scipy, else `python3`); a lower bound; multiply-adds against dense products; contact level; memory; growth.
//! Every time is the best of several, taken in turns, so that a processor shared with others spoils few of them.
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a measuring program")]
#![allow(missing_docs, unreachable_pub, reason = "a measuring program")]

mod baseline;
mod bound;
mod dense;
mod growth;
mod memory;
mod normals;
mod single;

use railtrue::input::plan::Level;
use railtrue::input::{Plan, read_plan};
use railtrue::structure::Machine;
use railtrue::study::{Evaluator, drawn, service_states};
use std::time::Instant;

pub const DEMO: &str = include_str!("../../../examples/panel-bridge.toml");
pub const DEMO_PATH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/panel-bridge.toml");

/// Rounds in which everything that is compared takes its turn.
const ROUNDS: u64 = 4;
const INSTALLATIONS: u64 = 100_000;

fn main() {
    let plan = read_plan(DEMO, "panel-bridge.toml").unwrap();
    head(&plan);
    let mut numpy = baseline::Baseline::start();
    let product = dense::products_per_second(numpy.as_mut());
    for arrangement in 0..plan.arrangements.len() {
        let evaluator = evaluator(&plan, arrangement);
        println!("\n{}", evaluator.machine.name());
        let best = in_turns(&evaluator, numpy.as_mut());
        best.print();
        let bound = bound::Bound::of(&evaluator);
        bound.print(best.one_thread, &product);
        single::print(&evaluator, best.one_thread);
    }
    drop(numpy);
    contact_level(&plan);
    memory::print();
    growth::print();
}

pub fn evaluator(plan: &Plan, arrangement: usize) -> Evaluator<'_> {
    Evaluator::new(Machine::new(plan, arrangement).unwrap(), plan.study.drag).unwrap()
}

/// Shortest of several runs, seconds.
pub fn best_of(times: usize, mut run: impl FnMut()) -> f64 {
    let once = |_| {
        let start = Instant::now();
        run();
        start.elapsed().as_secs_f64()
    };
    (0..times).map(once).fold(f64::INFINITY, f64::min)
}

/// Seconds of one run on one thread.
pub fn on_one_thread(run: impl FnMut() + Send) -> f64 {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    pool.install(|| best_of(1, run))
}

fn head(plan: &Plan) {
    let read = |command: &str, args: &[&str]| {
        let output = std::process::Command::new(command).args(args).output();
        output.ok().map_or_else(String::new, |o| String::from_utf8_lossy(&o.stdout).trim().to_string())
    };
    let about = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let processor = about.lines().find_map(|l| l.strip_prefix("model name")).map_or("unknown", |l| l.trim_start_matches([':', ' ', '\t']));
    let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    println!(
        "{}, commit {}, {processor}, {} threads, load before the start {}",
        read("date", &["+%F"]),
        read("git", &["rev-parse", "--short", "HEAD"]),
        rayon::current_num_threads(),
        load.split(' ').next().unwrap_or("unknown")
    );
    println!(
        "demo machine: {} stations, {} blocks, {} load cases, {} states of service; every time the best of several",
        plan.frame.stations_x_mm.len(),
        plan.block_count(),
        plan.duty.len(),
        service_states(plan).len()
    );
}

/// Shortest times of one installation, seconds; a NumPy time is infinite where there is none.
struct Best {
    all_threads: f64,
    one_thread: f64,
    numpy: Option<[f64; 2]>,
}

/// The program and NumPy by turns, the order turned round each time.
fn in_turns(evaluator: &Evaluator<'_>, mut numpy: Option<&mut baseline::Baseline>) -> Best {
    let mut best = Best { all_threads: f64::INFINITY, one_thread: f64::INFINITY, numpy: None };
    for round in 0..ROUNDS {
        for turn in 0..2 {
            if (round + turn) % 2 == 0 {
                let each = INSTALLATIONS as f64;
                let mut outcomes = Vec::new();
                best.all_threads =
                    best.all_threads.min(best_of(2, || outcomes = drawn(evaluator, 1 + round, INSTALLATIONS).unwrap()) / each);
                let one = on_one_thread(|| assert_eq!(drawn(evaluator, 1 + round, INSTALLATIONS).unwrap().len(), outcomes.len()));
                best.one_thread = best.one_thread.min(one / each);
                if let Some(numpy) = numpy.as_mut().filter(|_| round < 2) {
                    numpy.agrees(evaluator, &outcomes);
                }
            } else if let Some(numpy) = numpy.as_mut() {
                let times = numpy.times(evaluator.machine.name(), round);
                best.numpy = Some(best.numpy.map_or(times, |b| [b[0].min(times[0]), b[1].min(times[1])]));
            }
        }
    }
    best
}

impl Best {
    fn print(&self) {
        println!(
            "  installations/s: {:.0} on all threads, {:.0} on one ({:.2} us each)",
            1.0 / self.all_threads,
            1.0 / self.one_thread,
            1e6 * self.one_thread
        );
        match self.numpy {
            None => println!("  NumPy: SKIPPED"),
            Some([all, one]) => println!(
                "  NumPy: {:.0} on all processes, {:.0} on one; ratio {:.1} on all cores, {:.1} on one",
                1.0 / all,
                1.0 / one,
                all / self.all_threads,
                one / self.one_thread
            ),
        }
    }
}

/// The demo with its blocks as rows of balls, each pose by Newton.
fn contact_level(plan: &Plan) {
    let mut contact = plan.clone();
    contact.block.level = Level::Contact;
    println!();
    for arrangement in 0..plan.arrangements.len() {
        let evaluator = evaluator(&contact, arrangement);
        let seconds = best_of(2, || assert_eq!(drawn(&evaluator, 1, 200).unwrap().len(), 200)) / 200.0;
        println!("contact level, {}: {:.0} installations/s on all threads", evaluator.machine.name(), 1.0 / seconds);
    }
}
