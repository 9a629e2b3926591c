//! The tests of the copy: what each takes and which changes it reaches.

use crate::Failed;
use crate::tree::{Binary, Tree};
use std::collections::HashMap;
use std::os::unix::process::{CommandExt, ExitStatusExt};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// Subjects that say nothing about the rooms.
const LEFT_OUT: [&str; 3] = ["layers", "supply_chain", "fuzz_readers"];
/// Programs whose tests are named after their subjects.
const OF_SUBJECTS: [&str; 2] = ["library", "command_line"];
/// Processor time a test may take without a change, s; longer ones are left out.
const LONGEST_S: f64 = 15.0;
/// Memory a test program may ask for, kB.
const MEMORY_KB: u32 = 6_000_000;
/// Tests up to this time are asked before all others, s.
pub(crate) const QUICK_S: f64 = 0.03;
/// Tests and changes are run by so many at once.
pub(crate) const WORKERS: usize = 2;

/// One test.
#[derive(Debug, Clone)]
pub(crate) struct Test {
    pub(crate) binary: usize,
    pub(crate) name: String,
    /// The file that it stands in, or the program.
    pub(crate) subject: String,
    /// What it takes without a change, s.
    pub(crate) seconds: f64,
}

impl Test {
    /// True where numbers are held digit by digit: most changes are noticed there first.
    pub(crate) fn holds_numbers(&self) -> bool {
        self.subject.starts_with("golden")
    }
}

/// All tests, and for every change those that reach it: the quickest, those that hold numbers, then the others.
#[derive(Debug)]
pub(crate) struct Suite {
    pub(crate) binaries: Vec<Binary>,
    pub(crate) tests: Vec<Test>,
    pub(crate) reached_by: HashMap<u32, Vec<usize>>,
    root: PathBuf,
    work: PathBuf,
}

/// How a test program ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum End {
    Passed,
    Failed,
    TimedOut,
}

impl Suite {
    /// Lists the tests of some subjects (all, where none is named), runs each by itself for its time and once more for what it
    /// reaches.
    pub(crate) fn new(tree: &Tree, work: &Path, binaries: Vec<Binary>, subjects: &[&str]) -> Result<Self, Failed> {
        let mut tests = Vec::new();
        for (binary, at) in binaries.iter().enumerate() {
            let out = Command::new(&at.path).current_dir(&tree.root).args(["--list", "--format", "terse"]).output()?;
            let text = String::from_utf8_lossy(&out.stdout);
            let names = text.lines().filter_map(|l| l.strip_suffix(": test"));
            let subject =
                |n: &str| if OF_SUBJECTS.contains(&at.name.as_str()) { n.split("::").next().unwrap().into() } else { at.name.clone() };
            let own = names.map(|n| Test { binary, name: n.into(), subject: subject(n), seconds: 0.0 });
            let wanted =
                |t: &Test| !LEFT_OUT.contains(&t.subject.as_str()) && (subjects.is_empty() || subjects.contains(&t.subject.as_str()));
            tests.extend(own.filter(wanted));
        }
        let work = work.to_path_buf();
        let mut suite = Self { binaries, tests, reached_by: HashMap::new(), root: tree.root.clone(), work };
        suite.measure()?;
        Ok(suite)
    }

    fn measure(&mut self) -> Result<(), Failed> {
        let tmp = self.work.join("tmp");
        std::fs::create_dir_all(&tmp)?;
        let measured = side_by_side(self.tests.len(), |i| {
            let list = tmp.join(format!("reached-{i}"));
            let _ = std::fs::remove_file(&list);
            let (end, seconds) = self.run(&[i], "RAILTRUE_MUTANT", "0", LONGEST_S);
            let cover = || self.run(&[i], "RAILTRUE_MUTANT_COVER", &list.to_string_lossy(), 5.0 * LONGEST_S).0;
            let again = if end == End::Passed { cover() } else { end };
            let reached = std::fs::read_to_string(&list).unwrap_or_default();
            let ids: Vec<u32> = reached.lines().filter_map(|l| l.parse().ok()).collect();
            let passed = end == End::Passed && again == End::Passed;
            if !passed {
                println!("LEFT OUT: {} ({end:?} without a change, {again:?} while it is watched)", self.tests[i].name);
            }
            (passed, seconds, ids)
        });
        let mut slowest: Vec<(f64, &str)> = measured.iter().zip(&self.tests).map(|((_, s, _), t)| (*s, t.name.as_str())).collect();
        slowest.sort_by(|a, b| b.0.total_cmp(&a.0));
        println!(
            "{} tests, {:.0} s one by one; slowest {:.1?}",
            measured.len(),
            slowest.iter().map(|s| s.0).sum::<f64>(),
            &slowest[..slowest.len().min(12)]
        );
        for (i, (passed, seconds, mut ids)) in measured.into_iter().enumerate() {
            self.tests[i].seconds = seconds;
            ids.sort_unstable();
            ids.dedup();
            for id in ids.into_iter().filter(|_| passed) {
                self.reached_by.entry(id).or_default().push(i);
            }
        }
        for list in self.reached_by.values_mut() {
            let order = |t: usize| (self.tests[t].seconds > QUICK_S, !self.tests[t].holds_numbers(), self.tests[t].seconds);
            list.sort_by(|a, b| order(*a).partial_cmp(&order(*b)).unwrap());
        }
        Ok(())
    }

    /// Runs tests of one program in one process; seconds taken. `limit_s` is processor time, so that a busy machine does not make
    /// a slow test look like one that never ends; what sleeps for ever is ended too.
    pub(crate) fn run(&self, tests: &[usize], variable: &str, value: &str, limit_s: f64) -> (End, f64) {
        let began = Instant::now();
        let program = &self.binaries[self.tests[tests[0]].binary].path;
        let child = Command::new("sh")
            .arg("-c")
            .arg(format!("ulimit -v {MEMORY_KB}; ulimit -t {:.0}; exec \"$0\" \"$@\"", limit_s.ceil()))
            .arg(program)
            .args(["--test-threads=1", "--exact"])
            .args(tests.iter().map(|t| &self.tests[*t].name))
            .current_dir(&self.root)
            .env(variable, value)
            .env("PROPTEST_RNG_SEED", "1")
            .env("TMPDIR", self.work.join("tmp"))
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .process_group(0)
            .spawn();
        let Ok(mut child) = child else { return (End::Failed, 0.0) };
        let mut pause = Duration::from_millis(1);
        loop {
            let taken = began.elapsed().as_secs_f64();
            match child.try_wait() {
                Ok(Some(status)) if status.success() => return (End::Passed, taken),
                Ok(Some(status)) => return (if status.signal().is_some() { End::TimedOut } else { End::Failed }, taken),
                Ok(None) if taken < 8.0 * limit_s + 20.0 => {}
                _ => {
                    let _ = Command::new("kill").args(["-KILL", "--", &format!("-{}", child.id())]).stderr(Stdio::null()).status();
                    let _ = child.wait();
                    return (End::TimedOut, taken);
                }
            }
            std::thread::sleep(pause);
            pause = (pause * 5 / 4).min(Duration::from_millis(20));
        }
    }
}

/// Does `work` for 0..count, some at once; results in order.
pub(crate) fn side_by_side<T: Send>(count: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let done = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..WORKERS {
            scope.spawn(|| {
                loop {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    if i >= count {
                        break;
                    }
                    let result = work(i);
                    done.lock().unwrap().push((i, result));
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap();
    done.sort_by_key(|(i, _)| *i);
    done.into_iter().map(|(_, t)| t).collect()
}
