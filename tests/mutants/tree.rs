//! The copy of the source tree with all changes compiled in, and its build.

use crate::Failed;
use crate::places::{Mutant, Place, find, written};
use serde_json::Value;
use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Rooms that are changed, in the order in which they are tried.
pub(crate) const ROOMS: [&str; 9] = ["bearing", "contact", "draw", "evaluate", "geometry", "structure", "study", "survey", "sweep"];

/// A test program of the copy.
#[derive(Debug, Clone)]
pub(crate) struct Binary {
    pub(crate) name: String,
    pub(crate) path: PathBuf,
}

/// The places of one source file.
#[derive(Debug)]
struct Source {
    file: String,
    text: String,
    places: Vec<Place>,
}

/// The copy.
#[derive(Debug)]
pub(crate) struct Tree {
    /// Of the copied package.
    pub(crate) root: PathBuf,
    /// Where it is built.
    target: PathBuf,
    sources: Vec<Source>,
    /// Changes that do not build.
    pub(crate) unbuilt: HashSet<u32>,
}

impl Tree {
    /// Copies the package that stands in `from` and finds the places of the files that are to be `changed`. `unbuilt` are keys
    /// that are known not to build.
    pub(crate) fn new(
        from: &Path,
        work: &Path,
        target: &Path,
        unbuilt: &HashSet<String>,
        changed: impl Fn(&str) -> bool,
    ) -> Result<Self, Failed> {
        let root = work.join("tree");
        for part in ["Cargo.lock", "README.md", "DEVELOPERS.md", "clippy.toml", "tests", "examples", "reports", ".ci", "src"] {
            copy(&from.join(part), &root.join(part), &root.join("src"))?;
        }
        let mut sources = Vec::new();
        let mut next = 1;
        for room in ROOMS {
            let mut files = Vec::new();
            rust_files(&from.join("src").join(room), &mut files)?;
            files.sort();
            let of_tests = modules_of_tests(&files)?;
            for path in files {
                let file = path.strip_prefix(from.join("src"))?.to_string_lossy().into_owned();
                let text = std::fs::read_to_string(&path)?;
                let code = !path.file_stem().is_some_and(|stem| of_tests.iter().any(|t| stem == t.as_str()));
                let places = if code && changed(&file) { find(&file, &text, next)? } else { Vec::new() };
                next += places.iter().map(|p| p.mutants.len() as u32).sum::<u32>();
                sources.push(Source { file, text, places });
            }
        }
        let mut tree = Self { root, target: target.to_path_buf(), sources, unbuilt: HashSet::new() };
        tree.unbuilt = tree.mutants().filter(|m| unbuilt.contains(&m.key())).map(|m| m.id).collect();
        let manifest = std::fs::read_to_string(from.join("Cargo.toml"))?;
        write(&tree.root.join("Cargo.toml"), &without_lints(&manifest))?;
        let lib = std::fs::read_to_string(from.join("src/lib.rs"))?;
        let lib = lib.replacen(
            "\npub mod bearing;",
            "\n#![allow(warnings, arithmetic_overflow, unconditional_panic)]\npub mod mutation_point;\npub mod bearing;",
            1,
        );
        write(&tree.root.join("src/lib.rs"), &lib)?;
        write(&tree.root.join("src/mutation_point.rs"), include_str!("point.rs"))?;
        Ok(tree)
    }

    /// All changes, also those that do not build.
    pub(crate) fn mutants(&self) -> impl Iterator<Item = &Mutant> {
        self.sources.iter().flat_map(|s| &s.places).flat_map(|p| &p.mutants)
    }

    /// Writes and builds until all that is left builds; `only` names test programs, all where it is empty.
    pub(crate) fn build(&mut self, only: &[&str]) -> Result<Vec<Binary>, Failed> {
        let chosen: Vec<String> =
            if only.is_empty() { vec!["--lib".into(), "--tests".into()] } else { only.iter().map(ToString::to_string).collect() };
        let mut messages = Vec::new();
        for round in 1.. {
            self.write_sources()?;
            messages = self.cargo(&chosen)?;
            let bad = self.at_fault(&messages)?;
            if bad.is_empty() {
                break;
            }
            println!("round {round}: {} changes do not build", bad.len());
            self.unbuilt.extend(bad);
        }
        let binaries: Vec<Binary> = messages
            .iter()
            .filter(|m| m["reason"] == "compiler-artifact" && m["profile"]["test"] == true)
            .filter_map(|m| Some(Binary { name: m["target"]["name"].as_str()?.into(), path: m["executable"].as_str()?.into() }))
            .collect();
        if binaries.is_empty() { Err("no test program was built".into()) } else { Ok(binaries) }
    }

    fn write_sources(&self) -> Result<(), Failed> {
        for source in &self.sources {
            write(&self.root.join("src").join(&source.file), &written(&source.text, &source.places, &self.unbuilt))?;
        }
        Ok(())
    }

