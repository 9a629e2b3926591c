//! A survey: bytes as instruments and spreadsheets export them to checked readings, with every problem at its line and
//! column. Lengths come out in mm, angles in rad, whatever the file has.

mod columns;
mod head;
pub(super) mod numbers;
mod rows;
pub(super) mod text;

pub use head::{BridgeState, FrameKind, HEAD_KEYS, HeadKey, Reference, State, Uncertainty};
pub use text::{date_of, day_of};

use super::plan::Plan;
use super::problem::{Problem, Problems};

/// What one number of a survey says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Lateral deviation of one rail from its nominal line, mm; +: towards +y.
    Lateral,
    /// Height deviation of one rail from its nominal line, mm; +: higher.
    Vertical,
    /// Cross-level of one rail's seat, rad; +: its +y side is higher.
    CrossLevel,
    /// Distance between the rails less the plan's span, mm.
    Gauge,
    /// Height of rail B over rail A, mm.
    Height,
}

impl Quantity {
    /// True for what lies between the rails and belongs to neither.
    #[must_use]
    pub fn is_difference(self) -> bool {
        matches!(self, Self::Gauge | Self::Height)
    }

    /// Its name in tables and messages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Lateral => "lateral",
            Self::Vertical => "vertical",
            Self::CrossLevel => "cross-level",
            Self::Gauge => "gauge",
            Self::Height => "height",
        }
    }
}

/// Place in the file that a reading came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// Line, from 1.
    pub line: usize,
    /// Heading of the column.
    pub column: String,
    /// The value as it stands there.
    pub written: String,
}

/// One number at one station.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Where it stands.
    pub place: Place,
    /// What it is.
    pub quantity: Quantity,
    /// Rail, for what belongs to one.
    pub rail: Option<usize>,
    /// Station along the rails.
    pub x_mm: f64,
    /// Value, mm or rad.
    pub value: f64,
    /// Its own standard uncertainty, where the file gives one; mm or rad.
    pub uncertainty: Option<f64>,
}

/// One point in the instrument's own coordinates.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// Where it stands.
    pub place: Place,
    /// Rail.
    pub rail: usize,
    /// Coordinates.
    pub xyz_mm: [f64; 3],
    /// Station along the rails, where the file gives it.
    pub x_mm: Option<f64>,
    /// Its own standard uncertainty, where the file gives one.
    pub uncertainty_mm: Option<f64>,
}

/// A checked survey.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    /// Name of its file.
    pub file: String,
    /// What the head of the file says.
    pub state: State,
    /// Points in the instrument's coordinates.
    pub points: Vec<Point>,
    /// Numbers at stations.
    pub readings: Vec<Reading>,
    /// What was understood, for the user to check: encoding, separator, decimal mark, columns.
    pub understood: Vec<String>,
}

/// Reads a survey of `plan`'s machine.
///
/// `told` are `key = value` pairs that go before the file's own head lines; `columns` are `name = heading` pairs.
///
/// # Errors
/// Every problem of the file with line, column, value and what was expected.
pub fn read_survey(
    bytes: &[u8],
    file: &str,
    plan: &Plan,
    told: &[(String, String)],
    columns: &[(String, String)],
) -> Result<Survey, Problems> {
    let decoded = text::decode(bytes);
    let mut sheet = text::Sheet::headed(&decoded.text, columns::are_headings);
    let units = columns::units_below(&mut sheet);
    let mut problems = Vec::new();
    let mut mapped: Vec<(String, String)> = plan.site.columns.clone();
    mapped.extend(columns.iter().cloned());
    let state = head::State::read(&sheet, told, plan, &mut mapped, &mut problems);
    let mut understood = vec![decoded.encoding.to_string(), format!("columns separated by {}", sheet.separator_name())];
    if sheet.titles > 0 {
        understood.push(format!("lines above the headings, not used: {}", sheet.titles));
    }
    let (points, readings) = match columns::Columns::read(&sheet, units, &mapped, &state, &mut problems) {
        Some(columns) => {
            understood.extend(columns.described());
            let (rows, decimal) = rows::read(&sheet, &columns, &state, plan, &mut problems);
            understood.extend(decimal);
            rows
        }
        None => (Vec::new(), Vec::new()),
    };
    if problems.is_empty() && points.is_empty() && readings.is_empty() {
        problems.push(problem(
            1,
            1,
            "",
            "",
            "there is no reading in this file",
            "`railtrue sheet PLAN` prints an empty sheet for this machine.",
        ));
    }
    state.check(&points, &readings, &mut problems);
    if problems.is_empty() {
        return Ok(Survey { file: file.into(), state, points, readings, understood });
    }
    problems.sort_by_key(|p| (p.line, p.column));
    Err(Problems { file: file.into(), list: problems })
}

fn problem(line: usize, column: usize, key: &str, value: &str, what: &str, advice: &str) -> Problem {
    Problem { line, column, key: key.into(), value: value.into(), what: what.into(), advice: advice.into() }
}
