//! Mutation testing: changes the program on purpose, one place at a time, and sees whether a test notices.
//!
//! All changes are compiled into one copy of the source tree; an environment variable says which one is on. So the copy is
//! built once, and a change costs no more than the quickest test that notices it. `tests/mutants.sh` starts it.
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a measuring program")]

mod kept;
mod operators;
mod outcome;
mod places;
mod suite;
mod tree;
mod trial;

use outcome::{Outcome, Outcomes};
use places::Mutant;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Instant, SystemTime};
use suite::{Suite, side_by_side};
use tree::Tree;
use trial::Trial;

/// Why a run could not be made.
pub(crate) type Failed = Box<dyn std::error::Error>;

/// CI tries the files of one of so many shares a day.
const SHARES: u64 = 20;
/// A share ends after this time, s, building included.
const SHARE_S: f64 = 170.0;
/// Time for the tests of one change, as they take without it, s; for a second look at what was left.
const BUDGET_S: [f64; 2] = [6.0, 40.0];

/// Where things stand.
#[derive(Debug)]
struct Folders {
    package: PathBuf,
    work: PathBuf,
    result: PathBuf,
}

fn main() -> Result<(), Failed> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let package = std::env::current_dir()?;
    let work = package.join("target/mutants");
    std::fs::create_dir_all(&work)?;
    let folders = Folders { work: work.canonicalize()?, result: package.join("tests/mutants/result.txt"), package };
    let rooms = arguments.get(1..).unwrap_or_default();
    match arguments.first().map(String::as_str) {
        Some("all") => whole(&folders, rooms, false),
        Some("again") => whole(&folders, rooms, true),
        Some("page") => page(&folders),
        Some("share") => {
            let today = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH)?.as_secs() / 86_400;
            share(&folders, rooms.first().map_or(Ok(today % SHARES), |n| n.parse::<u64>().map(|n| (n + SHARES - 1) % SHARES))?)
        }
        _ => Err("usage: all | again [ROOM or FILE].., page, share [NUMBER]".into()),
    }
}

/// Test programs that call the library; those that run commands are slow and have few lines to themselves.
const OF_LIBRARY: [&str; 3] = ["--lib", "--test", "library"];

fn known(folders: &Folders) -> std::collections::HashSet<String> {
    let mut known = kept::unbuilt(&kept::read(&folders.result));
    let text = std::fs::read_to_string(folders.work.join("unbuilt.txt")).unwrap_or_default();
    known.extend(text.lines().map(ToString::to_string));
    known
}

/// Everything that was not tried yet, by the tests of the library; `again`: what was tried and not caught, by those of the
/// commands too.
fn whole(folders: &Folders, rooms: &[String], again: bool) -> Result<(), Failed> {
    // Only what is to be tried is changed: the rest of the copy then runs as quickly as the program.
    let here = |file: &str| rooms.is_empty() || rooms.iter().any(|r| file.starts_with(r.as_str()));
    let mut tree = Tree::new(&folders.package, &folders.work, &folders.work.join("build"), &known(folders), here)?;
    println!("{} changes", tree.mutants().count());
    let binaries = tree.build(if again { &[] } else { &OF_LIBRARY })?;
    let mut unbuilt = known(folders);
    unbuilt.extend(tree.mutants().filter(|m| tree.unbuilt.contains(&m.id)).map(Mutant::key));
    let unbuilt: Vec<String> = unbuilt.into_iter().collect();
    std::fs::write(folders.work.join("unbuilt.txt"), unbuilt.join("\n"))?;
    println!("{} changes do not build; measuring the tests", tree.unbuilt.len());
    let suite = Suite::new(&tree, &folders.work, binaries, &[])?;
    let outcomes = Outcomes::open(&folders.work.join("outcomes.jsonl"))?;
    let wanted = |m: &&Mutant| match outcomes.by_key.get(&m.key()) {
        None => !again,
        Some(Outcome::Caught { .. }) => false,
        Some(_) => again,
    };
    let mut list: Vec<&Mutant> = tree.mutants().filter(|m| !tree.unbuilt.contains(&m.id)).filter(wanted).collect();
    // In no order that means anything: what is tried when a run is stopped is a fair sample of all.
    list.sort_by_cached_key(|m| scattered(&m.key()));
    let trial = Trial::new(&suite, BUDGET_S[usize::from(again)]);
    let (caught, began) = (AtomicUsize::new(0), Instant::now());
    side_by_side(list.len(), |i| {
        let outcome = trial.run(list[i]);
        caught.fetch_add(usize::from(matches!(outcome, Outcome::Caught { .. })), Ordering::Relaxed);
        outcomes.add(&list[i].key(), &outcome);
        if i % 50 == 49 {
            println!(
                "{} of {}: {} caught, {:.0} s, in {}",
                i + 1,
                list.len(),
                caught.load(Ordering::Relaxed),
                began.elapsed().as_secs_f64(),
                list[i].file
            );
        }
    });
    let _ = std::fs::remove_dir_all(folders.work.join("tmp"));
    page(folders)
}

