//! A class as a drawing writes it, such as "ISO 13920-BF", "ISO 2768-mK", "ISO 286-1 IT10" or "ISO 12488-1 class 2".

use super::{ClassValue, RULES, Rule, rules_for};
use crate::input::frame::Frame;
use crate::input::sources::ErrorSpec;

/// Standards by what a drawing calls them; one callout of ISO 2768 names both of its parts.
const STANDARDS: [(&str, &[&str]); 6] = [
    ("12488-1", &["ISO 12488-1"]),
    ("286-1", &["ISO 286-1"]),
    ("2768-1", &["ISO 2768-1"]),
    ("2768-2", &["ISO 2768-2"]),
    ("2768", &["ISO 2768-1", "ISO 2768-2"]),
    ("13920", &["ISO 13920"]),
];

/// The number that a class word means for an error of a machine.
///
/// # Errors
/// What is wrong with the word, and what to do.
pub fn resolve(word: &str, spec: &ErrorSpec, frame: &Frame) -> Result<ClassValue, (String, String)> {
    let known = "Known are ISO 12488-1 class 1 to 4 (also \"in operation\"), ISO 286-1 IT5 to IT14, ISO 2768-mK, ISO 13920-BF.";
    let bare = word.trim().trim_start_matches("DIN ").trim_start_matches("EN ").trim_start_matches("ISO").trim();
    let found = STANDARDS.iter().find(|(number, _)| bare.starts_with(number));
    let Some((number, standards)) = found else {
        return Err(("this names no standard that is known here".into(), known.into()));
    };
    let rest = &bare[number.len()..];
    let rules: Vec<&Rule> = rules_for(spec.kind).filter(|r| standards.contains(&r.standard)).collect();
    let Some(first) = rules.first() else {
        return Err((format!("ISO {number} limits nothing that means the same as {}", spec.label), instead(spec)));
    };
    let rest = without_edition(rest, first).map_err(|what| (what, format!("The edition here is {}.", first.edition)))?;
    let in_operation = rest.contains("operation");
    let class = rest.replace("in operation", "").replace("operation", "");
    let fitting = rules.iter().filter(|r| r.suffix.is_empty() != in_operation);
    let found: Vec<(&Rule, usize)> =
        fitting.flat_map(|r| (0..r.classes.len()).map(move |i| (*r, i))).filter(|(r, i)| names(&class, r.classes[*i])).collect();
    match found.as_slice() {
        [(rule, i)] => return rule.at(*i, frame).map_err(|what| (what, "Give a number, or a class of another standard.".into())),
        [] => {}
        _ => return Err((format!("this names more than one class for {}", spec.label), "Name one.".into())),
    }
    let classes: Vec<String> =
        rules.iter().map(|r| format!("{} {}{} ({})", r.standard, r.classes.join(", "), r.suffix, r.quantity)).collect();
    Err((format!("ISO {number} has no such class for {}", spec.label), format!("Here stand: {}.", classes.join("; "))))
}

/// True where a drawing's letters name a class: "BF" and "mK" name one of each of two tables.
fn names(written: &str, class: &str) -> bool {
    let bare: String = written.replace("class", "").chars().filter(|c| !matches!(c, ' ' | '-' | ',' | '/')).collect();
    let class = class.trim_start_matches("class ");
    if class.len() == 1 && !class.starts_with(|c: char| c.is_ascii_digit()) {
        bare.chars().count() <= 2 && bare.contains(class)
    } else {
        bare.eq_ignore_ascii_case(class) || class.strip_prefix("IT").is_some_and(|n| n == bare)
    }
}

/// What follows the edition's year, which must be the one that is known.
fn without_edition<'w>(rest: &'w str, rule: &Rule) -> Result<&'w str, String> {
    let Some(after) = rest.strip_prefix(':') else { return Ok(rest) };
    let end = after.find(|c: char| !c.is_ascii_digit()).unwrap_or(after.len());
    let (year, rest) = after.split_at(end);
    let other = RULES.iter().any(|r| r.standard == rule.standard && r.edition.starts_with(year));
    if !year.is_empty() && other { Ok(rest) } else { Err(format!("the edition of {year} is not known here")) }
}

/// Which classes an error may have, in words.
fn instead(spec: &ErrorSpec) -> String {
    let list: Vec<String> = rules_for(spec.kind).map(|r| format!("{} {}", r.standard, r.classes.join(", "))).collect();
    if list.is_empty() {
        "No standard here limits it as such: give a number. Span, height, straightness, parallelism and made length can have a class."
            .into()
    } else {
        format!("For it stand: {}; or give a number.", list.join("; "))
    }
}