    fn cargo(&self, chosen: &[String]) -> Result<Vec<Value>, Failed> {
        let out = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()))
            .current_dir(&self.root)
            .env("CARGO_TARGET_DIR", &self.target)
            .args(["test", "--release", "--no-run", "--quiet", "--message-format=json"])
            .args(chosen)
            .stderr(Stdio::inherit())
            .output()?;
        Ok(String::from_utf8_lossy(&out.stdout).lines().filter_map(|l| serde_json::from_str(l).ok()).collect())
    }

    /// The changes on which the compiler's errors fall.
    fn at_fault(&self, messages: &[Value]) -> Result<HashSet<u32>, Failed> {
        let mut marks: HashMap<String, Vec<(usize, usize, u32)>> = HashMap::new();
        let mut bad = HashSet::new();
        for message in messages.iter().map(|m| &m["message"]).filter(|m| m["level"] == "error") {
            let mut spans: Vec<&Value> = Vec::new();
            spans_of(message, &mut spans);
            spans.sort_by_key(|s| s["is_primary"] != true);
            let mut found = None;
            for span in &spans {
                let (Some(file), Some(at)) = (span["file_name"].as_str(), span["byte_start"].as_u64()) else { continue };
                if !marks.contains_key(file) {
                    let text = std::fs::read_to_string(self.root.join(file)).unwrap_or_default();
                    marks.insert(file.into(), marked(&text));
                }
                let inside = marks[file].iter().filter(|(from, to, _)| (*from as u64) <= at && at < *to as u64);
                found = found.or(inside.min_by_key(|(from, to, _)| to - from).map(|m| m.2));
            }
            match found {
                Some(id) => _ = bad.insert(id),
                None if spans.is_empty() => {}
                None => return Err(format!("an error that no change explains:\n{}", message["rendered"].as_str().unwrap_or("")).into()),
            }
        }
        Ok(bad)
    }
}

/// Spans of a message and of its notes.
fn spans_of<'m>(message: &'m Value, into: &mut Vec<&'m Value>) {
    into.extend(message["spans"].as_array().into_iter().flatten());
    for child in message["children"].as_array().into_iter().flatten() {
        spans_of(child, into);
    }
}

/// Where each change stands in a written file: from, to, id.
fn marked(text: &str) -> Vec<(usize, usize, u32)> {
    let mut list = Vec::new();
    for (from, _) in text.match_indices("/*m") {
        let digits: String = text[from + 3..].chars().take_while(char::is_ascii_digit).collect();
        let Ok(id) = digits.parse() else { continue };
        if let Some(length) = text[from..].find(&format!("/*e{id}*/")) {
            list.push((from, from + length, id));
        }
    }
    list
}

/// The manifest without lints, which the changes would break.
fn without_lints(manifest: &str) -> String {
    let mut kept = true;
    let lines = manifest.lines().filter(|line| {
        if line.starts_with('[') {
            kept = !line.starts_with("[lints");
        }
        kept
    });
    lines.collect::<Vec<_>>().join("\n") + "\n"
}

fn rust_files(folder: &Path, into: &mut Vec<PathBuf>) -> Result<(), Failed> {
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            rust_files(&path, into)?;
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
    Ok(())
}

/// Names of the modules that are there for tests alone, each in a file of its own.
fn modules_of_tests(files: &[PathBuf]) -> Result<Vec<String>, Failed> {
    let mut names = Vec::new();
    for path in files {
        let text = std::fs::read_to_string(path)?;
        let after = text.split("#[cfg(test)]\nmod ").skip(1).filter_map(|t| t.split_once(';'));
        names.extend(after.map(|(name, _)| name.to_string()).filter(|n| n.chars().all(|c| c.is_alphanumeric() || c == '_')));
    }
    Ok(names)
}

/// Copies what differs, but for the sources of rooms that are written with their changes.
fn copy(from: &Path, to: &Path, sources: &Path) -> Result<(), Failed> {
    if !from.exists() || to.parent() == Some(sources) && ROOMS.iter().any(|r| to.ends_with(r)) || to == sources.join("lib.rs") {
        return Ok(());
    }
    if !from.is_dir() {
        let new = std::fs::read(from)?;
        if std::fs::read(to).ok().as_ref() != Some(&new) {
            std::fs::create_dir_all(to.parent().unwrap_or(to))?;
            std::fs::copy(from, to)?;
        }
        return Ok(());
    }
    for entry in std::fs::read_dir(from)? {
        let name = entry?.file_name();
        copy(&from.join(&name), &to.join(&name), sources)?;
    }
    Ok(())
}

/// Writes only what differs, so that only what changed is built again.
fn write(path: &Path, text: &str) -> Result<(), Failed> {
    if std::fs::read_to_string(path).ok().as_deref() != Some(text) {
        std::fs::create_dir_all(path.parent().unwrap_or(path))?;
        std::fs::write(path, text)?;
    }
    Ok(())
}
