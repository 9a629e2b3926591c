//! The value of a row with its unit and form: what the callout allows.

use super::amount::{Amount, amount};
use super::controls::{ELSEWHERE, GENERAL, TEMPERATURE};
use super::limits::{has_a_length, limits_for};
use super::rows::{Mapping, Reader};
use super::{Allowed, Callout, Shape};
use crate::input::ErrorKind;
use crate::input::classes::{Form, resolve};
use crate::input::plan::Frame;
use crate::input::sources::{ErrorSpec, ZoneMeaning};
use crate::units::MRAD;

/// Largest tolerance, mm or mrad, as in a plan.
const LARGEST: f64 = 100.0;

/// Smallest tolerance, mm or mrad: below it nothing is made or measured.
const SMALLEST: f64 = 1e-6;

/// Longest name of another document, in characters.
const LONGEST_PLACE: usize = 200;

fn specs(feeds: &[ErrorKind]) -> impl Iterator<Item = &'static ErrorSpec> {
    ErrorKind::ALL.iter().filter(move |s| feeds.contains(&s.kind))
}

impl Reader<'_> {
    /// What a row allows, and how it is written.
    pub(super) fn allowed(&mut self, mapping: &Mapping) -> Option<(Allowed, String)> {
        let text = self.text("value");
        let (word, feeds) = (mapping.word.as_str(), mapping.feeds.as_slice());
        if text.is_empty() {
            let (what, advice) = match word {
                ELSEWHERE => ("it is not said where these errors are controlled", "Name the document, such as: installation card."),
                _ => ("this callout allows nothing that is written", "Write a number, or a class such as ISO 13920-BF."),
            };
            self.wrong("value", what, advice);
            return None;
        }
        if word == ELSEWHERE {
            if text.chars().count() > LONGEST_PLACE {
                self.wrong("value", &format!("this name is longer than {LONGEST_PLACE} characters"), "Name the other document.");
            }
            return Some((Allowed::In(text.into()), text.into()));
        }
        let letters = text.chars().any(|c| c.is_alphabetic() && !matches!(c, 'e' | 'E'));
        if letters && (word == TEMPERATURE || text.starts_with(|c: char| c.is_ascii_digit() || "±+-.".contains(c))) {
            self.wrong("value", "this is no number", "A number stands alone: its unit stands in the column unit.");
            return None;
        }
        if letters {
            self.check_class(word, feeds, text);
            return Some((Allowed::Class(text.into()), text.into()));
        }
        if word == GENERAL && feeds.is_empty() {
            self.wrong("value", "a general tolerance is a class of a standard", "Write one such as ISO 13920-BF or ISO 2768-mK.");
            return None;
        }
        let read = match amount(text, self.decimal) {
            Ok(read) => read,
            Err(what) => {
                self.wrong(
                    "value",
                    what,
                    "Write a number, two limits as +0.3/-0.1, 0.02/300 for each length, or a class such as ISO 13920-BF.",
                );
                return None;
            }
        };
        match (word, read) {
            (TEMPERATURE, Amount::One(value)) => {
                if !(-60.0..=150.0).contains(&value) {
                    self.wrong("value", "the drawing's temperature must lie between -60 and 150 °C", "It is 20 by ISO 1.");
                }
                Some((Allowed::Temperature(value), format!("{text} °C")))
            }
            (TEMPERATURE, _) => {
                self.wrong("value", "this is no temperature", "Write one number, in °C.");
                None
            }
            _ => self.numbers(mapping, text, read),
        }
    }

    /// Numbers in the row's unit to mm or rad.
    fn numbers(&mut self, mapping: &Mapping, text: &str, read: Amount) -> Option<(Allowed, String)> {
        let form = match self.word("form", &["", "plus_minus", "zone"]) {
            "plus_minus" => Form::PlusMinus,
            "zone" => Form::Zone,
            _ if text.starts_with('±') || matches!(read, Amount::Limits(..)) => Form::PlusMinus,
            _ => mapping.usual,
        };
        let angles = specs(&mapping.feeds).filter(|s| s.angle).count();
        if angles != 0 && angles != mapping.feeds.len() {
            self.wrong("feeds", "these errors are partly lengths and partly angles", "Split the callout.");
            return None;
        }
        let per_length = matches!(read, Amount::PerLength(..));
        let (unit, factor) = self.unit(angles > 0, per_length)?;
        if per_length && !specs(&mapping.feeds).all(has_a_length) {
            self.wrong("value", "what this controls has no length that a part of could be meant", "Give one number for the whole.");
            return None;
        }
        if matches!(read, Amount::Limits(..)) && (form == Form::Zone || specs(&mapping.feeds).any(|s| s.zone == ZoneMeaning::PeakToValley))
        {
            self.wrong("value", "a zone has one width, not two limits", "Give its whole width.");
            return None;
        }
        let shape = if form == Form::Zone { Shape::Zone } else { Shape::Limits };
        let about = |v: f64| if shape == Shape::Zone { (0.0, v) } else { (-v, v) };
        let ((lower, upper), shape, over_mm) = match read {
            Amount::One(v) => (about(v), shape, None),
            Amount::Limits(low, high) => ((low, high), shape, None),
            // A height over the seat's width is the tilt of each seat, whichever side is up.
            Amount::PerLength(v, over) if angles > 0 => ((0.0, v / over), Shape::Tilt, None),
            Amount::PerLength(v, over) => (about(v), shape, Some(over)),
        };
        let (lower, upper) = (factor * lower, factor * upper);
        let size = upper.max(-lower) / if angles > 0 { MRAD } else { 1.0 };
        if !(SMALLEST..=LARGEST).contains(&size) {
            let what = format!("a tolerance must lie between {SMALLEST} and {LARGEST}");
            self.wrong("value", &what, "Write the half width (plus_minus) or the whole width (zone), in mm or mrad.");
        }
        let bare = text.trim_start_matches(['±', '+']);
        let written = match (read, form) {
            (Amount::Limits(..), _) => format!("{text} {unit}"),
            (_, Form::PlusMinus) => format!("±{bare} {unit}"),
            (_, Form::Zone) => format!("zone {bare} {unit}"),
        };
        Some((Allowed::Value { lower, upper, shape, over_mm }, written))
    }

    /// The row's unit, and what one of it is in mm or rad.
    fn unit(&mut self, angle: bool, per_length: bool) -> Option<(&'static str, f64)> {
        let text = self.text("unit").to_lowercase();
        let known: &[(&str, &'static str, f64)] = match (angle, per_length) {
            (true, false) => &[
                ("mrad", "mrad", MRAD),
                ("mm/m", "mm/m", MRAD),
                ("deg", "deg", DEGREE),
                ("°", "deg", DEGREE),
                ("um/m", "um/m", MRAD / 1e3),
            ],
            _ => &[("mm", "mm", 1.0), ("um", "um", 1e-3), ("µm", "um", 1e-3), ("μm", "um", 1e-3)],
        };
        let found = if text.is_empty() { known.first() } else { known.iter().find(|k| k.0 == text) };
        if found.is_none() {
            let wanted = known[0].1;
            self.wrong(
                "unit",
                &format!("this callout is in {wanted}"),
                "Lengths are in mm or um, angles in mrad (mm/m) or deg, or a height over a width as 0.02/60 in mm.",
            );
        }
        found.map(|(_, name, factor)| (*name, *factor))
    }

    /// A specific callout's class must have a value for each error; what a general one has none for is found by the review.
    fn check_class(&mut self, word: &str, feeds: &[ErrorKind], text: &str) {
        let general = word == GENERAL;
        let list: Vec<_> = ErrorKind::ALL.iter().filter(|s| if general { !s.angle } else { feeds.contains(&s.kind) }).collect();
        let on = |frame: &Frame| list.iter().map(|s| resolve(text, s, frame)).collect::<Vec<_>>();
        let results = on(self.frame);
        // A table that ends before this machine's lengths is no mistake of the word: it has a value on a short machine.
        let short = Frame { span_mm: 1000.0, anchors_x_mm: vec![0.0, 500.0, 1000.0], ..self.frame.clone() };
        let named = general && results.iter().chain(&on(&short)).any(Result::is_ok);
        let wrong = if named { None } else { results.into_iter().find_map(Result::err) };
        if let Some((what, advice)) = wrong {
            self.wrong("value", &what, &advice);
        }
    }

    /// What a tolerance for a length comes to over the whole row must still be one.
    pub(super) fn check_size(&mut self, callout: &Callout) {
        let Allowed::Value { over_mm: Some(_), .. } = callout.allowed else { return };
        let whole = callout.feeds.iter().filter_map(|k| limits_for(callout, *k, self.frame).ok()).map(|l| l.1).fold(0.0, f64::max);
        if whole > LARGEST {
            let advice = "Give the whole its own tolerance, or a longer part.";
            self.wrong("value", &format!("over the whole length this allows {whole:.0} mm"), advice);
        }
    }
}

/// One degree.
const DEGREE: f64 = std::f64::consts::PI / 180.0;
