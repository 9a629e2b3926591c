//! How often a survey's verdicts are wrong: rails of known shape, read with known noise. Writes `straightness.md` beside this file.
//! `cargo bench --bench straightness -- [SURVEYS]`.
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a measuring program")]

mod rails;

use std::fmt::Write as _;
use std::process::Command;

use rails::{Kind, Rough, corrected, readings, shape};
use railtrue::draw::run;
use railtrue::geometry::Rails;
use railtrue::input::survey::Reference;
use railtrue::input::{Plan, read_plan};
use railtrue::survey::{Conformity, Measured, about_readings, checks, doubts};
use rand::RngExt;

const SEED: u64 = 20_261_201;

/// Counts of one kind of survey: what happened, of how many.
#[derive(Default, Clone, Copy)]
struct Count {
    pass: [u32; 2],
    fail: [u32; 2],
    held: [u32; 2],
    lines_pass: [u32; 2],
    lines_held: [u32; 2],
    doubt: [u32; 2],
}

impl Count {
    fn add(&mut self, o: &Self) {
        let pairs = [
            (&mut self.pass, o.pass),
            (&mut self.fail, o.fail),
            (&mut self.held, o.held),
            (&mut self.lines_pass, o.lines_pass),
            (&mut self.lines_held, o.lines_held),
            (&mut self.doubt, o.doubt),
        ];
        for (to, from) in pairs {
            (to[0], to[1]) = (to[0] + from[0], to[1] + from[1]);
        }
    }
}

fn count(to: &mut [u32; 2], yes: bool) {
    (to[0], to[1]) = (to[0] + u32::from(yes), to[1] + 1);
}

/// One survey of rails at a share of their limits; offsets and drifts at their upper limits.
#[allow(clippy::too_many_arguments, reason = "what varies between the cells of the table")]
fn survey(
    plan: &Plan,
    rails: &Rails,
    rough: Rough,
    kind: Kind,
    every: usize,
    share: f64,
    blunder: bool,
    i: u64,
    rng: &mut impl rand::Rng,
) -> Count {
    let upper = |key: &str| {
        plan.errors
            .sources
            .iter()
            .find(|s| railtrue::input::ErrorKind::ALL.iter().any(|a| a.kind == s.kind && a.key == key))
            .map_or(0.0, |s| s.upper)
    };
    let zones = [
        ["straightness_lateral_a", "straightness_lateral_b"],
        ["straightness_vertical_a", "straightness_vertical_b"],
        ["waviness_roll_a", "waviness_roll_b"],
    ];
    let lines = [["span", "parallelism"], ["height", "vertical_parallelism"]];
    let mut truth: [[Vec<f64>; 2]; 3] = zones.map(|pair| {
        let rough = if rough == Rough::Settled && pair != zones[1] { Rough::Smooth } else { rough };
        pair.map(|key| shape(plan, rails, rough, share * upper(key), rng))
    });
    for (d, keys) in lines.iter().enumerate() {
        for (v, x) in truth[d][1].iter_mut().zip(&plan.frame.anchors_x_mm) {
            *v += upper(keys[0]) + upper(keys[1]) * plan.frame.s(*x);
        }
    }
    let mut list = readings(plan, &truth, kind, every, rng);
    if blunder {
        let n = list.len();
        let r = &mut list[rng.random_range(0..n)];
        r.value += 10.0 * r.uncertainty.unwrap() * if rng.random::<bool>() { 1.0 } else { -1.0 };
    }
    let corrected = corrected(list);
    let measured = Measured::new(plan, rails, &corrected, Reference::Common).unwrap();
    let mut counted = Count::default();
    count(&mut counted.doubt, !about_readings(&doubts(plan, &corrected, &measured)).is_empty());
    for c in checks(plan, rails, &measured, SEED + i).iter().filter(|c| c.decision.verdict != Conformity::NotSeen) {
        let passes = c.decision.verdict == Conformity::Pass;
        if let Some([low, high]) = c.interval {
            count(&mut counted.pass, passes);
            count(&mut counted.fail, c.decision.verdict == Conformity::Fail);
            count(&mut counted.held, (low..=high).contains(&(share * c.upper)));
        } else if lines.iter().flatten().any(|key| *key == c.key) {
            count(&mut counted.lines_pass, passes);
            count(&mut counted.lines_held, (c.value - c.upper).abs() < 1.96 * c.uncertainty);
        }
    }
    counted
}

fn share(n: [u32; 2]) -> String {
    if n[1] == 0 { "-".into() } else { format!("{:.1}", 100.0 * f64::from(n[0]) / f64::from(n[1])) }
}

fn output(program: &str, arguments: &[&str]) -> String {
    let out = Command::new(program).args(arguments).output().map(|o| String::from_utf8_lossy(&o.stdout).trim().to_string());
    out.unwrap_or_default()
}

fn main() {
    let surveys: u64 = std::env::args().filter_map(|a| a.parse().ok()).next().unwrap_or(50);
    let plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
    let rails = Rails::new(&plan).unwrap();
    let mut text = format!(
        "# Straightness verdicts of a survey, against known truth\n\n`cargo bench --bench straightness -- {surveys}`, {}, commit {}, seed {SEED}; {surveys} surveys a cell \
         of the nailing bridge, 4 straightness verdicts in each (6 where cross-levels are read). u: points 0.015 mm, gauge and height 0.02 mm, cross-level 0.02 mm/m; \
         limits 0.15 mm and 0.1 mm/m. All numbers in 100; a count of 200 has a standard error of 1.5 at 5 in 100.\n\n\
         *Pass at the limit* is the false pass of a rail exactly at its limit (nominal 5). *Held*: 95 % intervals that hold the truth. *Lines*: offsets and drifts exactly at \
         their limits. *In doubt*: sound surveys (at the limit, at half) and those with one reading 10 u off.\n\n\
         | rails | readings | pads | pass at the limit | fail at the limit | held | pass at half | held at half | lines pass | lines held | in doubt, limit | half | blunder |\n|---|---|---|---|---|---|---|---|---|---|---|---|---|\n",
        output("date", &["-u", "+%Y-%m-%d"]),
        output("git", &["rev-parse", "--short", "HEAD"]),
    );
    println!("{text}");
    for every in [1, 2] {
        for kind in Kind::ALL {
            for rough in Rough::ALL {
                let cell = |first: u64, part: f64, blunder: bool| {
                    let one = |(): &mut (), i: u64, rng: &mut _| survey(&plan, &rails, rough, kind, every, part, blunder, i, rng);
                    let mut sum = Count::default();
                    run(first, surveys, SEED + rough as u64 + 10 * kind as u64 + 100 * every as u64, || (), one)
                        .iter()
                        .for_each(|c| sum.add(c));
                    sum
                };
                let (limit, half, wrong) = (cell(0, 1.0, false), cell(1_000_000, 0.5, false), cell(2_000_000, 0.5, true));
                let row = format!(
                    "| {rough:?} | {kind:?} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} |\n",
                    if every == 1 { "all" } else { "every second" },
                    share(limit.pass),
                    share(limit.fail),
                    share(limit.held),
                    share(half.pass),
                    share(half.held),
                    share(limit.lines_pass),
                    share(limit.lines_held),
                    share(limit.doubt),
                    share(half.doubt),
                    share(wrong.doubt),
                );
                print!("{row}");
                let _ = write!(text, "{row}");
            }
        }
    }
    std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/calibration/straightness.md"), text).unwrap();
}
