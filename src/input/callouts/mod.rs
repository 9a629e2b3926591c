//! Callouts of a drawing: a table (CSV) to checked callouts, every problem of the file at once.

mod amount;
mod controls;
mod head;
mod limits;
mod rows;
mod value;

pub use controls::{CONTROLS, Control, ELSEWHERE, GENERAL, TEMPERATURE};
pub use limits::{NoLimit, limits_for};
pub use rows::{COLUMN_MEANINGS, COLUMNS};

use super::ErrorKind;
use super::TitleBlock;
use super::plan::Frame;
use super::problem::{Problem, Problems};
use super::survey::text::{Sheet, decode};

/// How a feature is made; it decides how its error spreads.
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

/// What a tolerance holds for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Per {
    /// Each feature by itself (separate zones, SZ of ISO 5458).
    Each,
    /// All features in one zone (CZ of ISO 1101).
    Combined,
    /// The feature is one face.
    One,
    /// There is one such size on the machine.
    All,
    /// So many features, each by itself.
    Count(u32),
}

/// How a number limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// From the lower to the upper limit.
    Limits,
    /// Total width of a zone.
    Zone,
    /// Each seat may be tilted by so much either way.
    Tilt,
}

/// What a callout allows.
#[derive(Debug, Clone, PartialEq)]
pub enum Allowed {
    /// Numbers in mm or rad.
    Value {
        /// Lower limit; 0 for a zone or a tilt.
        lower: f64,
        /// Upper limit, the zone's width, or the tilt.
        upper: f64,
        /// How they limit.
        shape: Shape,
        /// The length that they hold for; none for the whole.
        over_mm: Option<f64>,
    },
    /// A class of a standard, made a number for each error that it feeds.
    Class(String),
    /// The temperature at which the drawing's sizes hold, degrees Celsius.
    Temperature(f64),
    /// Where else the errors are controlled.
    In(String),
}

/// One callout.
#[derive(Debug, Clone, PartialEq)]
pub struct Callout {
    /// Its line in the file.
    pub line: usize,
    /// Its number or name on the drawing.
    pub item: String,
    /// What it controls, as it is written.
    pub controls: String,
    /// It is a general tolerance that names no errors.
    pub is_general: bool,
    /// What it allows.
    pub allowed: Allowed,
    /// As the file writes it, with its unit.
    pub written: String,
    /// What it holds for; none where the cell is empty.
    pub per: Option<Per>,
    /// Its datum; empty where none is named.
    pub datum: String,
    /// A datum would hold each zone in place.
    pub held_by_datum: bool,
    /// How the feature is made; none where the cell is empty.
    pub made: Option<Made>,
    /// Shimming or setting comes after it.
    pub shimmed_after: bool,
    /// Who measures what was set; empty where nobody is named.
    pub measured_by: String,
    /// The errors that it feeds.
    pub feeds: Vec<ErrorKind>,
    /// It is said to control nothing that a plan counts.
    pub feeds_none: bool,
    /// The mapping is the file's own.
    pub overridden: bool,
}

/// The callouts of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Callouts {
    /// The drawing's title block, from the head lines.
    pub title_block: TitleBlock,
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
    let title_block = head::title_block(&sheet, &mut problems);
    let list = rows::callouts(&sheet, frame, &mut problems);
    if list.is_empty() && problems.is_empty() {
        let advice = format!("The first line names the columns ({}); each further line is a callout.", COLUMNS.join(", "));
        problems.push(rows::problem(1, 1, "", "", "there is no callout in this file", &advice));
    }
    problems.sort_by_key(|p| (p.line, p.column));
    if problems.is_empty() { Ok(Callouts { title_block, list, text }) } else { Err(Problems { file: file.into(), list: problems }) }
}
