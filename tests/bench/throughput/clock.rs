//! Time on the clock and time on the processor: the second does not count what others do on a shared machine.

use std::sync::LazyLock;
use std::time::Instant;

/// Shortest of several runs, seconds.
pub fn best_of(times: usize, mut run: impl FnMut()) -> f64 {
    let once = |_| {
        let start = Instant::now();
        run();
        start.elapsed().as_secs_f64()
    };
    (0..times).map(once).fold(f64::INFINITY, f64::min)
}

/// Seconds on the clock and, where the system tells it, of processor time in all threads, of one run.
#[derive(Debug, Clone, Copy)]
pub struct Time {
    pub clock: f64,
    pub processor: f64,
}

impl Time {
    pub const NONE: Self = Self { clock: f64::INFINITY, processor: f64::INFINITY };

    /// The shorter of each.
    pub fn or(self, other: Self) -> Self {
        Self { clock: self.clock.min(other.clock), processor: self.processor.min(other.processor) }
    }

    pub fn each(self, count: f64) -> Self {
        Self { clock: self.clock / count, processor: self.processor / count }
    }

    pub fn of(run: impl FnOnce()) -> Self {
        let (start, before) = (Instant::now(), processor_seconds());
        run();
        let clock = start.elapsed().as_secs_f64();
        Self { clock, processor: before.zip(processor_seconds()).map_or(f64::NAN, |(from, to)| to - from) }
    }
}

/// The same on a single thread, which stays: one that ended would take its processor time with it.
pub fn on_one_thread(run: impl FnOnce() + Send) -> Time {
    static POOL: LazyLock<rayon::ThreadPool> = LazyLock::new(|| rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap());
    POOL.install(|| Time::of(run))
}

/// Processor time of all threads of this program that run (Linux).
fn processor_seconds() -> Option<f64> {
    let tasks = std::fs::read_dir("/proc/self/task").ok()?;
    let of = |task: std::fs::DirEntry| {
        let text = std::fs::read_to_string(task.path().join("schedstat")).ok()?;
        text.split(' ').next()?.parse::<f64>().ok()
    };
    Some(tasks.flatten().filter_map(of).sum::<f64>() / 1e9)
}
