//! The files of a result on their way into its folder. They are written beside it, then renamed one by one. What a run that was
//! killed between two of these steps has left is either thrown away, its folder as it was before, or completed by the next run.
//!
//! In the folder `railtrue-unfinished`: `new` holds the files and, written last, the list of them; `ahead` is the list that
//! knows old and new sums. The result is decided when `ahead` is renamed to be the folder's list: from then on files are renamed,
//! the ones that they replace go to `old`, and the new list comes last.

use std::io;
use std::path::{Path, PathBuf};

use super::output::{save, sync_folder};

/// Name of the list of what this program wrote into a folder, in the layout of `sha256sum`.
pub(super) const LIST: &str = ".railtrue-files";

/// Name of the folder beside the result; seen, so that a person sees too that its files are of two runs.
pub(super) const UNFINISHED: &str = "railtrue-unfinished";

/// A result on its way.
#[derive(Debug)]
pub(super) struct Staging<'a> {
    folder: &'a Path,
    new: PathBuf,
    old: PathBuf,
    ahead: PathBuf,
}

/// Why a result did not come into its place.
#[derive(Debug)]
pub(super) enum Stopped {
    /// Everything is as it was.
    Unchanged(PathBuf, io::Error),
    /// Some files are new, some are not; the next run into this folder completes it.
    Between(PathBuf, io::Error),
}

impl<'a> Staging<'a> {
    /// The place of a folder's result; nothing is touched.
    pub(super) fn of(folder: &'a Path) -> Self {
        let at = folder.join(UNFINISHED);
        Self { folder, new: at.join("new"), old: at.join("old"), ahead: at.join("ahead") }
    }

    /// Names of the files that an ended run had decided on and not yet put in place; nothing if it had decided on none.
    ///
    /// # Errors
    /// The folder cannot be read.
    pub(super) fn pending(&self) -> io::Result<Option<Vec<String>>> {
        if !self.new.join(LIST).exists() || self.ahead.exists() {
            return Ok(None);
        }
        let entries = std::fs::read_dir(&self.new)?.collect::<io::Result<Vec<_>>>()?;
        Ok(Some(entries.into_iter().filter_map(|e| e.file_name().into_string().ok()).filter(|n| n != LIST).collect()))
    }

    /// Throws away what an ended run has left.
    ///
    /// # Errors
    /// It cannot be removed.
    pub(super) fn discard(&self) -> io::Result<()> {
        let at = self.folder.join(UNFINISHED);
        // First, so that half of it is never taken for a result.
        match std::fs::remove_file(self.new.join(LIST)).and_then(|()| std::fs::remove_dir_all(&at)) {
            Err(e) if e.kind() == io::ErrorKind::NotFound && at.exists() => std::fs::remove_dir_all(&at),
            Err(e) if e.kind() != io::ErrorKind::NotFound => Err(e),
            _ => Ok(()),
        }
    }

    /// Writes files and lists beside the result.
    ///
    /// # Errors
    /// One cannot be written: then nothing is left.
    pub(super) fn write(&self, files: &[(String, Vec<u8>)], ahead: &[u8], list: &[u8]) -> Result<(), Stopped> {
        let all = || {
            let at = self.folder.join(UNFINISHED);
            [&at, &self.new, &self.old].into_iter().try_for_each(|f| std::fs::create_dir(f).map_err(|e| (f.clone(), e)))?;
            let put = |path: PathBuf, bytes: &[u8]| save(&path, bytes).map_err(|e| (path, e));
            files.iter().try_for_each(|(name, bytes)| put(self.new.join(name), bytes))?;
            put(self.ahead.clone(), ahead)?;
            sync_folder(&at);
            put(self.new.join(LIST), list)?;
            sync_folder(&self.new);
            sync_folder(self.folder);
            Ok(())
        };
        all().map_err(|(path, e)| {
            let _ = self.discard();
            Stopped::Unchanged(self.folder.join(path.file_name().unwrap_or_default()), e)
        })
    }

    /// Puts what was written in place.
    ///
    /// # Errors
    /// A file cannot be put in place; `before` is the list as it was.
    pub(super) fn place(&self, names: &[&str], before: Option<&[u8]>) -> Result<(), Stopped> {
        let list = self.folder.join(LIST);
        if let Err(e) = std::fs::rename(&self.ahead, &list) {
            let _ = self.discard();
            return Err(Stopped::Unchanged(list, e));
        }
        sync_folder(self.folder);
        for (i, name) in names.iter().enumerate() {
            if let Err(e) = self.replace(name) {
                let path = self.folder.join(name);
                return Err(match self.take_back(&names[..=i], before) {
                    Ok(()) => Stopped::Unchanged(path, e),
                    Err(_) => Stopped::Between(path, e),
                });
            }
        }
        self.complete().map_err(|e| Stopped::Between(list, e))
    }

    /// Completes what an ended run had decided on.
    ///
    /// # Errors
    /// A file cannot be put in place.
    pub(super) fn resume(&self, names: &[String]) -> Result<(), Stopped> {
        for name in names {
            self.replace(name).map_err(|e| Stopped::Between(self.folder.join(name), e))?;
        }
        self.complete().map_err(|e| Stopped::Between(self.folder.join(LIST), e))
    }

    /// Puts a new file in the place of an old one, which is kept.
    fn replace(&self, name: &str) -> io::Result<()> {
        let path = self.folder.join(name);
        move_if_there(&path, &self.old.join(name))?;
        std::fs::rename(self.new.join(name), path)
    }

    /// The list of what is in place now comes last; what was replaced goes.
    fn complete(&self) -> io::Result<()> {
        sync_folder(self.folder);
        std::fs::rename(self.new.join(LIST), self.folder.join(LIST))?;
        sync_folder(self.folder);
        // The result is whole; what cannot be removed now is removed by the next run.
        let _ = self.discard();
        Ok(())
    }

    /// Puts old files in place again, the last first, then the list as it was.
    fn take_back(&self, names: &[&str], before: Option<&[u8]>) -> io::Result<()> {
        for name in names.iter().rev() {
            let (path, new, old) = (self.folder.join(name), self.new.join(name), self.old.join(name));
            if !new.exists() {
                std::fs::rename(&path, new)?;
            }
            move_if_there(&old, &path)?;
        }
        let list = self.folder.join(LIST);
        match before {
            Some(bytes) => {
                save(&self.ahead, bytes)?;
                std::fs::rename(&self.ahead, list)?;
            }
            None => std::fs::remove_file(list)?,
        }
        self.discard()
    }
}

fn move_if_there(from: &Path, to: &Path) -> io::Result<()> {
    match std::fs::rename(from, to) {
        Err(e) if e.kind() != io::ErrorKind::NotFound => Err(e),
        _ => Ok(()),
    }
}
