//! Data flows one way: each room may use only the rooms above it.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Rooms in order, with the rooms that each may use.
const ROOMS: [(&str, &[&str]); 15] = [
    ("units", &[]),
    ("math", &[]),
    ("errors", &["units", "math"]),
    ("contact", &["units", "math"]),
    ("input", &["units", "contact", "errors"]),
    ("geometry", &["units", "math", "errors", "input"]),
    ("structure", &["units", "math", "errors", "input", "geometry", "contact"]),
    ("bearing", &["units", "math", "input", "structure"]),
    ("evaluate", &["units", "math", "contact", "errors", "input", "geometry", "structure", "bearing"]),
    ("draw", &["units", "math", "errors", "input", "geometry"]),
    ("sweep", &["units", "math", "errors", "input", "geometry", "structure", "bearing", "evaluate", "draw"]),
    ("study", &["units", "math", "contact", "errors", "input", "geometry", "structure", "bearing", "evaluate", "draw", "sweep"]),
    ("survey", &["units", "math", "errors", "input", "geometry", "structure", "bearing", "evaluate", "draw", "sweep", "study"]),
    ("present", &["units", "math", "errors", "input", "geometry", "contact", "structure", "evaluate", "study", "survey"]),
    ("cli", &["*"]),
];

pub(crate) fn files(folder: &Path, into: &mut Vec<std::path::PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { files(&path, into) } else { into.push(path) }
    }
}

pub(crate) fn source() -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut list = Vec::new();
    files(&root, &mut list);
    list.into_iter()
        .filter(|p| p.extension().is_some_and(|e| e == "rs"))
        .map(|p| (p.strip_prefix(&root).unwrap().to_string_lossy().into_owned(), std::fs::read_to_string(&p).unwrap()))
        .collect()
}

/// The part of a file before its own tests.
pub(crate) fn code(text: &str) -> &str {
    text.split("#[cfg(test)]").next().unwrap()
}

