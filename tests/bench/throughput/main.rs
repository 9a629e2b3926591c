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
mod clock;
mod dense;
mod growth;
mod memory;
mod normals;
mod single;

use clock::{Time, best_of, on_one_thread};
use railtrue::evaluate::{Evaluator, Outcome, service_states};
use railtrue::input::plan::Level;
use railtrue::input::{Plan, read_plan};
use railtrue::structure::Machine;
use railtrue::sweep::drawn;

pub const DEMO: &str = include_str!("../../../examples/panel-bridge.toml");
pub const DEMO_PATH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/panel-bridge.toml");

/// Rounds in which everything that is compared takes its turn.
const ROUNDS: u64 = 12;
const INSTALLATIONS: u64 = 50_000;

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
        bound.print(best.one_thread(), &product);
        single::print(&evaluator, best.one_thread());
    }
    drop(numpy);
    contact_level(&plan);
    memory::print();
    growth::print();
}

pub fn evaluator(plan: &Plan, arrangement: usize) -> Evaluator<'_> {
    Evaluator::new(Machine::new(plan, arrangement).unwrap(), plan.study.drag).unwrap()
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

/// Shortest times of one installation, on all threads and on one.
struct Best {
    own: [Time; 2],
    numpy: Option<[Time; 2]>,
}

/// The program and NumPy by turns, the order turned round each time.
fn in_turns(evaluator: &Evaluator<'_>, mut numpy: Option<&mut baseline::Baseline>) -> Best {
    let mut best = Best { own: [Time::NONE; 2], numpy: None };
    for round in 0..ROUNDS {
        for turn in 0..2 {
            if (round + turn) % 2 == 0 {
                let outcomes = own_times(evaluator, round, &mut best.own);
                if let Some(numpy) = numpy.as_mut().filter(|_| round < 2) {
                    numpy.agrees(evaluator, &outcomes);
                }
            } else if let Some(numpy) = numpy.as_mut() {
                let [all, one] = numpy.times(evaluator.machine.name(), round);
                best.numpy = Some(best.numpy.map_or([all, one], |b| [b[0].or(all), b[1].or(one)]));
            }
        }
    }
    best
}

/// A few runs of the program on all threads and on one.
fn own_times(evaluator: &Evaluator<'_>, round: u64, best: &mut [Time; 2]) -> Vec<Outcome> {
    let draw = || drawn(evaluator, 1 + round, INSTALLATIONS).unwrap();
    let mut outcomes = draw();
    for _ in 0..2 {
        best[0] = best[0].or(Time::of(|| outcomes = draw()).each(INSTALLATIONS as f64));
        best[1] = best[1].or(on_one_thread(|| assert_eq!(draw().len() as u64, INSTALLATIONS)).each(INSTALLATIONS as f64));
    }
    outcomes
}

impl Best {
    /// Of an installation on one thread, in processor time where the system tells it.
    fn one_thread(&self) -> f64 {
        self.own[1].clock.min(self.own[1].processor)
    }

    fn print(&self) {
        let list = |[all, one]: [Time; 2]| {
            format!(
                "{:9.0} on all cores, {:9.0} on one; processor time {:.2} us each",
                1.0 / all.clock,
                1.0 / one.clock,
                1e6 * one.processor
            )
        };
        println!("  installations/s:       {}", list(self.own));
        let Some(numpy) = self.numpy else {
            println!("  NumPy: SKIPPED");
            return;
        };
        let ratio = |of: fn(&Time) -> f64| [0, 1].map(|i| of(&numpy[i]) / of(&self.own[i]));
        let (clock, processor) = (ratio(|t| t.clock), ratio(|t| t.processor));
        println!("  NumPy installations/s: {}", list(numpy));
        println!(
            "  ratio: {:.1} on all cores, {:.1} on one; in processor time {:.1} and {:.1}",
            clock[0], clock[1], processor[0], processor[1]
        );
    }
}

/// Installations at the contact level.
const CONTACTS: u64 = 64;

/// The demo with its blocks as rows of balls, each pose by Newton.
fn contact_level(plan: &Plan) {
    let mut contact = plan.clone();
    contact.block.level = Level::Contact;
    println!();
    for arrangement in 0..plan.arrangements.len() {
        let evaluator = evaluator(&contact, arrangement);
        let seconds = best_of(2, || assert_eq!(drawn(&evaluator, 1, CONTACTS).unwrap().len() as u64, CONTACTS)) / CONTACTS as f64;
        println!("contact level, {}: {:.0} installations/s on all threads", evaluator.machine.name(), 1.0 / seconds);
    }
}
