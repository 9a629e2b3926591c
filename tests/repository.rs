//! Nothing lies in the repository that does not belong there.

use std::path::Path;

use crate::layers::{code, files, source};

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
        .filter(|name| !TOP_LEVEL.contains(&name.as_str()) && !FOLDERS.contains(&name.as_str()) && !is_default_result(name))
        .collect();
    let mut list = Vec::new();
    FOLDERS.iter().map(|f| root.join(f)).filter(|f| f.exists()).for_each(|f| files(&f, &mut list));
    // The list that every folder of results holds.
    let results = list.iter().filter(|p| p.file_name().is_some_and(|n| n == ".railtrue-files"));
    found.extend(results.map(|p| p.strip_prefix(root).unwrap().display().to_string()));
    found
}

/// What git leaves out; nothing in a copy of the sources alone.
fn ignored() -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(".gitignore")).unwrap_or_default()
}

/// True for a default folder of results, which git ignores: the first command of the README makes one.
fn is_default_result(name: &str) -> bool {
    ignored()
        .lines()
        .filter_map(|l| l.strip_prefix('/')?.strip_suffix('/'))
        .any(|pattern| pattern.strip_prefix('*').map_or(pattern == name, |end| name.ends_with(end)))
}

#[test]
fn no_result_and_no_stranger_lies_in_the_repository() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let found = stray(root);
    assert!(
        found.is_empty(),
        "{found:?}: move it away, run commands in a folder outside; what is meant to stay is named in tests/repository.rs"
    );
    // What it would find.
    let other = tempfile::tempdir().unwrap();
    std::fs::create_dir_all(other.path().join("strange")).unwrap();
    std::fs::create_dir_all(other.path().join("examples/plan-study")).unwrap();
    std::fs::create_dir_all(other.path().join("src")).unwrap();
    std::fs::write(other.path().join("examples/plan-study/.railtrue-files"), "").unwrap();
    assert_eq!(stray(other.path()), ["strange", "examples/plan-study/.railtrue-files"]);
}

/// What git holds has no such excuse: nothing that the owner did not fix, whatever its name.
#[test]
fn what_is_committed_at_the_top_is_what_was_fixed() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let Ok(listed) = std::process::Command::new("git").arg("-C").arg(root).args(["ls-files", "-z"]).output() else { return };
    let text = String::from_utf8_lossy(&listed.stdout);
    let tops: std::collections::BTreeSet<&str> =
        text.split('\0').filter_map(|path| path.split('/').next()).filter(|t| !t.is_empty()).collect();
    // An unpacked archive has no list.
    assert!(tops.is_empty() || tops.contains("Cargo.toml"));
    let strange: Vec<_> = tops.iter().filter(|t| !TOP_LEVEL.contains(t) && !FOLDERS.contains(t)).collect();
    assert!(strange.is_empty(), "{strange:?} are committed: take them out");
}

#[test]
fn default_folders_of_results_are_not_taken_into_the_repository() {
    let ignored = ignored();
    if ignored.is_empty() {
        return;
    }
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
