//! Lines of a table to readings: each cell is a number in its place or a problem.

use super::columns::{Columns, Role};
use super::head::State;
use super::numbers::{Decimal, decimal_of, number};
use super::text::{Cell, Row, Sheet};
use super::{Place, Point, Problem, Quantity, Reading, problem};
use crate::input::fit::figure;
use crate::input::plan::Plan;

/// Points and readings, and which decimal mark was used.
pub(super) fn read(
    sheet: &Sheet,
    columns: &Columns,
    state: &State,
    plan: &Plan,
    problems: &mut Vec<Problem>,
) -> ((Vec<Point>, Vec<Reading>), Option<String>) {
    let Ok(decimal) = decimal(sheet, columns, state).map_err(|problem| problems.push(problem)) else {
        return ((Vec::new(), Vec::new()), None);
    };
    let table = Table { columns, state, plan, decimal };
    let (mut points, mut readings) = (Vec::new(), Vec::new());
    let headings = sheet.header.as_ref().map_or(usize::MAX, |h| h.cells.len());
    for row in &sheet.rows {
        if problems.len() >= MOST_PROBLEMS {
            break;
        }
        if let Some(cell) =
            row.cells.iter().find(|c| c.text.contains(sheet.separator) && c.text.matches(sheet.separator).count() + 1 >= headings)
        {
            let advice = "A quote that is not closed makes one cell of a whole line; take it out.";
            problems.push(problem(row.line, cell.column, "", &cell.text, "this cell holds a whole line", advice));
            continue;
        }
        if let Some(extra) = row.cells.iter().skip(headings).find(|c| !c.text.is_empty()) {
            let advice = "A decimal comma between columns that commas separate must stand in quotes, or save the file with semicolons.";
            problems.push(problem(row.line, extra.column, "", &extra.text, "this line has more cells than there are headings", advice));
            continue;
        }
        table.row(row, &mut points, &mut readings, problems);
    }
    let said = decimal.map(|d| format!("decimal {}", if d == Decimal::Point { "point" } else { "comma" }));
    ((points, readings), said)
}

/// No coordinate is larger, even of a state's survey grid in mm: beyond it the digits of a rail are lost.
const FARTHEST: f64 = 1e10;

/// Problems that are collected of one file.
const MOST_PROBLEMS: usize = 500;

/// True for what people write where nothing was read: nothing, dashes, n/a, #N/A, NaN.
fn is_missing(cell: &str) -> bool {
    let dashes = cell.chars().all(|c| matches!(c, '-' | '\u{2012}'..='\u{2015}' | '\u{2212}' | ' '));
    dashes || ["n/a", "#n/a", "n.a.", "nan", "#nv"].contains(&cell.to_lowercase().as_str())
}

/// A gauge farther from the span than this share of it is in another unit, or a slip of the pen.
const FARTHEST_GAUGE: f64 = 0.1;

const NUMBERS: [Role; 12] = [
    Role::Station,
    Role::X,
    Role::Y,
    Role::Z,
    Role::Lateral,
    Role::Vertical,
    Role::CrossLevel,
    Role::CrossLevelA,
    Role::CrossLevelB,
    Role::Gauge,
    Role::Height,
    Role::Uncertainty,
];

/// The decimal mark, or the first cell that contradicts the others.
fn decimal(sheet: &Sheet, columns: &Columns, state: &State) -> Result<Option<Decimal>, Problem> {
    if state.decimal.is_some() {
        return Ok(state.decimal);
    }
    let used: Vec<usize> = NUMBERS.iter().filter_map(|r| columns.at(*r)).map(|(i, _, _)| i).collect();
    let cells = sheet.rows.iter().flat_map(|r| used.iter().filter_map(|&i| r.cells.get(i))).map(|c| c.text.as_str());
    match decimal_of(cells) {
        // Without quotes no comma can stand in a cell of a file that commas separate.
        Ok(None) if sheet.separator == ',' => Ok(Some(Decimal::Point)),
        Ok(found) => Ok(found),
        Err((point, comma)) => {
            let place = |text: &str| {
                let cells = sheet.rows.iter().flat_map(|r| r.cells.iter().map(move |c| (r.line, c)));
                cells.into_iter().find(|(_, c)| c.text == text).map_or((1, 1), |(line, c)| (line, c.column))
            };
            let (p, c) = (place(&point), place(&comma));
            let what = format!("decimal points and decimal commas are mixed: \"{point}\" in line {}, \"{comma}\" in line {}", p.0, c.0);
            let (line, column) = p.max(c);
            Err(problem(line, column, "", "", &what, "Write them all one way, or say which in a head line: # decimal = comma"))
        }
    }
}

