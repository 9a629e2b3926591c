//! How the time of one installation grows with the machine: one thread, drawing and all.

use super::clock::{Time, on_one_thread};
use super::{DEMO, evaluator};
use railtrue::draw::Draws;
use railtrue::input::{Plan, read_plan};
use railtrue::sweep::drawn;

const INSTALLATIONS: u64 = 10_000;

pub fn print() {
    println!("\ngrowth of the time of one installation, one thread (us), stiff and floating:");
    row("stations", &[11, 21, 41, 81].map(|n| (n as f64, plan(&DEMO.replace("stations = 21", &format!("stations = {n}"))))));
    row("blocks", &[2, 4, 6, 8].map(|n| (2.0 * n as f64, plan(&with_blocks(n)))));
    row("load cases", &[1, 2, 4].map(|n| (n as f64, with_cases(n))));
    row("numbers drawn (sources)", &[5, 13, 25].map(with_sources));
    row("numbers drawn (modes)", &[2166, 1000, 600].map(with_correlation));
}

fn plan(text: &str) -> Plan {
    read_plan(text, "panel-bridge.toml").unwrap()
}

/// The demo with as many blocks on each truck.
fn with_blocks(count: usize) -> String {
    let (head, rest) = DEMO.split_once("block = [").unwrap();
    let (_, tail) = rest.split_once("\n]\n").unwrap();
    let place = |i: usize| {
        let x_mm = 150.0 - 300.0 * (i / 2) as f64 / (count / 2 - 1).max(1) as f64;
        format!("{{ x_mm = {x_mm:.1}, lateral_mm = {} }}", if i.is_multiple_of(2) { 45 } else { -45 })
    };
    // Two blocks stand one behind the other: side by side they would not hold the pitch.
    let places: Vec<String> =
        if count == 2 { [150, -150].map(|x| format!("{{ x_mm = {x}, lateral_mm = 0 }}")).into() } else { (0..count).map(place).collect() };
    format!("{head}block = [{}]\n{tail}", places.join(", "))
}

fn with_cases(count: usize) -> Plan {
    let mut plan = plan(DEMO);
    plan.duty.truncate(count);
    let whole: f64 = plan.duty.iter().map(|c| c.share).sum();
    plan.duty.iter_mut().for_each(|c| c.share /= whole);
    plan
}

/// The demo with every so many-th of its sources, and how many numbers they draw.
fn with_sources(count: usize) -> (f64, Plan) {
    let mut plan = plan(DEMO);
    let all = std::mem::take(&mut plan.errors.sources);
    let total = all.len();
    plan.errors.sources =
        all.into_iter().enumerate().filter(|(i, _)| (i * count) / total != ((i + 1) * count) / total).map(|(_, s)| s).collect();
    (numbers(&plan), plan)
}

/// The demo with shorter waves of the rails, which take more modes.
fn with_correlation(length_mm: u32) -> (f64, Plan) {
    let plan = plan(&DEMO.replace("stations = 21", &format!("correlation_length_mm = {length_mm}\nstations = 21")));
    (numbers(&plan), plan)
}

fn numbers(plan: &Plan) -> f64 {
    Draws::new(plan, evaluator(plan, 0).machine.rails()).places().len() as f64
}

fn row(what: &str, plans: &[(f64, Plan)]) {
    let times: Vec<[f64; 2]> = plans.iter().map(|(_, plan)| [0, 1].map(|a| seconds(plan, a))).collect();
    let listed: Vec<String> =
        plans.iter().zip(&times).map(|((size, _), [s, f])| format!("{size:.0}: {:.2}, {:.2}", 1e6 * s, 1e6 * f)).collect();
    let power = |a: usize| exponent(&plans.iter().zip(&times).map(|((size, _), t)| (size.ln(), t[a].ln())).collect::<Vec<_>>());
    println!("  {what:24} {}; power {:.2}, {:.2}", listed.join("; "), power(0), power(1));
}

/// The shortest of several runs, in processor time where the system tells it.
fn seconds(plan: &Plan, arrangement: usize) -> f64 {
    let evaluator = evaluator(plan, arrangement);
    assert_eq!(drawn(&evaluator, 1, 8).unwrap().len(), 8);
    let once = || on_one_thread(|| assert_eq!(drawn(&evaluator, 1, INSTALLATIONS).unwrap().len() as u64, INSTALLATIONS));
    let best = (0..5).fold(Time::NONE, |best, _| best.or(once())).each(INSTALLATIONS as f64);
    best.processor.min(best.clock)
}

/// Slope of the least-squares line.
fn exponent(points: &[(f64, f64)]) -> f64 {
    let n = points.len() as f64;
    let (x, y) = (points.iter().map(|p| p.0).sum::<f64>() / n, points.iter().map(|p| p.1).sum::<f64>() / n);
    points.iter().map(|p| (p.0 - x) * (p.1 - y)).sum::<f64>() / points.iter().map(|p| (p.0 - x).powi(2)).sum::<f64>()
}