#[test]
fn rooms_use_only_the_rooms_above_them() {
    let mut seen = 0;
    for (file, text) in source() {
        let room = file.split(['/', '.']).next().unwrap();
        if room == "lib" || room == "main" {
            continue;
        }
        let (_, allowed) = ROOMS.iter().find(|(r, _)| *r == room).unwrap_or_else(|| panic!("{file}: no room {room}"));
        for (at, _) in code(&text).match_indices("crate::") {
            let rest = &code(&text)[at + 7..];
            let used: String = rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            assert!(used == room || allowed.iter().any(|a| *a == used || *a == "*"), "{file} uses {used}");
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
        // What a survey knows is drawn too; the generator comes in as an argument.
        let samples = ["draw/", "survey/checks", "survey/measured", "geometry/posterior_mixed"].iter().any(|f| file.starts_with(f));
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

/// A room is a house of its own where it holds more than a quarter of the lines.
#[test]
fn no_room_is_a_hall() {
    let sources = source();
    let all: usize = sources.iter().map(|(_, text)| text.lines().count()).sum();
    for (room, _) in ROOMS {
        let lines: usize =
            sources.iter().filter(|(f, _)| f.split(['/', '.']).next() == Some(room)).map(|(_, text)| text.lines().count()).sum();
        assert!(4 * lines <= all, "{room} holds {lines} of {all} lines");
    }
}

#[test]
fn no_files_use_each_other_in_a_circle() {
    let house = House::read(&source());
    let uses = house.uses();
    assert!(uses.iter().map(BTreeSet::len).sum::<usize>() > 300, "uses are no longer seen: has the layout changed?");
    let circles = circles(&uses);
    let named: Vec<Vec<&str>> = circles.iter().map(|c| c.iter().map(|&i| house.files[i].as_str()).collect()).collect();
    assert!(named.is_empty(), "files in a circle: {named:#?}");
}

/// The finder of circles sees one that goes over a re-export, a parent and a brace.
#[test]
fn a_circle_is_found() {
    let text = |t: &str| t.to_owned();
    let sources = [
        ("a/mod.rs".to_owned(), text("mod one;\nmod two;\npub use one::{First, Other as Named};\n")),
        ("a/one.rs".to_owned(), text("use super::two::Second;\n")),
        ("a/two.rs".to_owned(), text("use crate::b::{\n    three::Third,\n};\n")),
        ("b/mod.rs".to_owned(), text("pub mod three;\n")),
        ("b/three.rs".to_owned(), text("fn of(first: crate::a::Named) {}\n#[cfg(test)]\nuse crate::a::two;\n")),
    ];
    let house = House::read(&sources);
    let found = circles(&house.uses());
    assert_eq!(
        found.iter().map(|c| c.iter().map(|&i| house.files[i].as_str()).collect()).collect::<Vec<Vec<_>>>(),
        [["a/one.rs", "a/two.rs", "b/three.rs"]]
    );
    let broken: Vec<_> = sources.into_iter().map(|(f, t)| (f, t.replace("Third", "").replace("three::", ""))).collect();
    assert!(circles(&House::read(&broken).uses()).is_empty());
}

/// Files as modules, with what each uses of the others.
struct House {
    files: Vec<String>,
    texts: Vec<String>,
    modules: BTreeMap<Vec<String>, usize>,
}

impl House {
    fn read(sources: &[(String, String)]) -> Self {
        let mut sources: Vec<_> = sources.iter().filter(|(f, _)| f != "lib.rs" && f != "main.rs").collect();
        sources.sort();
        let modules = sources.iter().enumerate().map(|(i, (file, _))| (module(file), i)).collect();
        let texts = sources.iter().map(|(_, t)| code(t).lines().map(|l| l.split("//").next().unwrap_or("")).collect::<Vec<_>>().join("\n"));
        Self { files: sources.iter().map(|(f, _)| f.clone()).collect(), texts: texts.collect(), modules }
    }

    /// The files that each file uses.
    fn uses(&self) -> Vec<BTreeSet<usize>> {
        let of = |file: usize| {
            let here = module(&self.files[file]);
            let paths = paths(&self.texts[file], false);
            let absolute = paths.iter().filter_map(|p| absolute(p, &here));
            absolute.filter_map(|p| self.home(&p, 0)).filter(|used| *used != file).collect()
        };
        (0..self.files.len()).map(of).collect()
    }

    /// The file in which a path's last name stands: through re-exports, to the module that defines it.
    fn home(&self, path: &[String], depth: usize) -> Option<usize> {
        let known = (1..=path.len()).rev().find(|n| self.modules.contains_key(&path[..*n]))?;
        let file = self.modules[&path[..known]];
        let Some(name) = path.get(known).filter(|_| depth < 8) else { return Some(file) };
        let passed_on = paths(&self.texts[file], true).into_iter().find_map(|export| {
            let (target, called) = export.split_once(" as ").unwrap_or((&export, export.rsplit("::").next()?));
            if called != name {
                return None;
            }
            let here = module(&self.files[file]);
            let inner: Vec<String> = here.iter().cloned().chain(target.split("::").map(str::to_owned)).collect();
            self.home(&absolute(target, &here).unwrap_or(inner), depth + 1)
        });
        passed_on.or(Some(file))
    }
}

fn module(file: &str) -> Vec<String> {
    file.trim_end_matches(".rs").split('/').filter(|part| *part != "mod").map(str::to_owned).collect()
}

/// A path from the crate's root; nothing for other crates'.
fn absolute(path: &str, here: &[String]) -> Option<Vec<String>> {
    let path = path.split(" as ").next()?;
    let mut base = here.to_vec();
    let mut parts = path.split("::").peekable();
    match parts.peek() {
        Some(&"crate") => {
            base.clear();
            parts.next();
        }
        Some(&"super") => {
            while parts.next_if_eq(&"super").is_some() {
                base.pop();
            }
        }
        Some(&"self") => _ = parts.next(),
        _ => return None,
    }
    Some(base.into_iter().chain(parts.map(str::to_owned)).collect())
}

/// Paths that a file names: those of its re-exports, or all others.
fn paths(text: &str, exported: bool) -> Vec<String> {
    let mut found = Vec::new();
    let mut rest = String::new();
    for statement in text.split_inclusive(';') {
        let at = statement
            .find("use ")
            .filter(|at| statement[..*at].lines().last().is_none_or(|l| l.trim().is_empty() || l.trim().starts_with("pub")));
        match at {
            Some(at) if statement[at..].ends_with(';') => {
                rest.push_str(&statement[..at]);
                let public = statement[..at].lines().last().is_some_and(|l| l.trim().starts_with("pub"));
                if public == exported {
                    flatten("", statement[at + 4..].trim_end_matches(';'), &mut found);
                }
            }
            _ => rest.push_str(statement),
        }
    }
    if !exported {
        for word in rest
            .split(|c: char| !(c.is_alphanumeric() || c == '_' || c == ':'))
            .filter(|w| w.starts_with("crate::") || w.starts_with("super::"))
        {
            found.push(word.trim_end_matches(':').to_owned());
        }
    }
    found
}

/// `a::{b, c::{d}}` as `a::b` and `a::c::d`.
fn flatten(prefix: &str, tree: &str, into: &mut Vec<String>) {
    let Some((head, inner)) = tree.split_once('{') else {
        let one = format!("{prefix}{}", tree.split_whitespace().collect::<Vec<_>>().join(" "));
        into.push(one.trim_end_matches("::self").to_owned());
        return;
    };
    let prefix = format!("{prefix}{}", head.trim());
    let inner = &inner[..inner.rfind('}').unwrap_or(inner.len())];
    let (mut depth, mut from) = (0, 0);
    for (at, c) in inner.char_indices().chain([(inner.len(), ',')]) {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 0 => {
                if !inner[from..at].trim().is_empty() {
                    flatten(&prefix, &inner[from..at], into);
                }
                from = at + 1;
            }
            _ => {}
        }
    }
}

/// Sets of files that can all be reached from each other.
fn circles(uses: &[BTreeSet<usize>]) -> Vec<Vec<usize>> {
    let reached: Vec<BTreeSet<usize>> = (0..uses.len())
        .map(|from| {
            let (mut seen, mut open) = (BTreeSet::new(), vec![from]);
            while let Some(file) = open.pop() {
                open.extend(uses[file].iter().filter(|used| seen.insert(**used)));
            }
            seen
        })
        .collect();
    let circle = |i: usize| (0..uses.len()).filter(|j| reached[i].contains(j) && reached[*j].contains(&i)).collect::<Vec<_>>();
    let all: BTreeSet<Vec<usize>> = (0..uses.len()).map(circle).filter(|c| c.len() > 1).collect();
    all.into_iter().collect()
}
