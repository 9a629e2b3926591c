//! Whether a single text or number fits: what does not is refused before anything is built from it.

use super::unseen::is_unseen;

/// Longest text of a plan, in characters.
const LONGEST_TEXT: usize = 200;

/// Why a text cannot stand in headings, tables and files; nothing if it can.
pub(super) fn unfit(text: &str) -> Option<&'static str> {
    if text.trim().is_empty() {
        Some("this text is empty")
    } else if text.chars().any(is_unseen) {
        Some("this text holds a line break or another character that is not seen")
    } else if text.chars().count() > LONGEST_TEXT {
        Some("this text is longer than 200 characters")
    } else {
        None
    }
}

/// Least of what must be more than 0, in any unit that a plan has: smaller numbers are slips and would overflow as divisors.
const LEAST_POSITIVE: f64 = 1e-12;

/// A number for a message as it may be typed, short whatever its size.
pub(super) fn figure(x: f64) -> String {
    if x != 0.0 && x.is_finite() && !(1e-4..1e9).contains(&x.abs()) {
        return format!("{x:e}");
    }
    let text = format!("{x:.6}");
    text.trim_end_matches('0').trim_end_matches('.').into()
}

/// What is wrong with a number that must lie between two others; nothing if it does.
pub(super) fn out_of_range(x: f64, least: f64, most: f64, above: bool) -> Option<&'static str> {
    if !x.is_finite() {
        Some("this is no finite number")
    } else if x < least || (above && x <= least) || (above && least == 0.0 && x < LEAST_POSITIVE) {
        Some("too small")
    } else if x > most {
        Some("too large")
    } else {
        None
    }
}

/// The name most like a word, if it is at least so much like it.
pub(crate) fn nearest<'n>(names: impl Iterator<Item = &'n str>, word: &str, at_least: f64) -> Option<&'n str> {
    let scored = names.map(|n| (strsim::jaro_winkler(n, word), n)).max_by(|a, b| a.0.total_cmp(&b.0));
    scored.filter(|(score, _)| *score > at_least).map(|(_, n)| n)
}
