//! What stands in a TOML file, in words: what its parser complains of, what a value is, what kind of file it is.

use super::catalogue::{Catalogue, INSTALLATION, Kind, PLAN};
use super::node::{Node, Value, place};
use super::problem::{Problem, Problems};

/// What names of joints and arrangements may hold.
pub(super) const NAMES: &str = "Files and commands carry it: 1 to 60 letters, digits, spaces or hyphens, none of . / \\ : * ? \" < > |";

/// Longest line that is shown of a file.
const LONGEST_LINE: usize = 60;

/// The parser's reason with its place, and what most likely happened.
pub(super) fn not_toml(text: &str, e: &toml::de::Error) -> Problem {
    let at = e.span().map_or(0, |s| s.start);
    let line = text.get(..at).map_or(0, |t| t.matches('\n').count());
    let line = text.lines().nth(line).unwrap_or("").trim();
    let shown: String =
        if line.chars().count() > LONGEST_LINE { line.chars().take(LONGEST_LINE - 1).chain(['…']).collect() } else { line.into() };
    let (reason, advice) = in_words(e.message(), line);
    place(text, at, "", "", &format!("this is no valid TOML: {reason}, in the line: {shown}"), advice)
}

/// The parser's message in the words of a plan.
fn in_words(message: &str, line: &str) -> (String, &'static str) {
    let has = |part: &str| message.contains(part);
    let digit_comma = || line.as_bytes().windows(3).any(|w| w[0].is_ascii_digit() && w[1] == b',' && w[2].is_ascii_digit());
    let own = message.trim().replace("`#`", "a remark after #");
    let (reason, advice) = if has("duplicate key") {
        ("this key or table stands twice", "Keep one of them. Several items of one kind stand under [[double brackets]].")
    } else if has("recurs") {
        ("lists or tables are nested too deeply", "No key of this program needs more than four brackets.")
    } else if has("key with no value") || has("invalid key-value pair") || (has("expected key") && !has("expected newline")) {
        (
            "a line holds `key = value`, a [table] or a # remark",
            "Is this the right file? A plan begins with format = 1, an installation holds lines such as span_mm = 0.4.",
        )
    } else if has("unclosed") || has("invalid basic string") {
        return (own, "Something was opened and not closed: a bracket or a quote is missing at the end, or the file was cut off.");
    } else if has("unexpected key or value") && digit_comma() {
        ("a decimal comma", "Decimals have a point: 2600.5.")
    } else if has("string values must be quoted") {
        ("neither a number nor text in quotes", "A number stands alone: its unit is in the key's name. Text stands in \"quotes\".")
    } else {
        return (own, "Decimals have a point (62.5); text stands in quotes; a table's header stands in [brackets]; one key a line.");
    };
    (reason.into(), advice)
}

/// The text of a plan or an installation.
///
/// # Errors
/// It is no UTF-8 text; the line of the first byte that is none.
pub fn utf8(bytes: Vec<u8>, file: &str) -> Result<String, Problems> {
    let wide = bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]);
    String::from_utf8(bytes).map_err(|e| {
        let before = String::from_utf8_lossy(&e.as_bytes()[..e.utf8_error().valid_up_to()]).into_owned();
        let what = if wide { "this is UTF-16 text, no UTF-8 text" } else { "this is no UTF-8 text" };
        let problem = place(&before, before.len(), "", "", what, "Save the file as UTF-8 in the editor.");
        Problems { file: file.into(), list: vec![problem] }
    })
}

/// What a value is.
pub(super) fn found(value: &Value) -> &'static str {
    match value {
        Value::Number(_) => "a number with a fraction",
        Value::Whole(_) => "a number",
        Value::Text(_) => "text",
        Value::Flag(_) => "true or false",
        Value::List(_) => "a list",
        Value::Table(_) => "a table",
        Value::Other => "a date or time",
    }
}

/// What a key wants.
pub(super) fn wanted(kind: Kind) -> &'static str {
    match kind {
        Kind::Number { .. } => "a number",
        Kind::Numbers { .. } => "a list of numbers",
        Kind::Whole { .. } => "a whole number",
        Kind::Text => "text in quotes",
        Kind::Choice(_) => "one word in quotes",
        Kind::Flag => "true or false",
        Kind::Texts => "a list of texts",
        Kind::Table => "a table",
        Kind::Tables => "a list of tables",
        Kind::Source => "text in quotes or a table of them",
    }
}

/// A file that holds nothing, or what another kind of file holds.
pub(super) fn another_file(text: &str, root: &Node, ours: Catalogue) -> Option<Problem> {
    let Value::Table(entries) = &root.value else { return None };
    let plan = ours.find("frame").is_some();
    let count = |c: Catalogue| entries.iter().filter(|(n, _, _)| c.find(n).is_some()).count();
    if plan && entries.is_empty() {
        let advice = "`railtrue start FILE` with five figures writes one; or copy an example and change it.";
        return Some(place(text, 0, "", "", "this file holds no plan: it is empty, or all remarks", advice));
    }
    let other = if plan { INSTALLATION } else { PLAN };
    if count(ours) > 0 || count(other) == 0 {
        return None;
    }
    let (what, advice) = if plan {
        ("this is an installation, not a plan", "Give the plan first; an installation goes with `railtrue trace PLAN --errors FILE`.")
    } else {
        (
            "this is a plan, not an installation",
            "An installation states the value of each error: span_mm = 0.4. `railtrue trace PLAN --draw 1` writes one.",
        )
    };
    Some(place(text, 0, "", "", what, advice))
}
