//! Files: read whole, written whole or not at all.

use std::fs::{Metadata, OpenOptions};
use std::io::{ErrorKind, Read as _, Write as _};
use std::path::Path;

use sha2::{Digest, Sha256};

pub(super) use super::folder::folder;
use super::{Failure, interrupt};
use crate::input::utf8;
use crate::present::numbers::plain;

/// Reads a text file.
pub(super) fn read(path: &Path) -> Result<String, Failure> {
    utf8(read_bytes(path)?, &shown(path)).map_err(|p| Failure(p.to_string()))
}

/// Largest file that is read.
const LARGEST_BYTES: u64 = 64 << 20;

/// Most lines of a file that is read: a survey of some thousand points, each read some ten times, has as many.
const MOST_LINES: usize = 100_000;

/// Reads a file, up to a size that none for this program has. Its lines are counted before anything is made of them.
pub(super) fn read_bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    let read = std::fs::File::open(path).and_then(|f| f.take(LARGEST_BYTES + 1).read_to_end(&mut bytes));
    read.map_err(|e| Failure(format!("{}: cannot be read: {e}", path.display())))?;
    if bytes.len() as u64 > LARGEST_BYTES {
        let size = LARGEST_BYTES >> 20;
        return Err(Failure(format!("{}: this file is larger than {size} MB: it is no plan, survey or installation", path.display())));
    }
    // Old spreadsheets end their lines with a carriage return alone.
    let count = |end: u8| bytes.iter().filter(|b| **b == end).count();
    let lines = count(b'\n').max(count(b'\r'));
    if lines > MOST_LINES {
        return Err(Failure(format!(
            "{}: this file has {} lines; at most {} are read\n    help: Is this the right file? Of a scan, give the points of the pads only.",
            path.display(),
            plain(lines as f64),
            plain(MOST_LINES as f64)
        )));
    }
    Ok(bytes)
}

/// Writes a new file under a temporary name of this run, so that no half file is ever seen.
///
/// # Errors
/// Something has this name already, or it cannot be written.
pub(super) fn write_new(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let name = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    let part = path.with_file_name(format!(".{name}.{}.part", std::process::id()));
    let _whole = interrupt::hold();
    let result = save(&part, bytes).and_then(|()| match std::fs::hard_link(&part, path) {
        // A disk without links: what came into the way since `refuse_taken` is replaced.
        Err(e) if e.kind() != ErrorKind::AlreadyExists && std::fs::symlink_metadata(path).is_err() => std::fs::rename(&part, path),
        linked => linked,
    });
    let _ = std::fs::remove_file(&part);
    match result {
        Err(e) if e.kind() == ErrorKind::AlreadyExists => refuse_taken(path).and(Err(cannot_be_written(path, &e))),
        result => result.map_err(|e| cannot_be_written(path, &e)),
    }
}

/// Refuses a name that is taken, for a file that replaces none.
pub(super) fn refuse_taken(path: &Path) -> Result<(), Failure> {
    let Ok(there) = std::fs::symlink_metadata(path) else { return Ok(()) };
    nothing_special(path, &there)?;
    let path = path.display();
    Err(Failure(format!("{path}: this file is there already\n    help: Give another name; nothing was written.")))
}

/// Refuses what is neither a file nor a link: a folder, or what would keep a run waiting (a pipe, a device, a socket).
pub(super) fn nothing_special(path: &Path, there: &Metadata) -> Result<(), Failure> {
    let what = match there.file_type() {
        t if t.is_dir() => "a folder",
        t if t.is_file() || t.is_symlink() => return Ok(()),
        _ => "a pipe, device or socket",
    };
    Err(Failure(format!(
        "{}: {what} is in the way of this file\n    help: Move it away, or write into another folder. Nothing was changed.",
        path.display()
    )))
}

/// Writes a file that is not there yet down to the disk: a disk that is full says so only then.
pub(super) fn save(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = OpenOptions::new().write(true).create_new(true).open(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// Writes the names in a folder down to the disk, where the system can.
pub(super) fn sync_folder(path: &Path) {
    let _ = std::fs::File::open(path).and_then(|f| f.sync_all());
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
