//! Files: read whole, written whole or not at all.

use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

pub(super) use super::folder::folder;
use super::{Failure, interrupt};
use crate::input::utf8;

/// Reads a text file.
pub(super) fn read(path: &Path) -> Result<String, Failure> {
    utf8(read_bytes(path)?, &shown(path)).map_err(|p| Failure(p.to_string()))
}

/// Largest file that is read.
const LARGEST_BYTES: u64 = 64 << 20;

/// Reads a file, up to a size that none for this program has.
pub(super) fn read_bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    let read = std::fs::File::open(path).and_then(|f| f.take(LARGEST_BYTES + 1).read_to_end(&mut bytes));
    read.map_err(|e| Failure(format!("{}: cannot be read: {e}", path.display())))?;
    if bytes.len() as u64 > LARGEST_BYTES {
        let size = LARGEST_BYTES >> 20;
        return Err(Failure(format!("{}: this file is larger than {size} MB: it is no plan, survey or installation", path.display())));
    }
    Ok(bytes)
}

/// Writes a file under a temporary name and renames it, so that no half file is ever seen.
pub(super) fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let part = beside(path)?;
    let _whole = interrupt::hold();
    let result = save(&part, bytes).and_then(|()| std::fs::rename(&part, path));
    result.map_err(|e| {
        let _ = std::fs::remove_file(&part);
        cannot_be_written(path, &e)
    })
}

/// The temporary name of a file.
///
/// # Errors
/// A folder is in the way of the file.
pub(super) fn beside(path: &Path) -> Result<PathBuf, Failure> {
    if path.is_dir() {
        return Err(Failure(format!(
            "{}: a folder is in the way of this file\n    help: Move it away, or write into another folder.",
            path.display()
        )));
    }
    let name = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    Ok(path.with_file_name(format!(".{name}.part")))
}

/// Writes a temporary file down to the disk: a disk that is full says so only then.
pub(super) fn save(part: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = std::fs::File::create(part)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// Why a file could not be written, and what became of it.
pub(super) fn cannot_be_written(path: &Path, e: &std::io::Error) -> Failure {
    Failure(format!(
        "{}: cannot be written: {e}\n    help: Nothing was changed. Make room, or name another place that may be written to.",
        path.display()
    ))
}

/// Name of a path for messages.
pub(super) fn shown(path: &Path) -> String {
    path.display().to_string()
}

/// Name of a path for a command line.
pub(super) fn quoted(path: &Path) -> String {
    let name = shown(path);
    if name.contains(' ') { format!("\"{name}\"") } else { name }
}

/// SHA-256 of a file's bytes.
pub(super) fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}
