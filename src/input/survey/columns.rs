//! Headings to columns: names as trade and instruments write them, units in the heading, a mapping where they differ.

use super::head::State;
use super::text::{Row, Sheet, clean};
use super::{Problem, problem};
use crate::input::fit::nearest;
use crate::units::MRAD;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Role {
    Rail,
    Pad,
    Station,
    X,
    Y,
    Z,
    Lateral,
    Vertical,
    CrossLevel,
    CrossLevelA,
    CrossLevelB,
    Gauge,
    Height,
    Uncertainty,
}

/// Name that the mapping uses, other headings that are understood, and whether it is a length (with a unit), an angle or neither.
#[rustfmt::skip] // one line a column
const ROLES: [(Role, &str, &[&str], Kind); 14] = [
    (Role::Rail, "rail", &["axis", "side", "line", "schiene"], Kind::Other),
    (Role::Pad, "pad", &["anchor", "no", "nr", "number", "support"], Kind::Other),
    (Role::Station, "station", &["along", "position", "pos", "chainage", "distance"], Kind::Length),
    (Role::X, "x", &["easting"], Kind::Length),
    (Role::Y, "y", &["northing"], Kind::Length),
    (Role::Z, "z", &["elevation"], Kind::Length),
    (Role::Lateral, "lateral", &["dy", "horizontal", "across", "offset"], Kind::Length),
    (Role::Vertical, "vertical", &["dz", "level"], Kind::Length),
    (Role::CrossLevel, "cross_level", &["crosslevel", "cross-level", "cross level", "roll", "cant"], Kind::Angle),
    (Role::CrossLevelA, "cross_level_a", &["cross-level a", "cross level a", "roll_a", "roll a"], Kind::Angle),
    (Role::CrossLevelB, "cross_level_b", &["cross-level b", "cross level b", "roll_b", "roll b"], Kind::Angle),
    (Role::Gauge, "gauge", &["span", "rail distance", "track"], Kind::Length),
    (Role::Height, "height", &["height difference", "height_difference", "dh", "b over a"], Kind::Length),
    (Role::Uncertainty, "u", &["uncertainty", "sigma", "u_mm"], Kind::Length),
];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Length,
    Angle,
    Other,
}

/// The columns of a file that are used.
#[derive(Debug)]
pub(super) struct Columns {
    /// Role, number of the column, its heading, and the factor to mm or rad.
    list: Vec<(Role, usize, String, f64)>,
    ignored: Vec<String>,
    /// Units that stand in a row of their own below the headings.
    units: Vec<String>,
}

/// Headings for a message, the first of very many.
fn first(headings: &[&str]) -> String {
    let short = |h: &&str| if h.chars().count() > 30 { h.chars().take(29).chain(['…']).collect() } else { (*h).to_string() };
    let more = if headings.len() > MOST_HEADINGS { " | …" } else { "" };
    headings.iter().take(MOST_HEADINGS).map(short).collect::<Vec<String>>().join(" | ") + more
}

/// Headings that a message lists.
const MOST_HEADINGS: usize = 12;

impl Columns {
    pub(super) fn read(
        sheet: &Sheet,
        units: Vec<String>,
        mapped: &[(String, String)],
        state: &State,
        problems: &mut Vec<Problem>,
    ) -> Option<Self> {
        let Some(header) = &sheet.header else {
            problems.push(problem(
                1,
                1,
                "",
                "",
                "there is no line of headings",
                "The first line without # names the columns, such as: rail;station;lateral;vertical;cross_level",
            ));
            return None;
        };
        let mut columns = Self { list: Vec::new(), ignored: Vec::new(), units };
        for (name, heading) in mapped {
            columns.map(name, heading, header, state, problems);
        }
        for (i, cell) in header.cells.iter().enumerate().filter(|(_, c)| !c.text.is_empty()) {
            if columns.list.iter().any(|(_, at, _, _)| *at == i) {
                continue;
            }
            let (name, unit) = name_and_unit(&cell.text);
            match ROLES.iter().find(|(_, n, others, _)| *n == name || others.contains(&name.as_str())) {
                Some((role, _, _, _)) if columns.at(*role).is_some() => columns.ignored.push(cell.text.clone()),
                Some((role, _, _, kind)) => columns.add(*role, i, cell, &unit, *kind, header.line, state, problems),
                None => columns.ignored.push(cell.text.clone()),
            }
        }
        let pad = columns.at(Role::Pad).map(|(at, _, _)| at);
        let named = |row: &Row| pad.and_then(|at| row.cells.get(at)).is_some_and(|c| c.text.starts_with(char::is_alphabetic));
        columns.check(header, sheet.rows.iter().any(named), problems);
        Some(columns)
    }

