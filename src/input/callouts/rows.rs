//! Rows of a table of callouts to callouts.

use super::controls::{GENERAL, TEMPERATURE, control_of, spec_of, words};
use super::{Allowed, Callout, Made};
use crate::input::ErrorKind;
use crate::input::classes::{Form, resolve};
use crate::input::nearest;
use crate::input::plan::Frame;
use crate::input::problem::Problem;
use crate::input::survey::numbers::{Decimal, decimal_of, number};
use crate::input::survey::text::{Cell, Row, Sheet};
use crate::units::MRAD;

/// Columns of the table; the first three must be there.
pub const COLUMNS: [&str; 9] = ["item", "controls", "value", "unit", "form", "per", "made", "shimmed_after", "feeds"];

/// Largest tolerance, mm or mrad, as in a plan.
const LARGEST: f64 = 100.0;

/// Smallest tolerance, mm or mrad: below it nothing is made or measured.
const SMALLEST: f64 = 1e-6;

/// Callouts that one drawing can have; more are no callouts.
const MOST_ROWS: usize = 1000;

pub(super) fn problem(line: usize, column: usize, key: &str, value: &str, what: &str, advice: &str) -> Problem {
    Problem { line, column, key: key.into(), value: value.into(), what: what.into(), advice: advice.into() }
}

/// All callouts; what is wrong goes to `problems`.
pub(super) fn callouts(sheet: &Sheet, frame: &Frame, problems: &mut Vec<Problem>) -> Vec<Callout> {
    let Some(header) = &sheet.header else { return Vec::new() };
    let heads: Vec<String> = header.cells.iter().map(|c| c.text.to_lowercase().replace(' ', "_")).collect();
    columns(header, &heads, problems);
    if !problems.is_empty() {
        return Vec::new();
    }
    let place = |name: &str| heads.iter().position(|h| h == name);
    let value_of = |r: &'_ Row| place("value").and_then(|i| r.cells.get(i).cloned());
    let values: Vec<(usize, Cell)> = sheet.rows.iter().filter_map(|r| Some((r.line, value_of(r)?))).collect();
    let decimal = match decimal_of(values.iter().map(|(_, c)| c.text.trim_start_matches(['±', '+']))) {
        Ok(decimal) => decimal,
        Err((point, comma)) => {
            let (line, column) = values.iter().find(|(_, c)| c.text.ends_with(&comma)).map_or((header.line, 1), |(l, c)| (*l, c.column));
            let what = format!("decimal points and decimal commas are mixed: \"{point}\" and \"{comma}\"");
            problems.push(problem(line, column, "value", "", &what, "Write all numbers one way."));
            return Vec::new();
        }
    };
    // A value such as 0.150 alone tells nothing else than a point, which is what most files have.
    let decimal = decimal.or(Some(Decimal::Point));
    if let Some(row) = sheet.rows.get(MOST_ROWS) {
        let what = format!("this file holds more than {MOST_ROWS} callouts");
        problems.push(problem(row.line, 1, "", "", &what, "Is this the right file? Each line is one callout of a drawing."));
        return Vec::new();
    }
    let mut list: Vec<Callout> = Vec::new();
    for row in sheet.rows.iter().filter(|r| r.cells.iter().any(|c| !c.text.is_empty())) {
        if let Some(extra) = row.cells.iter().skip(heads.len()).find(|c| !c.text.is_empty()) {
            let advice = "A decimal comma or a comma in a name must stand in quotes, or save the file with semicolons.";
            problems.push(problem(row.line, extra.column, "", &extra.text, "this line has more cells than there are headings", advice));
            continue;
        }
        let mut reader = Reader { row, place: &place, frame, decimal, problems };
        if let Some(callout) = reader.callout() {
            if list.iter().any(|c| c.item == callout.item) {
                problems.push(problem(
                    row.line,
                    1,
                    "item",
                    &callout.item,
                    "this item stands twice",
                    "Give each callout its own number or name.",
                ));
            }
            list.push(callout);
        }
    }
    list
}