struct Table<'t> {
    columns: &'t Columns,
    state: &'t State,
    plan: &'t Plan,
    decimal: Option<Decimal>,
}

impl Table<'_> {
    fn cell<'r>(&self, row: &'r Row, role: Role) -> Option<(&'r Cell, &str, f64)> {
        let (at, heading, factor) = self.columns.at(role)?;
        row.cells.get(at).filter(|c| !is_missing(&c.text)).map(|c| (c, heading, factor))
    }

    /// The number in a column, in mm or rad; nothing where the cell is empty or wrong.
    fn number(&self, row: &Row, role: Role, problems: &mut Vec<Problem>) -> Option<(f64, Place)> {
        let (cell, heading, factor) = self.cell(row, role)?;
        match number(&cell.text, self.decimal) {
            Ok(x) if x.abs() > FARTHEST => {
                problems.push(problem(row.line, cell.column, heading, &cell.text, "no reading is as large as this", "Check its digits."));
                None
            }
            Ok(x) => Some((x * factor, Place { line: row.line, column: heading.into(), written: cell.text.clone() })),
            Err(what) => {
                let advice = "Expected a number such as -0.12; leave the cell empty where nothing was read.";
                problems.push(problem(row.line, cell.column, heading, &cell.text, what, advice));
                None
            }
        }
    }

    fn rail(&self, row: &Row, problems: &mut Vec<Problem>) -> Option<usize> {
        let by_pad = self.cell(row, Role::Pad).and_then(|(cell, heading, _)| self.pad(&cell.text).0.map(|rail| (rail, cell, heading)));
        let Some((cell, heading, _)) = self.cell(row, Role::Rail) else { return by_pad.map(|(rail, _, _)| rail) };
        let word = cell.text.to_lowercase();
        let bare = word.strip_prefix("rail").map_or(word.as_str(), |rest| rest.trim_start_matches([' ', '_', '-']));
        let found = self.state.rails.iter().position(|names| names.iter().any(|n| *n == word || n == bare));
        if found.is_none() {
            let advice = "Name the rails A and B, or say what the file calls them in head lines: # rail_a = left";
            problems.push(problem(row.line, cell.column, heading, &cell.text, "expected: rail A or B", advice));
        }
        if let (Some(rail), Some((of_pad, cell, heading))) = (found, by_pad)
            && rail != of_pad
        {
            let advice = "The pad's name and the column of the rail must say the same.";
            problems.push(problem(row.line, cell.column, heading, &cell.text, "this pad is of the other rail", advice));
        }
        found
    }

    /// Rail and number of a pad written as 3, A3, a-3 or B 14.
    fn pad(&self, text: &str) -> (Option<usize>, Option<usize>) {
        let word = text.to_lowercase();
        let digits = word.trim_start_matches(|c: char| !c.is_ascii_digit());
        let name = word[..word.len() - digits.len()].trim_end_matches([' ', '-', '_', '.']);
        let rail = self.state.rails.iter().position(|names| names.iter().any(|n| n == name));
        let number = digits.parse().ok().filter(|_| name.is_empty() && digits.len() == word.len() || rail.is_some());
        (rail, number)
    }

    /// Where along the rails: station, or the pad's place.
    fn station(&self, row: &Row, problems: &mut Vec<Problem>) -> Option<f64> {
        let anchors = &self.plan.frame.anchors_x_mm;
        let role = if !self.columns.coordinates() && self.columns.at(Role::Station).is_none() { Role::X } else { Role::Station };
        if let Some((x, place)) = self.number(row, role, problems) {
            let x = x + self.state.station_zero_mm.unwrap_or(0.0);
            let slack = (anchors[anchors.len() - 1] - anchors[0]) / (anchors.len() - 1) as f64;
            if !(x >= anchors[0] - slack && x <= anchors[anchors.len() - 1] + slack) {
                let what = format!("the rails run from {} to {} mm", figure(anchors[0]), figure(anchors[anchors.len() - 1]));
                let advice = "Stations count along the rails in the plan's x. Check the unit, or a digit too many.";
                problems.push(problem(row.line, 1, &place.column, &place.written, &what, advice));
                return None;
            }
            return Some(x);
        }
        let (cell, heading, _) = self.cell(row, Role::Pad)?;
        let number = self.pad(&cell.text).1.filter(|n| (1..=anchors.len()).contains(n));
        if number.is_none() {
            let what = format!("expected: a pad from 1 to {}", anchors.len());
            problems.push(problem(row.line, cell.column, heading, &cell.text, &what, "Pads are numbered from 1 along the rails."));
        }
        number.map(|n| anchors[n - 1])
    }

    fn row(&self, row: &Row, points: &mut Vec<Point>, readings: &mut Vec<Reading>, problems: &mut Vec<Problem>) {
        let before = problems.len();
        let x_mm = self.station(row, problems);
        let own = self.number(row, Role::Uncertainty, problems);
        if let Some((u, place)) = own.as_ref().filter(|(u, _)| *u <= 0.0) {
            problems.push(problem(
                row.line,
                1,
                &place.column,
                &place.written,
                "an uncertainty must be more than 0",
                &format!("A standard uncertainty (k = 1) in mm, such as 0.02; here stands {}.", figure(*u)),
            ));
        }
        let own = own.map(|(u, _)| u);
        let values: Vec<(Quantity, Option<usize>, f64, Place)> = [
            (Role::Lateral, Quantity::Lateral, None),
            (Role::Vertical, Quantity::Vertical, None),
            (Role::CrossLevel, Quantity::CrossLevel, None),
            (Role::CrossLevelA, Quantity::CrossLevel, Some(0)),
            (Role::CrossLevelB, Quantity::CrossLevel, Some(1)),
            (Role::Gauge, Quantity::Gauge, None),
            (Role::Height, Quantity::Height, None),
        ]
        .into_iter()
        .filter_map(|(role, quantity, rail)| self.number(row, role, problems).map(|(v, place)| (quantity, rail, v, place)))
        .collect();
        let xyz = if self.columns.coordinates() {
            [Role::X, Role::Y, Role::Z].map(|r| self.number(row, r, problems))
        } else {
            [None, None, None]
        };
        let of_rail = |q: Quantity| matches!(q, Quantity::Lateral | Quantity::Vertical | Quantity::CrossLevel);
        let needs_rail = xyz.iter().any(Option::is_some) || values.iter().any(|(q, rail, _, _)| rail.is_none() && of_rail(*q));
        let rail = if needs_rail { self.rail(row, problems) } else { None };
        if needs_rail && rail.is_none() && problems.len() == before {
            problems.push(problem(
                row.line,
                1,
                "rail",
                "",
                "the rail is missing; expected: A or B",
                "A lateral, vertical or cross-level reading and a point belong to one rail.",
            ));
        }
        if !values.is_empty() && x_mm.is_none() && problems.len() == before {
            problems.push(problem(
                row.line,
                1,
                "station",
                "",
                "the station is missing",
                "Give the place along the rails in mm, or the pad's number.",
            ));
        }
        match xyz {
            [None, None, None] => {}
            [Some((x, place)), Some((y, _)), Some((z, _))] => {
                if let Some(rail) = rail {
                    points.push(Point { place, rail, xyz_mm: self.state.oriented([x, y, z]), x_mm, uncertainty_mm: own });
                }
            }
            _ if problems.len() > before => {}
            _ => problems.push(problem(
                row.line,
                1,
                "",
                "",
                "a coordinate is missing",
                "A point needs x, y and z; leave all three empty where nothing was read.",
            )),
        }
        let Some(x_mm) = x_mm else { return };
        for (quantity, of, value, place) in values {
            let rail = if of_rail(quantity) { of.or(rail) } else { None };
            if of_rail(quantity) && rail.is_none() {
                continue;
            }
            let span = self.plan.frame.span_mm;
            if quantity == Quantity::Gauge && !((value - span).abs() <= FARTHEST_GAUGE * span) {
                let what = format!("the rails are {} mm apart by the plan, and here stands {} mm", figure(span), figure(value));
                let advice = "Gauge is the distance between the rails as it is. Check the unit, or a digit too many.";
                problems.push(problem(place.line, 1, &place.column, &place.written, &what, advice));
                continue;
            }
            let value = if quantity == Quantity::Gauge { value - span } else { value };
            let uncertainty = if quantity == Quantity::CrossLevel { None } else { own };
            readings.push(Reading { place, quantity, rail, x_mm, value, uncertainty });
        }
    }
}
