//! Data flows one way: each room may use only the rooms above it. And nothing lies in the repository that does not belong there.

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

/// What stands at the top level of the repository.
const TOP_LEVEL: [&str; 15] = [
    ".cargo",
    ".ci",
    ".git",
    ".gitattributes",
    ".gitignore",
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE-APACHE",
    "LICENSE-MIT",
    "README.md",
    "clippy.toml",
    "rustfmt.toml",
    "src",
    "target",
];

/// And its other folders, in which results of commands are looked for too.
const FOLDERS: [&str; 3] = ["examples", "reports", "tests"];

/// What lies in a checkout and does not belong there: strangers at its top level, folders of results in its other ones.
fn stray(root: &Path) -> Vec<String> {
    let mut found: Vec<String> = std::fs::read_dir(root)
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| !TOP_LEVEL.contains(&name.as_str()) && !FOLDERS.contains(&name.as_str()))
        .collect();
    let mut list = Vec::new();
    FOLDERS.iter().map(|f| root.join(f)).filter(|f| f.exists()).for_each(|f| files(&f, &mut list));
    // The list that every folder of results holds.
    let results = list.iter().filter(|p| p.file_name().is_some_and(|n| n == ".railtrue-files"));
    found.extend(results.map(|p| p.strip_prefix(root).unwrap().display().to_string()));
    found
}

#[test]
fn no_result_and_no_stranger_lies_in_the_repository() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let found = stray(root);
    assert!(
        found.is_empty(),
        "{found:?}: move it away, run commands in a folder outside; what is meant to stay is named in tests/layers.rs"
    );
    // What it would find.
    let other = tempfile::tempdir().unwrap();
    std::fs::create_dir_all(other.path().join("plan-worst")).unwrap();
    std::fs::create_dir_all(other.path().join("examples/plan-study")).unwrap();
    std::fs::create_dir_all(other.path().join("src")).unwrap();
    std::fs::write(other.path().join("examples/plan-study/.railtrue-files"), "").unwrap();
    assert_eq!(stray(other.path()), ["plan-worst", "examples/plan-study/.railtrue-files"]);
}

#[test]
fn default_folders_of_results_are_not_taken_into_the_repository() {
    let ignored = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(".gitignore")).unwrap();
    let mut seen = 0;
    for (file, text) in source().iter().filter(|(f, _)| f.starts_with("cli/")) {
        for (at, _) in code(text).match_indices("format!(\"{}-") {
            let rest = &code(text)[at + "format!(\"{}-".len()..];
            let (suffix, after) = rest.split_once('"').unwrap();
            if after.starts_with(", file_stem(") {
                assert!(ignored.lines().any(|l| l == format!("/*-{suffix}/")), "{file}: .gitignore lacks /*-{suffix}/");
                seen += 1;
            }
        }
    }
    assert!(seen >= 9, "only {seen} default folders seen: has their naming changed?");
    assert!(ignored.lines().any(|l| l == "/railtrue-demo/"));
}
