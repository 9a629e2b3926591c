//! Files: read whole, written whole or not at all.

use std::path::Path;

use sha2::{Digest, Sha256};

use super::Failure;
use crate::present::json::Origin;

/// Reads a text file.
pub(super) fn read(path: &Path) -> Result<String, Failure> {
    let bytes = std::fs::read(path).map_err(|e| Failure(format!("{}: cannot be read: {e}", path.display())))?;
    String::from_utf8(bytes).map_err(|e| {
        let line = e.as_bytes()[..e.utf8_error().valid_up_to()].iter().filter(|b| **b == b'\n').count() + 1;
        Failure(format!("{}:{line}: this is no UTF-8 text\n    help: Save the file as UTF-8.", path.display()))
    })
}

/// Makes a folder if it is not there.
pub(super) fn folder(path: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(path).map_err(|e| Failure(format!("{}: this folder cannot be made: {e}", path.display())))
}

/// Writes a file under a temporary name and renames it, so that no half file is ever seen.
pub(super) fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let name = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    let part = path.with_file_name(format!(".{name}.part"));
    let result = std::fs::write(&part, bytes).and_then(|()| std::fs::rename(&part, path));
    result.map_err(|e| {
        let _ = std::fs::remove_file(&part);
        Failure(format!("{}: cannot be written: {e}", path.display()))
    })
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

/// Where a result comes from.
pub(super) fn origin(path: &Path, text: &str) -> Origin {
    Origin {
        plan_sha256: sha256(text.as_bytes()),
        plan_file: path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned()),
        version: env!("CARGO_PKG_VERSION").into(),
    }
}
