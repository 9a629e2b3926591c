//! The folder of a result: all its files or none, of one run, and nothing overwritten that this program did not write.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use super::lock::{FolderLock, LOCK};
use super::output::{cannot_be_written, nothing_special, sha256};
use super::staging::{LIST, Staging, Stopped, UNFINISHED};
use super::{Failure, interrupt};

/// Whether files that are not ours may be replaced.
static OVERWRITE: AtomicBool = AtomicBool::new(false);

/// Lets files be replaced that this program did not write, or that were changed since.
pub(super) fn allow_overwriting() {
    OVERWRITE.store(true, Ordering::Relaxed);
}

/// A folder that takes the files of one result; no other run writes to it meanwhile.
#[derive(Debug)]
pub(super) struct Folder {
    path: PathBuf,
    /// Name and content of what is to be written.
    files: Vec<(String, Vec<u8>)>,
    lock: Option<FolderLock>,
}

/// Takes a folder for a result, makes it if it is not there, and sees before any long computation that it may be written to.
/// What an earlier run that was ended has left in it is completed or thrown away.
///
/// # Errors
/// It cannot be made or written to; another run holds it; or it holds files, and none of them is this program's.
pub(super) fn folder(path: &Path) -> Result<Folder, Failure> {
    let mut place = interrupt::hold();
    let lock = FolderLock::take(path)?;
    settle(path)?;
    let entries = std::fs::read_dir(path).map_err(|e| Failure(format!("{}: this folder cannot be read: {e}", path.display())))?;
    let empty = entries.flatten().all(|e| e.file_name() == LOCK);
    if !empty && !path.join(LIST).exists() && !OVERWRITE.load(Ordering::Relaxed) {
        return Err(Failure(format!(
            "{}: this folder holds files, and no result of railtrue\n    help: Name a new folder, or add --overwrite to write into this one; other files in it stay.",
            path.display()
        )));
    }
    (place.traces, place.whole) = (lock.traces(), false);
    Ok(Folder { path: path.into(), files: Vec::new(), lock: Some(lock) })
}

impl Folder {
    /// Adds a file; nothing is written before `finish`. Gives its path.
    pub(super) fn put(&mut self, name: impl Into<String>, bytes: impl Into<Vec<u8>>) -> PathBuf {
        let name = name.into();
        let path = self.path.join(&name);
        self.files.push((name, bytes.into()));
        path
    }

    /// Writes all files beside the result, then puts them in place.
    ///
    /// # Errors
    /// A file that would be replaced is not as this program wrote it, or something cannot be written: then nothing was changed.
    pub(super) fn finish(mut self) -> Result<(), Failure> {
        let mut place = interrupt::hold();
        let old = list_of(&self.path);
        let known = known(old.as_deref());
        let names: Vec<&str> = self.files.iter().map(|(name, _)| name.as_str()).collect();
        refuse_foreign(&self.path, &names, |name, sum| {
            known.iter().any(|(s, n)| n == name && s == sum) || self.files.iter().any(|(n, bytes)| n == name && sha256(bytes) == sum)
        })?;
        let mut ahead = known;
        ahead.extend(self.files.iter().map(|(name, bytes)| (sha256(bytes), name.clone())));
        let mut list = ahead.clone();
        list.reverse();
        let mut seen = std::collections::BTreeSet::new();
        list.retain(|(_, name)| seen.insert(name.clone()));
        let staging = Staging::of(&self.path);
        let done = staging
            .write(&self.files, written(ahead).as_bytes(), written(list).as_bytes())
            .and_then(|()| staging.place(&names, old.as_deref().map(str::as_bytes)));
        done.map_err(|stopped| match stopped {
            Stopped::Unchanged(path, e) => cannot_be_written(&path, &e),
            Stopped::Between(path, e) => between(&path, &e),
        })?;
        place.whole = true;
        if let Some(lock) = &mut self.lock {
            lock.keep_folder();
            place.traces = lock.traces();
        }
        Ok(())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let mut place = interrupt::hold();
        self.lock = None;
        place.traces.clear();
    }
}

