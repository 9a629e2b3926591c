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
}

/// Word of the general tolerance: it feeds every error that no other callout does and that its class has a value for.
pub const GENERAL: &str = "general";
/// Word of the temperature at which the drawing's sizes hold, degrees Celsius.
pub const TEMPERATURE: &str = "temperature";

/// Every word with a fixed mapping, from the errors' rows.
pub static CONTROLS: LazyLock<Vec<Control>> = LazyLock::new(|| {
    let mut list: Vec<Control> = Vec::new();
    for spec in &ErrorKind::ALL {
        let Some((word, form)) = spec.callout else { continue };
        match list.iter_mut().find(|c| c.word == word) {
            Some(control) => control.feeds.push(spec.kind),
            None => list.push(Control { word, feeds: vec![spec.kind], form }),
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
    let list: Vec<&str> = CONTROLS.iter().map(|c| c.word).chain([GENERAL, TEMPERATURE]).collect();
    list.join(", ")
}

/// Name, unit and meaning of an error by its key in a plan.
#[must_use]
pub(super) fn spec_of(key: &str) -> Option<&'static ErrorSpec> {
    ErrorKind::ALL.iter().find(|s| s.key == key)
}
