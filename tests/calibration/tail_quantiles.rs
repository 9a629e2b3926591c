//! How often the 95 % confidence intervals of tail quantiles hold the truth.
//!
//! `cargo bench --bench tail_quantiles` runs the studies of many seeds on the examples, on the demo as its drawing has it and on
//! machines whose floats meet their stops now and then, against a truth of many more independent draws, and writes
//! `tests/calibration/tail_quantiles.md`. Nominal are 95 in 100; order statistics hold the truth in a little more, as an interval
//! can only be widened by whole ranks. Intervals that are too narrow are the defect: the run fails where fewer are held than
//! chance explains.
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a measuring program")]
#![allow(missing_docs, reason = "a measuring program")]

use std::fmt::Write as _;

use railtrue::evaluate::{Evaluator, Reading};
use railtrue::input::callouts::read_callouts;
use railtrue::input::{Plan, read_plan};
use railtrue::math::Distribution;
use railtrue::math::order::Quantile;
use railtrue::math::proportion::clopper_pearson;
use railtrue::structure::Machine;
use railtrue::study::review::{assign, with_limits};
use railtrue::study::{ONE_IN, TailQuantile, Tally, tails};
use railtrue::sweep::drawn;

const READINGS: [Reading; 2] = [Reading::Life, Reading::PeakLoad];

/// Studies of each arrangement, and the first of their seeds.
const STUDIES: u64 = 300;
const FIRST_SEED: u64 = 1;

/// Draws of the truth: lots of their own seeds.
const LOTS: u64 = 200;
const IN_LOT: u64 = 100_000;
const FIRST_LOT: u64 = 1_000_000;

/// The run fails where fewer are held than all but this share of such runs would hold, if the true coverage were 95 %.
const CHANCE: f64 = 1e-4;

fn main() {
    let mut table = String::new();
    let mut too_narrow = Vec::new();
    for (name, plan) in plans() {
        // The chosen arrangement first.
        let mut order: Vec<usize> = (0..plan.arrangements.len()).collect();
        order.sort_by_key(|a| *a != plan.chosen);
        for arrangement in order {
            let evaluator = Evaluator::new(Machine::new(&plan, arrangement).unwrap(), plan.study.drag).unwrap();
            let machine = format!("{name}, {}{}", evaluator.machine.name(), if arrangement == plan.chosen { " (chosen)" } else { "" });
            for (what, held) in measured(&evaluator) {
                let line = held.line(&machine, &what);
                print!("{line}");
                table += &line;
                if held.is_too_narrow() {
                    too_narrow.push(line);
                }
            }
            write_page(&table);
        }
    }
    assert!(too_narrow.is_empty(), "intervals are too narrow:\n{}", too_narrow.concat());
}

/// The demo, the demo as drawn, the other examples.
fn plans() -> Vec<(&'static str, Plan)> {
    let demo = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
    let callouts = read_callouts(include_bytes!("../../examples/panel-bridge-callouts.csv"), "panel-bridge-callouts.csv", &demo.frame);
    let as_drawn = with_limits(&demo, &assign(&demo, &callouts.unwrap()).drawn);
    let example = |text: &str, file: &str| read_plan(text, file).unwrap();
    vec![
        ("panel-bridge as drawn (review)", as_drawn),
        ("panel-bridge", demo),
        ("tile-scanner", example(include_str!("../../examples/tile-scanner.toml"), "tile-scanner.toml")),
        ("glass-loader", example(include_str!("../../examples/glass-loader.toml"), "glass-loader.toml")),
    ]
}

/// What the studies of one quantile came to.
struct Held {
    truth: Quantile,
    held: u64,
    /// Intervals that lie on the good side of the truth: the unsafe misses.
    too_good: u64,
    /// Intervals whose being held the error of the truth could change.
    unsure: u64,
    not_given: u64,
    /// Sums over the studies.
    half_width: f64,
    draws: u64,
}