/// Completes or throws away what a run has left that was ended while it wrote.
fn settle(path: &Path) -> Result<(), Failure> {
    let at = path.join(UNFINISHED);
    match std::fs::symlink_metadata(&at) {
        Err(_) => return Ok(()),
        Ok(there) if !there.is_dir() => {
            return Err(Failure(format!(
                "{}: something that is no folder is in the way of this one\n    help: Move it away.",
                at.display()
            )));
        }
        Ok(_) => {}
    }
    let staging = Staging::of(path);
    let failed = |e: std::io::Error| Failure(format!("{}: what an ended run has left cannot be put in order: {e}", at.display()));
    let Some(pending) = staging.pending().map_err(failed)? else { return staging.discard().map_err(failed) };
    let known = known(list_of(path).as_deref());
    let names: Vec<&str> = pending.iter().map(String::as_str).collect();
    refuse_foreign(path, &names, |name, sum| known.iter().any(|(s, n)| n == name && s == sum))?;
    staging.resume(&pending).map_err(|stopped| match stopped {
        Stopped::Unchanged(path, e) | Stopped::Between(path, e) => between(&path, &e),
    })?;
    let _ = writeln!(
        anstream::stderr().lock(),
        "{}: an earlier run was ended while it put its files in place; its result was completed before this run",
        path.display()
    );
    Ok(())
}

/// Refuses to replace what this program did not write, or what was changed since. `ours` knows names and sums.
fn refuse_foreign(folder: &Path, names: &[&str], ours: impl Fn(&str, &str) -> bool) -> Result<(), Failure> {
    let mut foreign = Vec::new();
    for name in names {
        let path = folder.join(name);
        let Ok(there) = std::fs::symlink_metadata(&path) else { continue };
        nothing_special(&path, &there)?;
        // A link is a person's, whatever it leads to: this program writes none.
        let same = there.is_file() && std::fs::read(&path).is_ok_and(|bytes| ours(name, &sha256(&bytes)));
        if !same {
            foreign.push(*name);
        }
    }
    if foreign.is_empty() || OVERWRITE.load(Ordering::Relaxed) {
        return Ok(());
    }
    Err(Failure(format!(
        "{}: {} would be overwritten, but this program did not write {} so\n    help: Name another folder, or add --overwrite to replace what stands there. Nothing was changed.",
        folder.display(),
        foreign.join(", "),
        if foreign.len() == 1 { "it" } else { "them" }
    )))
}

fn between(path: &Path, e: &std::io::Error) -> Failure {
    let folder = path.parent().unwrap_or(path);
    Failure(format!(
        "{}: cannot be put in place: {e}\n    help: This folder holds files of two runs now; the missing ones are in {}. Close what has the file open; the next run into this folder completes it.",
        path.display(),
        folder.join(UNFINISHED).display()
    ))
}

/// A folder's list of what this program wrote.
fn list_of(folder: &Path) -> Option<String> {
    let path = folder.join(LIST);
    std::fs::symlink_metadata(&path).is_ok_and(|m| m.is_file()).then(|| std::fs::read_to_string(path).ok())?
}

/// Sums and names of the files that this program wrote; a name with two sums is one that was being replaced.
fn known(list: Option<&str>) -> Vec<(String, String)> {
    list.unwrap_or_default().lines().filter_map(|l| l.split_once("  ")).map(|(sum, name)| (sum.into(), name.into())).collect()
}

/// A list as it is written.
fn written(mut entries: Vec<(String, String)>) -> String {
    entries.sort_by(|a, b| a.1.cmp(&b.1));
    entries.dedup();
    entries.iter().fold(String::new(), |mut text, (sum, name)| {
        let _ = writeln!(text, "{sum}  {name}");
        text
    })
}
