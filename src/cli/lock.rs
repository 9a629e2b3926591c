//! One run at a time in a folder: an advisory lock of the system, which ends with its process however that ends.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{ErrorKind, Read as _, Write as _};
use std::path::{Path, PathBuf};

use super::Failure;

/// Name of the file that is locked. It is removed by the run that holds it; one that a killed run left holds nobody up.
pub(super) const LOCK: &str = ".railtrue-lock";

/// Tries to lock a file that other runs remove between its opening and its locking.
const TRIES: u32 = 100;

/// A folder that this run alone writes to, until this is dropped.
#[derive(Debug)]
pub(super) struct FolderLock {
    path: PathBuf,
    /// Folders that this run has made, the innermost first, while they hold nothing else.
    made: Vec<PathBuf>,
    /// Locked as long as it is open.
    _file: File,
}

impl FolderLock {
    /// Makes a folder if it is not there, and locks it.
    ///
    /// # Errors
    /// It cannot be made or written to; or another run holds it.
    pub(super) fn take(folder: &Path) -> Result<Self, Failure> {
        let path = folder.join(LOCK);
        for _ in 0..TRIES {
            let made = make(folder)?;
            match attempt(&path) {
                Ok(Some(file)) => return Ok(Self { path, made, _file: file }),
                Ok(None) => {}
                Err(failure) => {
                    remove_empty(&made);
                    return Err(failure);
                }
            }
        }
        Err(held(folder, ""))
    }

    /// What is to be removed if this run ends without a result: the lock's file, then the folders made, where they are empty.
    pub(super) fn traces(&self) -> Vec<PathBuf> {
        let lock = removable().then(|| self.path.clone());
        lock.into_iter().chain(self.made.iter().cloned()).collect()
    }

    /// The folder has its result and stays.
    pub(super) fn keep_folder(&mut self) {
        self.made.clear();
    }
}

impl Drop for FolderLock {
    fn drop(&mut self) {
        // While it is locked: a run that has opened it meanwhile sees that it is gone and begins again.
        if removable() {
            let _ = std::fs::remove_file(&self.path);
        }
        remove_empty(&self.made);
    }
}

/// Whether a locked file may be removed and another run would see it: where files have numbers that can be compared.
const fn removable() -> bool {
    cfg!(unix)
}

/// Makes a folder and those above it. Gives the ones that were missing, the innermost first.
fn make(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let there = std::fs::symlink_metadata(folder).is_ok();
    if there && !folder.is_dir() {
        let what = if folder.exists() { "a file" } else { "a link to nothing" };
        let path = folder.display();
        return Err(Failure(format!("{path}: {what} is in the way of this folder\n    help: Move it away, or name another folder.")));
    }
    let missing = |a: &&Path| !a.as_os_str().is_empty() && std::fs::symlink_metadata(a).is_err();
    let made: Vec<PathBuf> = folder.ancestors().take_while(missing).map(Path::to_path_buf).collect();
    std::fs::create_dir_all(folder).map_err(|e| {
        remove_empty(&made);
        Failure(format!("{}: this folder cannot be made: {e}", folder.display()))
    })?;
    Ok(made)
}

fn remove_empty(folders: &[PathBuf]) {
    folders.iter().for_each(|f| drop(std::fs::remove_dir(f)));
}

/// Opens and locks the file; nothing if another run removed it, or the folder, meanwhile.
fn attempt(path: &Path) -> Result<Option<File>, Failure> {
    let folder = path.parent().unwrap_or(path);
    let refused = |e: &std::io::Error| Failure(format!("{}: this folder cannot be written to: {e}", folder.display()));
    if std::fs::symlink_metadata(path).is_ok_and(|m| !m.is_file()) {
        return Err(Failure(format!("{}: something that is no file is in the way of this one\n    help: Move it away.", path.display())));
    }
    let mut file = match OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path) {
        Ok(file) => file,
        Err(e) if e.kind() == ErrorKind::NotFound && !folder.is_dir() => return Ok(None),
        Err(e) => return Err(refused(&e)),
    };
    match file.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => return Err(held(folder, &holder(&mut file))),
        Err(TryLockError::Error(e)) => {
            return Err(Failure(format!(
                "{}: this folder cannot be locked, so that two runs could mix their files in it: {e}\n    help: Name a folder on a disk of this machine, and copy the result.",
                folder.display()
            )));
        }
    }
    if !is_still(&file, path) {
        return Ok(None);
    }
    // For the message of another run only: a disk without room for it does not stop this one.
    let _ = file.set_len(0).and_then(|()| write!(file, "{}", std::process::id()));
    Ok(Some(file))
}

/// The process that holds a lock, in words, where that can be read.
fn holder(file: &mut File) -> String {
    let mut text = String::new();
    let read = std::io::Read::by_ref(file).take(20).read_to_string(&mut text);
    let process = read.ok().and_then(|_| text.trim().parse::<u32>().ok());
    process.map_or_else(String::new, |p| format!(" (process {p})"))
}

fn held(folder: &Path, holder: &str) -> Failure {
    Failure(format!(
        "{}: another run of railtrue{holder} is writing into this folder\n    help: Wait until it has ended and run this again, or name another folder. Nothing was changed.",
        folder.display()
    ))
}

/// Whether a path still names the file that was opened.
#[cfg(unix)]
fn is_still(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt as _;
    let (Ok(opened), Ok(there)) = (file.metadata(), std::fs::symlink_metadata(path)) else { return false };
    opened.dev() == there.dev() && opened.ino() == there.ino()
}

/// Whether a path still names the file that was opened: it is never removed here.
#[cfg(not(unix))]
fn is_still(_: &File, _: &Path) -> bool {
    true
}