fn measured(evaluator: &Evaluator<'_>) -> Vec<(String, Held)> {
    let truths = READINGS.map(|_| Distribution::default());
    let truths = (FIRST_LOT..FIRST_LOT + LOTS).fold(truths, |mut truths, seed| {
        let outcomes = drawn(evaluator, seed, IN_LOT).unwrap();
        for (truth, reading) in truths.iter_mut().zip(READINGS) {
            truth.extend(&outcomes.iter().map(|o| reading.of(o)).collect::<Vec<_>>());
        }
        truths
    });
    let nothing = Tally::new(evaluator.plan());
    let studies: Vec<_> = (FIRST_SEED..FIRST_SEED + STUDIES).map(|seed| tails(evaluator, &nothing, &READINGS, seed).unwrap()).collect();
    let of = |(r, k): (usize, usize)| {
        let (reading, chance) = (READINGS[r], 1.0 / f64::from(ONE_IN[k]));
        let p = if reading.more_is_better() { chance } else { 1.0 - chance };
        let truth = truths[r].quantile(p, 0.95).unwrap();
        let found = studies.iter().map(|tails| tails[r].quantiles[k]);
        (format!("{}, 1 in {}", reading.key(), ONE_IN[k]), Held::of(reading, truth, found))
    };
    (0..READINGS.len()).flat_map(|r| (0..ONE_IN.len()).map(move |k| (r, k))).map(of).collect()
}

impl Held {
    fn of(reading: Reading, truth: Quantile, found: impl Iterator<Item = TailQuantile>) -> Self {
        let mut all = Self { truth, held: 0, too_good: 0, unsure: 0, not_given: 0, half_width: 0.0, draws: 0 };
        for found in found {
            all.draws += found.draws();
            let TailQuantile::Counted { quantile: q, .. } = found else {
                all.not_given += 1;
                continue;
            };
            let holds = |value: f64| q.low <= value && value <= q.high;
            all.held += u64::from(holds(truth.value));
            all.too_good += u64::from(if reading.more_is_better() { q.low > truth.value } else { q.high < truth.value });
            all.unsure += u64::from([truth.low, truth.high].into_iter().any(|value| holds(value) != holds(truth.value)));
            all.half_width += (q.high - q.low) / 2.0 / truth.value.abs();
        }
        all
    }

    fn given(&self) -> u64 {
        STUDIES - self.not_given
    }

    /// Fewer are held than chance explains.
    fn is_too_narrow(&self) -> bool {
        clopper_pearson(self.held, self.given(), 1.0 - 2.0 * CHANCE).is_none_or(|(_, high)| high < 0.95)
    }

    fn line(&self, machine: &str, what: &str) -> String {
        let share = self.held as f64 / self.given() as f64;
        let error = (share * (1.0 - share) / self.given() as f64).sqrt();
        let percent = |x: f64| 100.0 * x;
        format!(
            "| {machine} | {what} | {:.0} +- {:.2} % | {} | +- {:.1} % | {} of {} | {:.1} +- {:.1} | {} | {} |\n",
            self.truth.value,
            percent((self.truth.high - self.truth.low) / 2.0 / self.truth.value.abs()),
            self.draws / STUDIES,
            percent(self.half_width / self.given() as f64),
            self.held,
            self.given(),
            percent(share),
            percent(error),
            self.too_good,
            self.unsure,
        )
    }
}

fn write_page(table: &str) {
    let read = |command: &str, args: &[&str]| {
        let output = std::process::Command::new(command).args(args).output();
        output.ok().map_or_else(String::new, |o| String::from_utf8_lossy(&o.stdout).trim().to_string())
    };
    let mut page = String::from("# Coverage of the 95 % confidence intervals of tail quantiles\n\n");
    let _ = write!(
        page,
        "`cargo bench --bench tail_quantiles`, {}, commit {}. {STUDIES} studies of each arrangement (seeds {FIRST_SEED} to {}), each by
itself, against the order statistic of {} other draws (seeds {FIRST_LOT} to {}, {IN_LOT} each). *Truth*: with the half width of its own
95 % interval. *Interval*: mean half width. *Coverage*: with its binomial standard error; nominal is 95, order statistics hold a
little more. *Too good*: intervals that miss the truth on the unsafe side, nominally 2.5 in 100. *Unsure*: intervals that would
be held or missed otherwise with the truth at an end of its own interval.

| machine, arrangement | quantile | truth (km or N) | draws | interval | held | coverage, % | too good | unsure |
|---|---|---|---|---|---|---|---|---|
{table}",
        read("date", &["+%F"]),
        read("git", &["describe", "--always", "--dirty", "--exclude", "*"]),
        FIRST_SEED + STUDIES - 1,
        LOTS * IN_LOT,
        FIRST_LOT + LOTS - 1,
    );
    std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/calibration/tail_quantiles.md"), page).unwrap();
}
