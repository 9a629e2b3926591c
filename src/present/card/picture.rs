//! The card as a picture: the same parts as the page, set by hand.

use plotters::style::text_anchor::HPos;

use super::content::Content;
use super::pen::Pen;
use super::sketch::{self, paint};
use crate::present::CAUTIONS;
use crate::present::figure::{FigureError, WIDTH, draw};

const LEFT: f64 = 30.0;
const RIGHT: f64 = WIDTH as f64 - 30.0;
/// Height of a line of small text, pixels.
const LINE: f64 = 20.0;
/// Size of small text, pixels.
const SMALL: u32 = 15;

/// What is put on the picture, with the place of its top.
enum Part {
    Words { x: f64, words: String, size: u32, bold: bool, side: HPos },
    Rule { from: f64, to: f64, heavy: bool },
    Sketch,
}

/// Parts from top to bottom.
#[derive(Default)]
struct Layout {
    parts: Vec<(f64, Part)>,
    y: f64,
}

impl Layout {
    fn put(&mut self, x: f64, words: impl Into<String>, size: u32, bold: bool, side: HPos) {
        self.parts.push((self.y, Part::Words { x, words: words.into(), size, bold, side }));
    }

    fn rule(&mut self, from: f64, to: f64, heavy: bool) {
        self.parts.push((self.y - LINE / 2.0, Part::Rule { from, to, heavy }));
    }

    /// Words broken into lines that fit a width; leaves the place below them.
    fn wrapped(&mut self, x: f64, width: f64, words: &str, bold: bool) {
        for line in lines(words, width) {
            self.put(x, line, SMALL, bold, HPos::Left);
            self.y += LINE;
        }
    }

    fn heading(&mut self, words: &str) {
        self.y += 14.0;
        self.put(LEFT, words, 18, true, HPos::Left);
        self.y += 26.0;
    }
}

/// Breaks words into lines; a character of the typeface is 0.46 of its size wide on average, 0.5 with a reserve.
fn lines(words: &str, width: f64) -> Vec<String> {
    let most = (width / (0.5 * f64::from(SMALL))) as usize;
    let mut lines = vec![String::new()];
    for word in words.split_whitespace() {
        let last = lines.len() - 1;
        let length = lines[last].chars().count();
        if length > 0 && length + 1 + word.chars().count() > most {
            lines.push(word.into());
        } else {
            let space = if length > 0 { " " } else { "" };
            lines[last].push_str(space);
            lines[last].push_str(word);
        }
    }
    lines
}

pub(super) fn svg(card: &Content) -> Result<String, FigureError> {
    let mut page = Layout { y: 34.0, ..Layout::default() };
    page.put(LEFT, "Installation card", 26, true, HPos::Left);
    page.y += 30.0;
    page.put(LEFT, card.machine.as_str(), 17, false, HPos::Left);
    page.y += 12.0;
    page.heading("What to set: all of it at once");
    for (_, text) in &card.statements {
        page.wrapped(LEFT, RIGHT - LEFT, text, false);
        page.y += 4.0;
    }
    page.y += 8.0;
    set_table(&mut page, card);
    page.heading("What each error is");
    page.y -= 12.0;
    page.parts.push((page.y, Part::Sketch));
    page.y += f64::from(sketch::HEIGHT) + 6.0;
    if !card.made.is_empty() {
        page.heading("What must be made so: the tolerances above hold only with these");
        made_table(&mut page, card);
    }
    page.heading("Conditions");
    facts(&mut page, &card.conditions);
    page.heading("Cautions");
    page.wrapped(LEFT, RIGHT - LEFT, CAUTIONS, false);
    page.heading("Where the numbers come from");
    facts(&mut page, &card.origin);
    draw((page.y + 16.0) as u32, "Installation card: the tolerances that hold all at once", |canvas| {
        let pen = Pen { canvas, corner: (0.0, 0.0) };
        page.parts.iter().try_for_each(|(y, part)| match part {
            Part::Words { x, words, size, bold, side } => pen.words(words, (*x, *y), *size, *bold, *side),
            Part::Rule { from, to, heavy } => pen.rule((*from, *y), (*to, *y), if *heavy { 2.0 } else { 0.5 }),
            Part::Sketch => paint(pen.moved((0.0, *y)), &|kind| card.number(kind)),
        })
    })
}

/// Places of the columns of values, from the right.
fn columns(count: usize, right: f64, pitch: f64) -> Vec<f64> {
    (0..count).map(|i| right - (count - 1 - i) as f64 * pitch).collect()
}

fn header(page: &mut Layout, card: &Content, places: &[f64]) {
    for (x, name) in places.iter().zip(&card.columns) {
        page.put(*x, name.as_str(), SMALL, true, HPos::Right);
    }
}

fn cells(page: &mut Layout, values: &[Option<String>], places: &[f64]) {
    for (x, value) in places.iter().zip(values) {
        page.put(*x, value.as_deref().unwrap_or("no set"), SMALL + 1, value.is_some(), HPos::Right);
    }
}

fn set_table(page: &mut Layout, card: &Content) {
    let places = columns(card.columns.len(), RIGHT, 210.0);
    page.put(LEFT, "no.", SMALL, true, HPos::Left);
    page.put(LEFT + 44.0, "error", SMALL, true, HPos::Left);
    header(page, card, &places);
    page.y += LINE + 4.0;
    page.rule(LEFT, RIGHT, true);
    for row in &card.rows {
        page.put(LEFT, row.number.to_string(), SMALL, true, HPos::Left);
        page.put(LEFT + 44.0, format!("{}, {}", row.set.label, row.set.unit), SMALL, true, HPos::Left);
        cells(page, &row.set.cells, &places);
        page.y += LINE;
        page.wrapped(LEFT + 44.0, RIGHT - LEFT - 44.0, row.measured, false);
        page.y += 4.0;
        page.rule(LEFT, RIGHT, false);
    }
    page.wrapped(LEFT, RIGHT - LEFT, "± about nominal; a single value is a whole zone", false);
}

fn made_table(page: &mut Layout, card: &Content) {
    let places = columns(card.columns.len(), RIGHT, 210.0);
    page.put(LEFT, "made before", SMALL, true, HPos::Left);
    header(page, card, &places);
    page.y += LINE + 4.0;
    page.rule(LEFT, RIGHT, true);
    for row in &card.made {
        page.put(LEFT, format!("{}, {}", row.label, row.unit), SMALL, false, HPos::Left);
        cells(page, &row.cells, &places);
        page.y += LINE + 2.0;
    }
}

fn facts(page: &mut Layout, facts: &[(String, String)]) {
    for (name, value) in facts {
        page.put(LEFT, name.as_str(), SMALL, true, HPos::Left);
        page.wrapped(LEFT + 160.0, RIGHT - LEFT - 160.0, value, false);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_fit_their_width_and_lose_no_word() {
        let text = "one two three four five six seven eight nine ten";
        let broken = lines(text, 200.0);
        assert!(broken.len() > 1 && broken.iter().all(|l| l.chars().count() <= 26));
        assert_eq!(broken.join(" "), text);
    }
}
