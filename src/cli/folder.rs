//! The folder of a result: all its files or none, and nothing overwritten that this program did not write.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use super::output::{beside, cannot_be_written, save, sha256};
use super::{Failure, interrupt};

/// Name of the list of what this program wrote into a folder, in the layout of `sha256sum`.
const LIST: &str = ".railtrue-files";

/// Whether files that are not ours may be replaced.
static OVERWRITE: AtomicBool = AtomicBool::new(false);

/// Lets files be replaced that this program did not write, or that were changed since.
pub(super) fn allow_overwriting() {
    OVERWRITE.store(true, Ordering::Relaxed);
}

/// A folder that takes the files of one result.
#[derive(Debug)]
pub(super) struct Folder {
    path: PathBuf,
    /// Name and content of what is to be written.
    files: Vec<(String, Vec<u8>)>,
    made: bool,
}

/// Takes a folder for a result, makes it if it is not there, and sees before any long computation that it may be written to.
///
/// # Errors
/// It cannot be made or written to; or it holds files, and none of them is this program's.
pub(super) fn folder(path: &Path) -> Result<Folder, Failure> {
    if path.exists() && !path.is_dir() {
        let path = path.display();
        return Err(Failure(format!("{path}: a file is in the way of this folder\n    help: Move it away, or name another folder.")));
    }
    let made = !path.exists();
    std::fs::create_dir_all(path).map_err(|e| Failure(format!("{}: this folder cannot be made: {e}", path.display())))?;
    let folder = Folder { path: path.into(), files: Vec::new(), made };
    interrupt::made(made.then_some(path));
    let refused = |e: std::io::Error| Failure(format!("{}: this folder cannot be written to: {e}", path.display()));
    let probe = path.join(format!("{LIST}.part"));
    save(&probe, b"").and_then(|()| std::fs::remove_file(&probe)).map_err(refused)?;
    let empty = std::fs::read_dir(path).map_err(refused)?.next().is_none();
    if !empty && !path.join(LIST).exists() && !OVERWRITE.load(Ordering::Relaxed) {
        return Err(Failure(format!(
            "{}: this folder holds files, and no result of railtrue\n    help: Name a new folder, or add --overwrite to write into this one; other files in it stay.",
            path.display()
        )));
    }
    Ok(folder)
}

impl Folder {
    /// Adds a file; nothing is written before `finish`. Gives its path.
    pub(super) fn put(&mut self, name: impl Into<String>, bytes: impl Into<Vec<u8>>) -> PathBuf {
        let name = name.into();
        let path = self.path.join(&name);
        self.files.push((name, bytes.into()));
        path
    }

    /// Writes all files under temporary names, then puts them in place.
    ///
    /// # Errors
    /// A file that would be replaced is not as this program wrote it, or something cannot be written: then nothing was changed.
    pub(super) fn finish(mut self) -> Result<(), Failure> {
        let list = self.path.join(LIST);
        let mut ours = known(&list);
        let foreign: Vec<&str> = self.files.iter().filter(|f| self.is_foreign(f, &ours)).map(|(name, _)| name.as_str()).collect();
        if !foreign.is_empty() && !OVERWRITE.load(Ordering::Relaxed) {
            return Err(Failure(format!(
                "{}: {} would be overwritten, but this program did not write {} so\n    help: Name another folder, or add --overwrite to replace what stands there. Nothing was changed.",
                self.path.display(),
                foreign.join(", "),
                if foreign.len() == 1 { "it" } else { "them" }
            )));
        }
        for (name, bytes) in &self.files {
            ours.retain(|(_, n)| n != name);
            ours.push((sha256(bytes), name.clone()));
        }
        ours.sort_by(|a, b| a.1.cmp(&b.1));
        let lines = ours.iter().fold(String::new(), |mut text, (sum, name)| {
            let _ = writeln!(text, "{sum}  {name}");
            text
        });
        // First, so that files that are in place are always known as ours.
        self.files.insert(0, (LIST.into(), lines.into_bytes()));
        let paths = self.files.iter().map(|(name, _)| self.path.join(name));
        let parts = paths.map(|path| Ok((beside(&path)?, path))).collect::<Result<Vec<_>, Failure>>()?;
        for ((part, path), (_, bytes)) in parts.iter().zip(&self.files) {
            if let Err(e) = save(part, bytes) {
                parts.iter().for_each(|(part, _)| drop(std::fs::remove_file(part)));
                return Err(cannot_be_written(path, &e));
            }
        }
        let mut made = interrupt::hold();
        for (part, path) in &parts {
            std::fs::rename(part, path).map_err(|e| {
                parts.iter().for_each(|(part, _)| drop(std::fs::remove_file(part)));
                cannot_be_written(path, &e)
            })?;
        }
        (*made, self.made) = (None, false);
        Ok(())
    }

    /// True where a file stands that this program did not write, or that was changed since.
    fn is_foreign(&self, (name, bytes): &(String, Vec<u8>), ours: &[(String, String)]) -> bool {
        let Ok(there) = std::fs::read(self.path.join(name)) else { return false };
        let sum = sha256(&there);
        there != *bytes && !ours.iter().any(|(s, n)| n == name && *s == sum)
    }
}

impl Drop for Folder {
    /// A run that failed leaves no empty folder of its own.
    fn drop(&mut self) {
        if self.made {
            let _ = std::fs::remove_dir(&self.path);
        }
    }
}

/// Sums and names of the files that this program wrote.
fn known(list: &Path) -> Vec<(String, String)> {
    let text = std::fs::read_to_string(list).unwrap_or_default();
    text.lines().filter_map(|l| l.split_once("  ")).map(|(sum, name)| (sum.into(), name.into())).collect()
}
