//! What a callout can control: the words, and the errors that each feeds.

use std::sync::LazyLock;

use crate::errors::{ErrorKind, ErrorSpec, Form};

/// A word of the column `controls`.
#[derive(Debug, Clone)]
pub struct Control {
    /// As it is written in the file.
    pub word: &'static str,
    /// The errors that it feeds.
    pub feeds: Vec<ErrorKind>,
    /// What a bare number means.
    pub form: Form,
    /// Each pad's zone is held in place by a datum, so that separate zones hold the whole row (ISO 1101: location, and
    /// orientation for an angle); a form's zone floats with its pad.
    pub held_by_datum: bool,
}

/// Word of the title block's general tolerance: it controls the errors that its `feeds` names, and no others.
pub const GENERAL: &str = "general";
/// Word of the temperature at which the drawing's sizes hold, degrees Celsius.
pub const TEMPERATURE: &str = "temperature";
/// Word of a row that names where else errors are controlled.
pub const ELSEWHERE: &str = "elsewhere";

/// Words without a fixed mapping.
pub(super) const OTHER_WORDS: [&str; 3] = [GENERAL, TEMPERATURE, ELSEWHERE];

/// Every word with a fixed mapping, from the errors' rows.
pub static CONTROLS: LazyLock<Vec<Control>> = LazyLock::new(|| {
    let mut list: Vec<Control> = Vec::new();
    for spec in &ErrorKind::ALL {
        let Some((word, form)) = spec.callout else { continue };
        match list.iter_mut().find(|c| c.word == word) {
            Some(control) => control.feeds.push(spec.kind),
            None => list.push(Control { word, feeds: vec![spec.kind], form, held_by_datum: spec.held_by_datum }),
        }
    }
    list
});

/// The fixed mapping of a word.
#[must_use]
pub(super) fn control_of(word: &str) -> Option<&'static Control> {
    CONTROLS.iter().find(|c| c.word == word)
}

/// All words in a sentence.
#[must_use]
pub(super) fn words() -> String {
    let list: Vec<&str> = CONTROLS.iter().map(|c| c.word).chain(OTHER_WORDS).collect();
    list.join(", ")
}

/// Name, unit and meaning of an error by its key in a plan.
#[must_use]
pub(super) fn spec_of(key: &str) -> Option<&'static ErrorSpec> {
    ErrorKind::ALL.iter().find(|s| s.key == key)
}
