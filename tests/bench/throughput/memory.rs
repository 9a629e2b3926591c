//! `railtrue study` as a person calls it, figures and all: time and peak memory over the number of draws.

use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

pub fn print() {
    println!("\nrailtrue study, both arrangements, worst case, figures, report and JSON:");
    for draws in [10_000_u64, 100_000, 1_000_000] {
        let (seconds, peak) = study(draws);
        let peak = peak.map_or("not known here".to_string(), |kib| format!("{:.0} MiB", kib as f64 / 1024.0));
        println!("  {draws:>9} installations: {seconds:.2} s, peak memory {peak}");
    }
}

/// Seconds and peak memory (KiB, where the system tells it) of one call.
fn study(draws: u64) -> (f64, Option<u64>) {
    let folder = tempfile::tempdir().unwrap();
    let start = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_railtrue"))
        .args(["study", super::DEMO_PATH, "--draws", &draws.to_string(), "--out"])
        .arg(folder.path().join("out"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut peak = None;
    loop {
        peak = peak.max(high_water(child.id()));
        if let Some(status) = child.try_wait().unwrap() {
            assert!(matches!(status.code(), Some(0 | 1)), "the study failed");
            return (start.elapsed().as_secs_f64(), peak);
        }
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// Most memory that a process has held so far, KiB.
fn high_water(process: u32) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    status.lines().find_map(|l| l.strip_prefix("VmHWM:"))?.trim().trim_end_matches(" kB").parse().ok()
}
