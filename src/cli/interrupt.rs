//! Ctrl-C, or the wish of another program that this one ends: between the files of a result it waits until they are whole; else the run ends at once and leaves nothing.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Locked while files are put in place. Inside: a folder that this run has made and that is still empty.
static PLACE: Mutex<Option<PathBuf>> = Mutex::new(None);

/// Ends the program with exit code 2 when it is interrupted.
pub(super) fn watch() {
    // Without the handler the system ends the program: the files are as whole, only the message is missing.
    let _ = ctrlc::set_handler(|| {
        let made = PLACE.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(folder) = made.as_ref() {
            let _ = std::fs::remove_dir(folder);
        }
        let _ = writeln!(anstream::stderr().lock(), "interrupted: the computation was stopped and no file was left half-written");
        std::process::exit(2);
    });
}

/// Holds an interrupt off until what this gives is dropped.
pub(super) fn hold() -> MutexGuard<'static, Option<PathBuf>> {
    PLACE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Notes a folder that was made and is still empty.
pub(super) fn made(folder: Option<&Path>) {
    *hold() = folder.map(Path::to_path_buf);
}
