//! Tolerance classes of standards as the source of a tolerance: a class word and a nominal length to a number in mm.
//!
//! A class stands for an error only where the standard's quantity means the same thing as the error.

mod crane_tracks;
mod general;
mod grades;
mod steps;
mod word;

pub use crate::errors::Form;
pub use word::resolve;

use super::ErrorKind;
use super::frame::Frame;

/// How sure a tabled value is. None was read in the standard itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Sure {
    /// Seen in a published secondary copy of the table.
    Seen,
    /// From memory.
    Memory,
}

impl Sure {
    /// In words, for tables.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Seen => "seen in a secondary copy",
            Self::Memory => "from memory: check against the standard",
        }
    }
}

/// Which length of the machine a table is entered with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Nominal {
    /// Distance between the rails.
    Span,
    /// From the first to the last anchor.
    Rail,
}

/// One quantity of one standard that means the same as some errors of a plan.
#[derive(Debug)]
pub struct Rule {
    /// The standard, as in "ISO 13920".
    pub standard: &'static str,
    /// Its edition, and what is known about it.
    pub edition: &'static str,
    /// What the standard limits.
    pub quantity: &'static str,
    /// Words of its classes, the finest first.
    pub classes: &'static [&'static str],
    /// What stands behind a class word ("" or " in operation").
    pub suffix: &'static str,
    /// The errors that it may stand for.
    pub errors: &'static [ErrorKind],
    /// The length that the table is entered with.
    pub nominal: Nominal,
    /// How it limits.
    pub form: Form,
    /// Value in mm and how sure it is, for the number of a class and a nominal length in mm.
    pub value: fn(usize, f64) -> Result<(f64, Sure), String>,
}

/// All rules.
pub const RULES: [&Rule; 12] = [
    &crane_tracks::SPAN,
    &crane_tracks::LATERAL,
    &crane_tracks::VERTICAL,
    &crane_tracks::HEIGHT,
    &crane_tracks::SPAN_IN_OPERATION,
    &crane_tracks::LATERAL_IN_OPERATION,
    &crane_tracks::HEIGHT_IN_OPERATION,
    &grades::GRADES,
    &general::LINEAR_MACHINED,
    &general::STRAIGHT_MACHINED,
    &general::LINEAR_WELDED,
    &general::FORM_WELDED,
];

/// A class made a number for one error of one machine.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct ClassValue {
    /// As it would be written in a plan, such as "ISO 13920 B".
    pub class: String,
    /// Edition of the standard.
    pub edition: &'static str,
    /// What the standard limits.
    pub quantity: &'static str,
    /// The length that the table was entered with, mm.
    pub nominal_mm: f64,
    /// The value, mm: either way or total width, by `form`.
    pub tolerance_mm: f64,
    /// How it limits.
    pub form: Form,
    /// How sure the value is.
    pub sure: Sure,
}

impl Rule {
    /// Value of the class of this number for a machine.
    ///
    /// # Errors
    /// The table has no value for the machine's length: why.
    pub fn at(&self, class: usize, frame: &Frame) -> Result<ClassValue, String> {
        let nominal_mm = match self.nominal {
            Nominal::Span => frame.span_mm,
            Nominal::Rail => frame.length_mm(),
        };
        let (tolerance_mm, sure) = (self.value)(class, nominal_mm)?;
        Ok(ClassValue {
            class: format!("{} {}{}", self.standard, self.classes[class], self.suffix),
            edition: self.edition,
            quantity: self.quantity,
            nominal_mm,
            tolerance_mm,
            form: self.form,
            sure,
        })
    }
}

/// The rules that may stand for an error.
pub fn rules_for(kind: ErrorKind) -> impl Iterator<Item = &'static Rule> {
    RULES.into_iter().filter(move |r| r.errors.contains(&kind))
}

/// An error of a plan whose tolerance came from a class.
#[derive(Debug, Clone, PartialEq)]
pub struct Classed {
    /// Which error.
    pub kind: ErrorKind,
    /// The class and its value.
    pub value: ClassValue,
}
