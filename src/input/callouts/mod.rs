//! Callouts of a drawing: a table (CSV) to checked callouts, every problem of the file at once.

mod controls;
mod rows;

pub use controls::{CONTROLS, Control, GENERAL, TEMPERATURE};
pub use rows::COLUMNS;

use super::ErrorKind;
use super::classes::Form;
use super::plan::Frame;
use super::problem::{Problem, Problems};
use super::survey::text::{Sheet, decode};

/// How a feature is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Made {
    /// As welded.
    Welded,
    /// Machined.
    Machined,
    /// Set at installation.
    Set,
}

/// What a callout allows.
#[derive(Debug, Clone, PartialEq)]
pub enum Allowed {
    /// A number in mm or rad: so much either way, or a zone's total width.
    Value {
        /// mm or rad; degrees Celsius for a temperature.
        value: f64,
        /// How it limits.
        form: Form,
    },
    /// A class of a standard, made a number for each error that it feeds.
    Class(String),
}

/// One callout.
#[derive(Debug, Clone, PartialEq)]
pub struct Callout {
    /// Its line in the file.
    pub line: usize,
    /// Its number or name on the drawing.
    pub item: String,
    /// What it controls.
    pub controls: String,
    /// What it allows.
    pub allowed: Allowed,
    /// As the file writes it, with its unit.
    pub written: String,
    /// How often: each, all, or a number.
    pub per: String,
    /// How the feature is made.
    pub made: Made,
    /// Shimming or setting comes after it.
    pub shimmed_after: bool,
    /// The errors that it feeds; empty for a general tolerance, whose errors the review finds.
    pub feeds: Vec<ErrorKind>,
    /// The mapping is the file's own.
    pub overridden: bool,
}

impl Callout {
    /// A general tolerance without a mapping of its own.
    #[must_use]
    pub fn is_general(&self) -> bool {
        self.controls == GENERAL && !self.overridden
    }
}

/// The callouts of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Callouts {
    /// In the order of the file.
    pub list: Vec<Callout>,
    /// Text as it was read, for whoever repeats the review.
    pub text: String,
}

/// Reads callouts for a machine with this frame.
///
/// # Errors
/// All problems of the file.
pub fn read_callouts(bytes: &[u8], file: &str, frame: &Frame) -> Result<Callouts, Problems> {
    let text = decode(bytes).text;
    let sheet = Sheet::new(&text);
    let mut problems: Vec<Problem> = Vec::new();
    let list = rows::callouts(&sheet, frame, &mut problems);
    if list.is_empty() && problems.is_empty() {
        let advice = format!("The first line names the columns ({}); each further line is a callout.", COLUMNS.join(", "));
        problems.push(rows::problem(1, 1, "", "", "there is no callout in this file", &advice));
    }
    problems.sort_by_key(|p| (p.line, p.column));
    if problems.is_empty() { Ok(Callouts { list, text }) } else { Err(Problems { file: file.into(), list: problems }) }
}

/// Limits (mm or rad) that a callout sets to an error; nothing where its class has no value for it.
#[must_use]
pub fn limits_for(callout: &Callout, kind: ErrorKind, frame: &Frame) -> Option<(f64, f64)> {
    let spec = kind.spec();
    let (value, form) = match &callout.allowed {
        Allowed::Value { value, form } => (*value, *form),
        Allowed::Class(word) => super::classes::resolve(word, spec, frame).ok().map(|c| (c.tolerance_mm, c.form))?,
    };
    Some(match (form, spec.zone) {
        // Plus and minus about a line that is free to lie anywhere is the same as a zone of twice the size.
        (Form::PlusMinus, super::sources::ZoneMeaning::PeakToValley) => (0.0, 2.0 * value),
        (Form::PlusMinus, _) => (-value, value),
        (Form::Zone, meaning) => meaning.limits(value),
    })
}
