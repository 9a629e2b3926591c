//! The same study in NumPy: another process that answers line by line, and whether its results are ours.

use super::clock::Time;
use railtrue::evaluate::{Evaluator, Outcome};
use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

/// Standard errors of a quantile's place that two samples may lie apart: passed by luck once in millions.
const APART: f64 = 5.0;

/// Installations of one question to NumPy on all processes.
const ASKED: u64 = 40_000;

pub struct Baseline {
    child: Child,
    /// Closed to end it.
    to: Option<ChildStdin>,
    from: BufReader<ChildStdout>,
    processes: u64,
    /// The arrangement and its last answer of all processes.
    last: (String, serde_json::Value),
}

impl Baseline {
    /// `None`, and loudly, where the script does not run.
    pub fn start() -> Option<Self> {
        let python = std::env::var("RAILTRUE_PYTHON").unwrap_or_else(|_| "python3".into());
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/bench/numpy_baseline.py");
        let skipped =
            |why: &str| println!("SKIPPED: NO NUMPY BASELINE: {why} ({python}; set RAILTRUE_PYTHON to a Python with numpy and scipy)");
        let spawned =
            Command::new(&python).args([script, super::DEMO_PATH, "--serve"]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn();
        let mut child = match spawned {
            Ok(child) => child,
            Err(e) => {
                skipped(&e.to_string());
                return None;
            }
        };
        let (to, from) = (child.stdin.take(), BufReader::new(child.stdout.take()?));
        let mut baseline = Self { child, to, from, processes: 1, last: (String::new(), serde_json::Value::Null) };
        let Some(versions) = baseline.answer() else {
            skipped("the script stopped");
            return None;
        };
        println!("NumPy baseline: {versions}");
        baseline.processes = versions["processes"].as_u64()?;
        Some(baseline)
    }

    fn answer(&mut self) -> Option<serde_json::Value> {
        let mut line = String::new();
        self.from.read_line(&mut line).ok()?;
        serde_json::from_str(&line).ok()
    }

    fn ask(&mut self, question: &str) -> serde_json::Value {
        let to = self.to.as_mut().unwrap();
        writeln!(to, "{question}").unwrap();
        to.flush().unwrap();
        self.answer().unwrap()
    }

    /// Multiply-adds per second of a dense product on one thread.
    pub fn products_per_second(&mut self) -> f64 {
        self.ask("product")["per_second"].as_f64().unwrap()
    }

    /// Time of an installation on all processes and on one.
    pub fn times(&mut self, arrangement: &str, seed: u64) -> [Time; 2] {
        let processes = self.processes;
        let mut each = |count: u64, processes: u64| {
            let answer = self.ask(&format!("{arrangement} {seed} {count} {processes}"));
            let number = |key: &str| answer[key].as_f64().unwrap();
            (Time { clock: number("seconds"), processor: number("processor_seconds") }.each(number("count")), answer)
        };
        let (one, _) = each(ASKED / 2, 1);
        let (all, answer) = each(ASKED, processes);
        self.last = (arrangement.into(), answer);
        [all, one]
    }

    /// Compares the last answer with the program's outcomes, once there is one: each quantile inside what drawing leaves open.
    ///
    /// # Panics
    /// They do not agree.
    pub fn agrees(&self, evaluator: &Evaluator<'_>, outcomes: &[Outcome]) {
        let (name, theirs) = (evaluator.machine.name(), &self.last.1);
        if self.last.0 != name {
            return;
        }
        let with = theirs["count"].as_f64().unwrap();
        let number = |key: &str, at: Option<usize>| at.map_or(&theirs[key], |i| &theirs[key][i]).as_f64().unwrap();
        let compare = |what: &str, p: f64, theirs: f64, of: &dyn Fn(&Outcome) -> f64| {
            let mut sorted: Vec<f64> = outcomes.iter().map(of).collect();
            sorted.sort_by(f64::total_cmp);
            let n = sorted.len() as f64;
            let apart = APART * (p * (1.0 - p) * (1.0 / n + 1.0 / with)).sqrt();
            let at = |p: f64| sorted[((p * n) as usize).clamp(0, sorted.len() - 1)];
            let (low, ours, high) = (at((p - apart).max(0.0)), at(p), at((p + apart).min(1.0)));
            println!("  {what}: {ours:.4}, NumPy {theirs:.4} (must lie in {low:.4} to {high:.4})");
            assert!(low <= theirs && theirs <= high, "{name}: {what}");
        };
        println!("  {} outcomes beside {with} of NumPy's:", outcomes.len());
        compare("5 % quantile of life, km", 0.05, number("life_km", Some(0)), &|o| o.life_km);
        compare("median life, km", 0.5, number("life_km", Some(1)), &|o| o.life_km);
        compare("99 % quantile of the largest load, N", 0.99, number("peak_load_n", None), &|o| o.peak_load_n);
        compare("1 % quantile of static safety", 0.01, number("static_safety", Some(0)), &|o| o.static_safety);
        compare("99 % quantile of float travel used", 0.99, number("float_travel_used", None), &|o| o.float_travel_used);
        compare("99 % quantile of slot used", 0.99, number("slot_used", None), &|o| o.slot_used);
        compare("99 % quantile of the largest joint force, N", 0.99, number("joint_force_n", None), &|o| o.joint_force_n);
        compare("99 % quantile of the tool point's displacement, mm", 0.99, number("tool_displacement_mm", None), &|o| {
            o.tool_displacement_mm
        });
        compare("99 % quantile of its yaw, mrad", 0.99, number("tool_yaw_mrad", None), &|o| o.tool_yaw_mrad);
        compare("99 % quantile of the pull on a block, N", 0.99, number("pull_n", None), &|o| o.pull_n);
        let least = outcomes.iter().map(|o| o.static_safety).fold(f64::INFINITY, f64::min);
        println!("  least static safety drawn: {least:.3}, NumPy {:.3}", number("least_safety", None));
    }
}

impl Drop for Baseline {
    fn drop(&mut self) {
        self.to = None;
        let _ = self.child.wait();
    }
}
