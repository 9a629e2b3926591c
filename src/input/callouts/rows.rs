//! Rows of a table of callouts to callouts.

use super::amount::parts;
use super::controls::{ELSEWHERE, GENERAL, OTHER_WORDS, TEMPERATURE, control_of, spec_of, words};
use super::{Callout, Made, Per};
use crate::input::ErrorKind;
use crate::input::classes::Form;
use crate::input::nearest;
use crate::input::plan::Frame;
use crate::input::problem::Problem;
use crate::input::survey::numbers::{Decimal, decimal_of};
use crate::input::survey::text::{Cell, Row, Sheet};

/// Columns of the table; the first three must be there.
pub const COLUMNS: [&str; 11] =
    ["item", "controls", "value", "unit", "form", "per", "datum", "made", "shimmed_after", "measured_by", "feeds"];

/// What stands in each column.
pub const COLUMN_MEANINGS: [&str; 11] = [
    "number or name of the callout on the drawing",
    "what it controls; general for a title block's tolerance, temperature for that of the sizes (ISO 1), elsewhere for errors that another document controls",
    "0.15 or ±0.15; two limits as +0.3/-0.1; for each length as 0.02/300 (ISO 1101); for a tilt the height over the seat's width, as 0.02/60; a class of a standard; for elsewhere the other document",
    "mm or um; for angles mrad, mm/m, deg, or mm with 0.02/60",
    "plus_minus (either way) or zone (whole width, ISO 1101)",
    "what it holds for: each or a number (each feature by itself, SZ), cz (all in one combined zone, CZ), one (a single face), all (the one size of the machine); straightness of a row of pads is controlled by cz or one, or by a position to a datum",
    "datum letters of a position or orientation",
    "machined (spread as planned), welded (evenly spread), set (evenly spread, none outside); as planned where empty",
    "yes where shims, slots or tapered shims of the plan's [correction] take it out at installation; else no",
    "who measures what was set",
    "keys of the plan's [errors] that it controls instead of the usual ones; none where it controls nothing that is counted; a general tolerance controls only what stands here",
];

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
    let decimal = match decimal_of(values.iter().flat_map(|(_, c)| parts(&c.text))) {
        Ok(decimal) => decimal,
        Err((point, comma)) => {
            let (line, column) =
                values.iter().find(|(_, c)| parts(&c.text).any(|p| p == comma)).map_or((header.line, 1), |(l, c)| (*l, c.column));
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
pub(super) struct Reader<'r> {
    row: &'r Row,
    place: &'r dyn Fn(&str) -> Option<usize>,
    pub(super) frame: &'r Frame,
    pub(super) decimal: Option<Decimal>,
    pub(super) problems: &'r mut Vec<Problem>,
}

/// The mapping of a row.
pub(super) struct Mapping {
    /// What it controls, in small letters.
    pub(super) word: String,
    /// The errors.
    pub(super) feeds: Vec<ErrorKind>,
    /// What a bare number means.
    pub(super) usual: Form,
}

impl<'r> Reader<'r> {
    fn cell(&self, name: &str) -> Option<&'r Cell> {
        (self.place)(name).and_then(|i| self.row.cells.get(i)).filter(|c| !c.text.is_empty())
    }

    pub(super) fn text(&self, name: &str) -> &'r str {
        self.cell(name).map_or("", |c| c.text.as_str())
    }

    pub(super) fn wrong(&mut self, name: &str, what: &str, advice: &str) {
        let (column, value) = self.cell(name).map_or((1, ""), |c| (c.column, c.text.as_str()));
        self.problems.push(problem(self.row.line, column, name, value, what, advice));
    }

    /// The word of a cell, one of `known`; the first where the cell is empty.
    pub(super) fn word(&mut self, name: &str, known: &[&'static str]) -> &'static str {
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
        let controls = self.text("controls").to_string();
        let word = controls.to_lowercase().replace('_', " ");
        let before_feeds = self.problems.len();
        let own = self.feeds();
        let fed = self.problems.len() == before_feeds;
        let fixed = control_of(&word);
        self.check_mapping(&word, fixed.is_some(), own.as_deref());
        let (overridden, feeds_none) = (own.is_some(), own.as_ref().is_some_and(Vec::is_empty));
        let feeds = own.unwrap_or_else(|| fixed.map_or_else(Vec::new, |c| c.feeds.to_vec()));
        let made = match self.word("made", &["", "machined", "welded", "set"]) {
            "machined" => Some(Made::Machined),
            "welded" => Some(Made::Welded),
            "set" => Some(Made::Set),
            _ => None,
        };
        let shimmed_after = self.word("shimmed_after", &["no", "yes"]) == "yes";
        let per = self.per();
        // What an error that is none would be measured in is not known.
        if !fed {
            return None;
        }
        let mapping = Mapping { word, feeds, usual: fixed.map_or(Form::PlusMinus, |c| c.form) };
        let (allowed, written) = self.allowed(&mapping)?;
        let Mapping { word, feeds, .. } = mapping;
        let callout = Callout {
            line: self.row.line,
            item,
            controls,
            is_general: word == GENERAL && !overridden,
            allowed,
            written,
            per,
            datum: self.text("datum").to_string(),
            held_by_datum: fixed.is_some_and(|c| c.held_by_datum) && !overridden,
            made,
            shimmed_after,
            measured_by: self.text("measured_by").to_string(),
            feeds,
            feeds_none,
            overridden,
        };
        self.check_size(&callout);
        (self.problems.len() == before).then_some(callout)
    }

    /// What a row controls must be known, and whether it may name errors.
    fn check_mapping(&mut self, word: &str, fixed: bool, own: Option<&[ErrorKind]>) {
        if word == TEMPERATURE && own.is_some_and(|list| !list.is_empty()) {
            self.wrong("feeds", "a temperature controls no error", "Leave this cell empty; heat is counted from the plan's [temperature].");
        }
        if word == ELSEWHERE && own.is_none_or(<[_]>::is_empty) {
            let advice = "Name the errors that the other document controls, with spaces between their keys.";
            self.wrong("feeds", "it is not said which errors are controlled elsewhere", advice);
        }
        if fixed || OTHER_WORDS.contains(&word) || own.is_some() {
            return;
        }
        let meant = nearest(super::CONTROLS.iter().map(|c| c.word).chain(OTHER_WORDS), word, 0.85);
        let advice = match meant {
            Some(word) => format!("Did you mean \"{word}\"? Or name the errors in the column feeds."),
            None => format!("Write one of: {}; or name the errors in the column feeds.", words()),
        };
        self.wrong("controls", "it is not known what this controls", &advice);
    }

    fn per(&mut self) -> Option<Per> {
        match self.text("per").to_lowercase().as_str() {
            "" => None,
            "each" | "sz" => Some(Per::Each),
            "cz" => Some(Per::Combined),
            "one" => Some(Per::One),
            "all" => Some(Per::All),
            count => match count.trim_end_matches('x').parse() {
                Ok(n) if n > 0 => Some(Per::Count(n)),
                _ => {
                    self.wrong(
                        "per",
                        "it is not known what this holds for",
                        "Write each (SZ), cz (combined zone), one (a single face), all, or how many there are.",
                    );
                    None
                }
            },
        }
    }

    /// Errors that the file itself names, with spaces or + between their keys; an empty list for none.
    fn feeds(&mut self) -> Option<Vec<ErrorKind>> {
        let text = self.text("feeds");
        if text.is_empty() {
            return None;
        }
        if text.eq_ignore_ascii_case("none") {
            return Some(Vec::new());
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
                        None => "Write keys of the plan's [errors] with spaces between them, or none.".into(),
                    };
                    self.wrong("feeds", &format!("{key} is no error of a plan"), &advice);
                }
            }
        }
        Some(list)
    }
}