/// Every column must be known, and the first three of them there.
fn columns(header: &Row, heads: &[String], problems: &mut Vec<Problem>) {
    let wanted = &COLUMNS[..3];
    if !heads.iter().any(|h| wanted.iter().any(|w| nearest([*w].into_iter(), h, 0.85).is_some())) {
        let advice = format!("Its first line names the columns: {}. Is this the right file?", COLUMNS.join(", "));
        problems.push(problem(header.line, 1, "", "", "this is no table of callouts", &advice));
        return;
    }
    let mut meant = Vec::new();
    for (cell, head) in header.cells.iter().zip(heads).filter(|(_, h)| !h.is_empty() && !COLUMNS.contains(&h.as_str())) {
        let near = nearest(COLUMNS.into_iter(), head, 0.8);
        let advice = near.map_or_else(|| format!("Columns are {}.", COLUMNS.join(", ")), |near| format!("Did you mean {near}?"));
        meant.extend(near);
        problems.push(problem(header.line, cell.column, &cell.text, "", "this column is not known", &advice));
    }
    for name in wanted.iter().filter(|w| !meant.contains(*w)) {
        let count = heads.iter().filter(|h| h == name).count();
        if count != 1 {
            let what = if count == 0 { "this column is missing" } else { "this column stands twice" };
            problems.push(problem(header.line, 1, name, "", what, "item, controls and value must stand once each."));
        }
    }
}

/// Longest name of a callout, in characters.
const LONGEST_ITEM: usize = 200;

/// One row with what its cells are read by.
struct Reader<'r> {
    row: &'r Row,
    place: &'r dyn Fn(&str) -> Option<usize>,
    frame: &'r Frame,
    decimal: Option<Decimal>,
    problems: &'r mut Vec<Problem>,
}