/// Writes the result and its page from what is kept of the last runs.
fn page(folders: &Folders) -> Result<(), Failed> {
    let tree = Tree::new(&folders.package, &folders.work, &folders.work.join("build"), &known(folders), |_| true)?;
    let outcomes = Outcomes::open(&folders.work.join("outcomes.jsonl"))?;
    kept::write(&folders.result, &tree, &outcomes.by_key)?;
    let explained = std::fs::read_to_string(folders.package.join("tests/mutants/explained.txt")).unwrap_or_default();
    let page = kept::page(&tree, &outcomes.by_key, &head(&folders.package), &explained);
    Ok(std::fs::write(folders.package.join("tests/mutants.md"), page)?)
}

/// A number that says nothing about a text but is always the same.
fn scattered(text: &str) -> u64 {
    text.bytes().fold(5_381, |hash: u64, b| hash.wrapping_mul(33) ^ u64::from(b)).wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_right(29)
}

/// Date, commit, processor.
fn head(package: &Path) -> String {
    let say = |program: &str, arguments: &[&str]| {
        let out = std::process::Command::new(program).current_dir(package).args(arguments).output();
        out.map(|o| String::from_utf8_lossy(&o.stdout).trim().to_string()).unwrap_or_default()
    };
    let processors = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let model = processors.lines().find_map(|l| l.strip_prefix("model name")).map_or("unknown", |m| m.trim_start_matches([' ', '\t', ':']));
    format!(
        "{}, commit {}, {} x {model}. Written by `tests/mutants.sh`; the letters behind it stand in `tests/mutants/result.txt`.",
        say("date", &["+%Y-%m-%d"]),
        say("git", &["rev-parse", "--short", "HEAD"]),
        processors.lines().filter(|l| l.starts_with("processor")).count(),
    )
}

/// One share, that of the day where none is named: changes that quick tests are known to catch must still be caught.
fn share(folders: &Folders, number: u64) -> Result<(), Failed> {
    let began = Instant::now();
    let letters = kept::read(&folders.result);
    let target = folders.package.join(std::env::var_os("CARGO_TARGET_DIR").unwrap_or_else(|| "target".into()));
    // A few files a day: with the changes of all of them the build alone would take longer than the share may.
    let today = |file: &str| scattered(file) % SHARES == number;
    let mut tree = Tree::new(&folders.package, &folders.work, &target, &kept::unbuilt(&letters), today)?;
    let binaries = tree.build(&OF_LIBRARY[1..])?;
    println!("built after {:.0} s", began.elapsed().as_secs_f64());
    let suite = Suite::new(&tree, &folders.work, binaries, &kept::QUICK)?;
    println!("tests measured after {:.0} s", began.elapsed().as_secs_f64());
    let list: Vec<&Mutant> = tree.mutants().filter(|m| letters.get(&m.key()) == Some(&'q')).collect();
    let trial = Trial::new(&suite, f64::INFINITY);
    let results = side_by_side(list.len(), |i| (began.elapsed().as_secs_f64() < SHARE_S).then(|| trial.run(list[i])));
    let tried = results.iter().flatten().count();
    let missed: Vec<String> = list
        .iter()
        .zip(&results)
        .filter(|(_, r)| matches!(r, Some(Outcome::Survived { .. } | Outcome::NotReached)))
        .map(|(m, _)| format!("  {} (line {})", m.key(), m.line))
        .collect();
    println!(
        "share {} of {SHARES}: {} of {} changes in its files are known to be caught by {} quick subjects; {tried} tried in {:.0} s, {} caught",
        number + 1,
        list.len(),
        tree.mutants().count(),
        kept::QUICK.len(),
        began.elapsed().as_secs_f64(),
        tried - missed.len(),
    );
    if tried == 0 {
        println!("SKIPPED: NO CHANGE WAS TRIED: building took the time of the share");
    }
    // A change that shows in last digits alone may pass on another processor.
    if missed.len() <= 1 + tried / 50 { Ok(()) } else { Err(format!("no longer caught:\n{}", missed.join("\n")).into()) }
}
