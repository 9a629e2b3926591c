//! Data flows one way: each room may use only the rooms above it.

use std::path::Path;

/// Rooms in order, with the rooms that each may use.
const ROOMS: [(&str, &[&str]); 12] = [
    ("units", &[]),
    ("math", &[]),
    ("contact", &["units", "math"]),
    ("errors", &["units", "math"]),
    ("input", &["units", "contact", "errors"]),
    ("geometry", &["units", "math", "errors", "input"]),
    ("structure", &["units", "math", "errors", "input", "geometry", "contact"]),
    ("bearing", &["units", "math", "input", "structure"]),
    ("study", &["units", "math", "contact", "errors", "input", "geometry", "structure", "bearing"]),
    ("present", &["units", "math", "errors", "input", "geometry", "contact", "structure", "study"]),
    ("cli", &["units", "math", "errors", "input", "geometry", "contact", "structure", "bearing", "study", "present"]),
    ("main", &["cli"]),
];

fn files(folder: &Path, into: &mut Vec<std::path::PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { files(&path, into) } else { into.push(path) }
    }
}

fn source() -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut list = Vec::new();
    files(&root, &mut list);
    list.into_iter()
        .filter(|p| p.extension().is_some_and(|e| e == "rs"))
        .map(|p| (p.strip_prefix(&root).unwrap().to_string_lossy().into_owned(), std::fs::read_to_string(&p).unwrap()))
        .collect()
}

/// The part of a file before its own tests.
fn code(text: &str) -> &str {
    text.split("#[cfg(test)]").next().unwrap()
}

#[test]
fn rooms_use_only_the_rooms_above_them() {
    let mut seen = 0;
    for (file, text) in source() {
        let room = file.split(['/', '.']).next().unwrap();
        if room == "lib" {
            continue;
        }
        let (_, allowed) = ROOMS.iter().find(|(r, _)| *r == room).unwrap_or_else(|| panic!("{file}: no room {room}"));
        for (at, _) in code(&text).match_indices("crate::") {
            let rest = &code(&text)[at + 7..];
            let used: String = rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            assert!(used == room || allowed.contains(&used.as_str()), "{file} uses {used}");
            seen += 1;
        }
    }
    assert!(seen > 50, "only {seen} uses seen: has the layout changed?");
}

#[test]
fn only_the_command_line_touches_files_clock_and_terminal() {
    for (file, text) in source().iter().filter(|(f, _)| !f.starts_with("cli/") && f != "main.rs") {
        for word in ["std::fs", "std::env", "std::time", "println!", "eprintln!", "std::process"] {
            assert!(!code(text).contains(word), "{file} has {word}");
        }
        let samples = file.starts_with("study/engine") || file.starts_with("study/sampling");
        assert!(samples || !code(text).contains("use rand"), "{file} draws random numbers");
        let draws = file.starts_with("present/");
        assert!(draws || !code(text).contains("plotters"), "{file} draws figures");
    }
}

#[test]
fn files_stay_readable() {
    for (file, text) in source() {
        assert!(text.starts_with("//!"), "{file} does not open with what it is for");
        assert!(text.lines().count() <= 420, "{file} has {} lines", text.lines().count());
    }
}
