//! Ctrl-C, or the wish of another program that this one ends: between the files of a result it waits until they are whole; else the run ends at once and leaves nothing.

use std::io::Write as _;
use std::path::PathBuf;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// What an interrupt finds.
#[derive(Debug)]
pub(super) struct Place {
    /// Files of this run, and folders that it has made and that go if they are empty, in the order in which they go.
    pub(super) traces: Vec<PathBuf>,
    /// Whether the result is whole in its place.
    pub(super) whole: bool,
}

/// Locked while files are put in place.
static PLACE: Mutex<Place> = Mutex::new(Place { traces: Vec::new(), whole: false });

/// Ends the program with exit code 2 when it is interrupted.
pub(super) fn watch() {
    // Without the handler the system ends the program: the files are as whole, only the message is missing.
    let _ = ctrlc::set_handler(|| {
        let place = hold();
        for path in &place.traces {
            let _ = std::fs::remove_file(path).or_else(|_| std::fs::remove_dir(path));
        }
        let what = if place.whole {
            "all files are in place, but what was to be printed is missing"
        } else {
            "the computation was stopped and no file was left half-written"
        };
        let _ = writeln!(anstream::stderr().lock(), "interrupted: {what}");
        std::process::exit(2);
    });
}

/// Holds an interrupt off until what this gives is dropped.
pub(super) fn hold() -> MutexGuard<'static, Place> {
    PLACE.lock().unwrap_or_else(PoisonError::into_inner)
}