    fn map(&mut self, name: &str, heading: &str, header: &Row, state: &State, problems: &mut Vec<Problem>) {
        let Some((role, _, _, kind)) = ROLES.iter().find(|(_, n, _, _)| *n == name) else {
            let known: Vec<&str> = ROLES.iter().map(|(_, n, _, _)| *n).collect();
            let meant = nearest(known.iter().copied(), name, 0.8)
                .map_or_else(|| format!("Known are {}.", known.join(", ")), |k| format!("Did you mean {k}?"));
            problems.push(problem(header.line, 1, "column", name, "there is no such column to map", &meant));
            return;
        };
        let wanted = clean(heading).to_lowercase();
        match header.cells.iter().position(|c| c.text.to_lowercase() == wanted) {
            Some(i) => {
                let (_, unit) = name_and_unit(&header.cells[i].text);
                self.list.retain(|(r, _, _, _)| r != role);
                self.add(*role, i, &header.cells[i], &unit, *kind, header.line, state, problems);
            }
            None => {
                let all: Vec<&str> = header.cells.iter().map(|c| c.text.as_str()).collect();
                problems.push(problem(
                    header.line,
                    1,
                    name,
                    heading,
                    "no heading reads so",
                    &format!("The headings are: {}.", first(&all)),
                ));
            }
        }
    }

    #[allow(clippy::too_many_arguments, reason = "one call for each way in which a column is found")]
    fn add(
        &mut self,
        role: Role,
        at: usize,
        cell: &super::text::Cell,
        unit: &str,
        kind: Kind,
        line: usize,
        state: &State,
        problems: &mut Vec<Problem>,
    ) {
        let unit = if unit.is_empty() { self.units.get(at).cloned().unwrap_or_default() } else { unit.to_string() };
        let unit = unit.as_str();
        let (factor, expected) = match kind {
            Kind::Other => (Some(1.0), ""),
            Kind::Length => (length(if unit.is_empty() { &state.unit } else { unit }), "mm, m, um or in"),
            Kind::Angle => (angle(if unit.is_empty() { &state.angle_unit } else { unit }), "mm/m, mrad, deg or arcsec"),
        };
        match factor {
            Some(factor) => self.list.push((role, at, cell.text.clone(), factor)),
            None => {
                problems.push(problem(line, cell.column, &cell.text, unit, &format!("this unit is not known; expected: {expected}"), ""))
            }
        }
    }

    fn check(&self, header: &Row, pads_name_rails: bool, problems: &mut Vec<Problem>) {
        let has = |role: Role| self.at(role).is_some();
        let all: Vec<&str> = header.cells.iter().map(|c| c.text.as_str()).collect();
        let advice = format!(
            "The headings are: {}. Name a column by its heading with --column NAME=HEADING, or in a head line: # column.lateral = HEADING",
            first(&all)
        );
        let mut advice = Some(advice);
        let mut say = |what: &str| {
            let advice = advice.take().unwrap_or_else(|| "As above.".into());
            problems.push(problem(header.line, 1, "", "", what, &advice));
        };
        let coordinates = has(Role::Y) || has(Role::Z);
        let values = [Role::Lateral, Role::Vertical, Role::CrossLevel, Role::CrossLevelA, Role::CrossLevelB, Role::Gauge, Role::Height];
        if coordinates && !(has(Role::X) && has(Role::Y) && has(Role::Z)) {
            say("coordinates need all of the columns x, y and z");
        }
        if !coordinates && !values.into_iter().any(has) {
            say("no column holds a reading; expected: x y z, or lateral, vertical, cross_level, gauge, height");
        }
        if !coordinates && !has(Role::Station) && !has(Role::Pad) && !has(Role::X) {
            say("no column tells where along the rails; expected: station or pad");
        }
        if (coordinates || has(Role::Lateral) || has(Role::Vertical) || has(Role::CrossLevel)) && !has(Role::Rail) && !pads_name_rails {
            say("no column tells which rail; expected: rail, with A or B");
        }
    }