impl<'r> Reader<'r> {
    fn cell(&self, name: &str) -> Option<&'r Cell> {
        (self.place)(name).and_then(|i| self.row.cells.get(i)).filter(|c| !c.text.is_empty())
    }

    fn text(&self, name: &str) -> &'r str {
        self.cell(name).map_or("", |c| c.text.as_str())
    }

    fn wrong(&mut self, name: &str, what: &str, advice: &str) {
        let (column, value) = self.cell(name).map_or((1, ""), |c| (c.column, c.text.as_str()));
        self.problems.push(problem(self.row.line, column, name, value, what, advice));
    }

    /// The word of a cell, one of `known`; the first where the cell is empty.
    fn word(&mut self, name: &str, known: &[&'static str]) -> &'static str {
        let text = self.text(name).to_lowercase();
        if text.is_empty() {
            return known[0];
        }
        known.iter().find(|k| **k == text).copied().unwrap_or_else(|| {
            let words: Vec<&str> = known.iter().copied().filter(|k| !k.is_empty()).collect();
            self.wrong(name, "this word is not known here", &format!("Write {}, or leave the cell empty.", words.join(" or ")));
            known[0]
        })
    }

    fn callout(&mut self) -> Option<Callout> {
        let before = self.problems.len();
        let item = self.text("item").to_string();
        if item.is_empty() {
            self.wrong("item", "this callout has no number or name", "Write what the drawing calls it.");
        }
        if item.chars().count() > LONGEST_ITEM {
            self.wrong("item", &format!("this name is longer than {LONGEST_ITEM} characters"), "Write what the drawing calls it.");
        }
        let controls = self.text("controls").to_lowercase().replace('_', " ");
        let before_feeds = self.problems.len();
        let own = self.feeds();
        let fed = self.problems.len() == before_feeds;
        let fixed = control_of(&controls);
        let known = fixed.is_some() || controls == GENERAL || controls == TEMPERATURE;
        if !known && own.is_none() {
            let meant = nearest(super::CONTROLS.iter().map(|c| c.word).chain([GENERAL, TEMPERATURE]), &controls, 0.85);
            let advice = match meant {
                Some(word) => format!("Did you mean \"{word}\"? Or name the errors in the column feeds."),
                None => format!("Write one of: {}; or name the errors in the column feeds.", words()),
            };
            self.wrong("controls", "it is not known what this controls", &advice);
        }
        let overridden = own.is_some();
        let feeds = own.unwrap_or_else(|| fixed.map_or_else(Vec::new, |c| c.feeds.to_vec()));
        let made = match self.word("made", &["machined", "welded", "set"]) {
            "welded" => Made::Welded,
            "set" => Made::Set,
            _ => Made::Machined,
        };
        let shimmed_after = self.word("shimmed_after", &["no", "yes"]) == "yes";
        let per = self.per();
        // What an error that is none would be measured in is not known.
        if !fed {
            return None;
        }
        let (allowed, written) = self.allowed(&controls, &feeds, fixed.map_or(Form::PlusMinus, |c| c.form))?;
        let line = self.row.line;
        (self.problems.len() == before).then_some(Callout {
            line,
            item,
            controls,
            allowed,
            written,
            per,
            made,
            shimmed_after,
            feeds,
            overridden,
        })
    }

    fn per(&mut self) -> String {
        let per = self.text("per").to_lowercase();
        if per.is_empty() {
            return "each".into();
        }
        if per != "each" && per != "all" && per.parse::<u32>().is_err() {
            self.wrong("per", "this is no count", "Write each, all, or how many there are.");
        }
        per
    }

    /// Errors that the file itself names, with spaces or + between their keys.
    fn feeds(&mut self) -> Option<Vec<ErrorKind>> {
        let text = self.text("feeds");
        if text.is_empty() {
            return None;
        }
        let mut list = Vec::new();
        for key in text.split([' ', '+', ',']).filter(|k| !k.is_empty()) {
            match spec_of(key) {
                Some(spec) if list.contains(&spec.kind) => {
                    self.wrong("feeds", &format!("{key} stands twice"), "Name each error once.");
                    break;
                }
                Some(spec) => list.push(spec.kind),
                None => {
                    let advice = match nearest(ErrorKind::ALL.iter().map(|s| s.key), key, 0.8) {
                        Some(meant) => format!("Did you mean {meant}?"),
                        None => "Write keys of the plan's [errors] with spaces between them.".into(),
                    };
                    self.wrong("feeds", &format!("{key} is no error of a plan"), &advice);
                }
            }
        }
        Some(list)
    }

    fn allowed(&mut self, controls: &str, feeds: &[ErrorKind], usual: Form) -> Option<(Allowed, String)> {
        let text = self.text("value");
        if text.is_empty() {
            self.wrong("value", "this callout allows nothing that is written", "Write a number, or a class such as ISO 13920-BF.");
            return None;
        }
        let form = match self.word("form", &["", "plus_minus", "zone"]) {
            "plus_minus" => Form::PlusMinus,
            "zone" => Form::Zone,
            _ if text.starts_with('±') => Form::PlusMinus,
            _ => usual,
        };
        let letters = text.chars().any(|c| c.is_alphabetic() && !matches!(c, 'e' | 'E'));
        if letters && (controls == TEMPERATURE || text.starts_with(|c: char| c.is_ascii_digit() || "±+-.".contains(c))) {
            self.wrong("value", "this is no number", "A number stands alone: its unit stands in the column unit.");
            return None;
        }
        if letters {
            self.check_class(controls, feeds, text);
            return Some((Allowed::Class(text.into()), text.into()));
        }
        if controls == GENERAL && feeds.is_empty() {
            self.wrong("value", "a general tolerance is a class of a standard", "Write one such as ISO 13920-BF or ISO 2768-mK.");
            return None;
        }
        let bare = text.trim_start_matches(['±', '+']);
        let value = match number(bare, self.decimal) {
            Ok(value) => value,
            Err(what) => {
                self.wrong("value", what, "Write a number, or a class such as ISO 13920-BF.");
                return None;
            }
        };
        if controls == TEMPERATURE {
            if !(-60.0..=150.0).contains(&value) {
                self.wrong("value", "the drawing's temperature must lie between -60 and 150 °C", "It is 20 by ISO 1.");
            }
            return Some((Allowed::Value { value, form }, format!("{bare} °C")));
        }
        if !(SMALLEST..=LARGEST).contains(&value) {
            let what = format!("a tolerance must lie between {SMALLEST} and {LARGEST}");
            self.wrong("value", &what, "Write the half width (plus_minus) or the whole width (zone), in mm or mrad.");
        }
        let angles = feeds.iter().filter(|k| is_angle(**k)).count();
        if angles != 0 && angles != feeds.len() {
            self.wrong("feeds", "these errors are partly lengths and partly angles", "Split the callout.");
            return None;
        }
        let wanted = if angles > 0 { "mrad" } else { "mm" };
        // mm/m is mrad.
        let unit = self.text("unit").to_lowercase().replace("mm/m", "mrad");
        if !unit.is_empty() && unit != wanted {
            self.wrong("unit", &format!("this callout is in {wanted}"), "Lengths are in mm, angles in mrad (mm/m).");
        }
        let sign = if form == Form::PlusMinus { "±" } else { "zone " };
        let scale = if angles > 0 { MRAD } else { 1.0 };
        Some((Allowed::Value { value: value * scale, form }, format!("{sign}{bare} {wanted}")))
    }

    /// A specific callout's class must have a value for each error; a general one for some.
    fn check_class(&mut self, controls: &str, feeds: &[ErrorKind], text: &str) {
        let general = controls == GENERAL && feeds.is_empty();
        let specs = ErrorKind::ALL.iter().filter(|s| if general { !s.angle } else { feeds.contains(&s.kind) });
        let results: Vec<_> = specs.map(|s| resolve(text, s, self.frame)).collect();
        let failed = if general && results.iter().any(Result::is_ok) { None } else { results.into_iter().find_map(Result::err) };
        if let Some((what, advice)) = failed {
            self.wrong("value", &what, &advice);
        }
    }
}

fn is_angle(kind: ErrorKind) -> bool {
    ErrorKind::ALL.iter().any(|s| s.kind == kind && s.angle)
}
