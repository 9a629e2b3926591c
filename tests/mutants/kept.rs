//! The committed result: a letter for every change, and the page that people read.

use crate::Failed;
use crate::outcome::Outcome;
use crate::places::Mutant;
use crate::tree::{ROOMS, Tree};
use std::collections::{BTreeMap, HashMap, HashSet};
use std::fmt::Write;
use std::path::Path;

/// Subjects of the share of the day: files of tests that hold much in little time.
pub(crate) const QUICK: [&str; 10] = [
    "golden_small",
    "golden_machines",
    "golden_surveys",
    "ref_life",
    "ref_statics",
    "ref_straightness",
    "cross_contact_block",
    "cross_frame",
    "check_laws",
    "cross_worked_machines",
];

/// Letters: q caught by a quick subject, c by another, s survived, t survived as far as time allowed, n not reached, b does not
/// build, - not tried.
fn letter(m: &Mutant, tree: &Tree, outcomes: &HashMap<String, Outcome>) -> char {
    if tree.unbuilt.contains(&m.id) {
        return 'b';
    }
    match outcomes.get(&m.key()) {
        Some(Outcome::Caught { program, .. }) if QUICK.contains(&program.as_str()) => 'q',
        Some(Outcome::Caught { .. }) => 'c',
        Some(Outcome::Survived { time_up: false }) => 's',
        Some(Outcome::Survived { time_up: true }) => 't',
        Some(Outcome::NotReached) => 'n',
        None => '-',
    }
}

/// Writes one line for each function and change, with the letters of its places in order.
pub(crate) fn write(path: &Path, tree: &Tree, outcomes: &HashMap<String, Outcome>) -> Result<(), Failed> {
    let mut lines: BTreeMap<String, String> = BTreeMap::new();
    for m in tree.mutants() {
        lines.entry(format!("{} | {} | {}", m.file, m.function, m.change)).or_default().push(letter(m, tree, outcomes));
    }
    let mut text = String::from(
        "# q, c caught (q by a quick subject); s survived, t the same when its time was up; n not reached; b does not build; - not tried\n",
    );
    lines.iter().for_each(|(place, letters)| text += &format!("{place} | {letters}\n"));
    Ok(std::fs::write(path, text)?)
}

/// Reads the letters by key.
pub(crate) fn read(path: &Path) -> HashMap<String, char> {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    let mut letters = HashMap::new();
    for line in text.lines() {
        let parts: Vec<&str> = line.split(" | ").collect();
        if let [file, function, change, list] = parts[..] {
            letters.extend(list.chars().enumerate().map(|(i, c)| (format!("{file} {function} {change} #{}", i + 1), c)));
        }
    }
    letters
}

/// Keys that do not build.
pub(crate) fn unbuilt(letters: &HashMap<String, char>) -> HashSet<String> {
    letters.iter().filter(|(_, c)| **c == 'b').map(|(k, _)| k.clone()).collect()
}

/// The page: counts by room, and every survivor with what is known about it.
pub(crate) fn page(tree: &Tree, outcomes: &HashMap<String, Outcome>, head: &str, explained: &str) -> String {
    let mut text = format!("# What mutation testing found\n\n{head}\n\n");
    text += "| room | caught | survived | survived, time up | not reached | share caught | not tried | does not build |\n|---|---|---|---|---|---|---|---|\n";
    let letters: Vec<(&Mutant, char)> = tree.mutants().map(|m| (m, letter(m, tree, outcomes))).collect();
    for room in ROOMS.iter().map(|r| format!("{r}/")).chain([String::new()]) {
        let count = |wanted: &str| letters.iter().filter(|(m, c)| m.file.starts_with(&room) && wanted.contains(*c)).count();
        let (caught, tried) = (count("qc"), count("qcstn"));
        let share = if tried > 0 { format!("{:.1} %", 100.0 * caught as f64 / tried as f64) } else { String::new() };
        let name = if room.is_empty() { "all" } else { room.trim_end_matches('/') };
        let cells = [caught, count("s"), count("t"), count("n")].map(|n| n.to_string()).join(" | ");
        _ = writeln!(text, "| {name} | {cells} | {share} | {} | {} |", count("-"), count("b"));
    }
    let mut groups: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (m, c) in letters.iter().filter(|(_, c)| "stn".contains(*c)) {
        let why = explanation(m, explained).unwrap_or_else(|| "Not looked at yet".to_string());
        let how = match c {
            't' => ", time up",
            'n' => ", not reached",
            _ => "",
        };
        groups.entry(why).or_default().push(format!("`{}:{}` {} `{}` #{}{how}", m.file, m.line, m.function, m.change, m.ordinal));
    }
    text += "\n## Survivors\n";
    for (why, list) in groups {
        _ = write!(text, "\n### {why} ({})\n\n", list.len());
        list.iter().for_each(|l| text += &format!("- {l}\n"));
    }
    text
}

/// The first line `file | function | change | why` that fits; `*` fits everything.
fn explanation(m: &Mutant, explained: &str) -> Option<String> {
    explained.lines().find_map(|line| {
        let parts: Vec<&str> = line.split(" | ").collect();
        let [file, function, change, why] = parts[..] else { return None };
        let change_with_ordinal = format!("{} #{}", m.change, m.ordinal);
        let fits = (file == "*" || file == m.file)
            && (function == "*" || function == m.function)
            && (change == "*" || change == m.change || change == change_with_ordinal);
        fits.then(|| why.to_string())
    })
}