    /// Number of the column with a role, its heading and its factor.
    pub(super) fn at(&self, role: Role) -> Option<(usize, &str, f64)> {
        self.list.iter().find(|(r, _, _, _)| *r == role).map(|(_, i, heading, factor)| (*i, heading.as_str(), *factor))
    }

    /// True where points are given in coordinates.
    pub(super) fn coordinates(&self) -> bool {
        self.at(Role::Y).is_some() && self.at(Role::Z).is_some() && self.at(Role::X).is_some()
    }

    pub(super) fn described(&self) -> Vec<String> {
        let name = |role: &Role| ROLES.iter().find(|(r, _, _, _)| r == role).map_or("", |(_, n, _, _)| *n);
        let used: Vec<String> = self
            .list
            .iter()
            .map(|(role, _, heading, _)| if heading == name(role) { heading.clone() } else { format!("{} from \"{heading}\"", name(role)) })
            .collect();
        let mut list = vec![format!("columns: {}", used.join(", "))];
        if !self.ignored.is_empty() {
            list.push(format!("columns not used: {}", self.ignored.join(", ")));
        }
        list
    }
}

/// True for a line with two headings that are understood.
pub(super) fn are_headings(row: &Row) -> bool {
    let known = |name: &str| ROLES.iter().any(|(_, n, others, _)| *n == name || others.contains(&name));
    row.cells.iter().filter(|c| known(&name_and_unit(&c.text).0)).count() >= 2
}

/// Takes a row of units out that stands below the headings: every cell of it is a unit, empty or a dash.
pub(super) fn units_below(sheet: &mut Sheet) -> Vec<String> {
    let bare = |text: &str| {
        let text = text.to_lowercase().replace(['\u{b5}', '\u{3bc}'], "u");
        clean(text.trim_matches(['[', ']', '(', ')', '-']))
    };
    let Some(first) = sheet.rows.first() else { return Vec::new() };
    let units: Vec<String> = first.cells.iter().map(|c| bare(&c.text)).collect();
    let mut named = units.iter().filter(|u| !u.is_empty()).peekable();
    if named.peek().is_none() || !named.all(|u| length(u).is_some() || angle(u).is_some()) {
        return Vec::new();
    }
    sheet.rows.remove(0);
    units
}

/// A heading as name and unit: `lateral_mm`, `Lateral [mm]`, `x (m)`, `cross-level, mm/m`.
fn name_and_unit(heading: &str) -> (String, String) {
    let text = heading.to_lowercase().replace(['\u{b5}', '\u{3bc}'], "u");
    if let Some((name, rest)) = text.split_once(['[', '(', ',']) {
        return (clean(name.trim_end_matches('_')), clean(rest.trim_end_matches([']', ')'])));
    }
    for (ending, unit) in [
        ("_mm_per_m", "mm/m"),
        ("_mrad", "mrad"),
        ("_deg", "deg"),
        ("_arcsec", "arcsec"),
        ("_mm", "mm"),
        ("_um", "um"),
        ("_m", "m"),
        ("_in", "in"),
        (" mm/m", "mm/m"),
        (" mm", "mm"),
        (" m", "m"),
    ] {
        if let Some(name) = text.strip_suffix(ending) {
            return (clean(name), unit.into());
        }
    }
    (clean(&text), String::new())
}

fn length(unit: &str) -> Option<f64> {
    Some(match unit {
        "mm" => 1.0,
        "m" => 1000.0,
        "um" => 0.001,
        "in" | "inch" | "\"" => 25.4,
        _ => return None,
    })
}

fn angle(unit: &str) -> Option<f64> {
    Some(match unit {
        "mm/m" | "mrad" => MRAD,
        "rad" => 1.0,
        "deg" | "\u{b0}" => std::f64::consts::PI / 180.0,
        "arcsec" | "\"" | "sec" => std::f64::consts::PI / 648_000.0,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_carry_their_unit() {
        assert_eq!(name_and_unit("Lateral [mm]"), ("lateral".into(), "mm".into()));
        assert_eq!(name_and_unit("x (m)"), ("x".into(), "m".into()));
        assert_eq!(name_and_unit("cross_level_mm_per_m"), ("cross_level".into(), "mm/m".into()));
        assert_eq!(name_and_unit("dz_\u{b5}m"), ("dz".into(), "um".into()));
        assert_eq!(name_and_unit("rail"), ("rail".into(), String::new()));
    }
}
