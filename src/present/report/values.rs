//! Every value of a plan in tables: rows of one kind beside each other, each with the source that the plan names.

use crate::input::catalogue::PLAN;
use crate::input::{Input, Plan, Provenance};
use crate::present::page::{Cell, Section, Table};

/// Endings of keys, longest first, and the units that they stand for.
const UNITS: [(&str, &str); 24] = [
    ("_n_m_per_mrad", "N m/mrad"),
    ("_m_per_s2", "m/s²"),
    ("_n_per_um", "N/µm"),
    ("_percent_of_c", "% of C"),
    ("_per_year", "a year"),
    ("_basis_km", "km"),
    ("_per_hour", "an hour"),
    ("_per_k", "1/K"),
    ("_n_m2", "N m²"),
    ("_n_m", "N m"),
    ("_mm4", "mm⁴"),
    ("_mm2", "mm²"),
    ("_mrad", "mrad"),
    ("_hours", "hours"),
    ("_mpa", "MPa"),
    ("_deg", "°"),
    ("_kg", "kg"),
    ("_km", "km"),
    ("_mm", "mm"),
    ("_c", "°C"),
    ("_k", "K"),
    ("_n", "N"),
    ("_hz", "Hz"),
    ("_s", "s"),
];

/// Tables of which every entry, whatever its name, is a row of one table.
const FAMILIES: [&str; 3] = ["joint", "arrangement", "cost"];

/// Tables that other sections of the report show.
const ELSEWHERE: [&str; 3] = ["errors", "requirement", "title_block"];

/// A key in words, and its unit.
fn words(key: &str) -> (String, &'static str) {
    let found = UNITS.iter().find(|(ending, _)| key.len() > ending.len() && key.ends_with(ending));
    let (bare, unit) = found.map_or((key, ""), |(ending, unit)| (&key[..key.len() - ending.len()], *unit));
    (bare.replace('_', " "), unit)
}

/// A value with its unit; in brackets where the plan leaves it to the program.
fn written(input: &Input) -> String {
    let (_, unit) = words(&input.key);
    let number = input.value.starts_with(|c: char| c.is_ascii_digit() || "-+[.".contains(c));
    let value = if unit.is_empty() || !number { input.value.clone() } else { format!("{} {unit}", input.value) };
    if input.provenance == Provenance::Default { format!("({value})") } else { value }
}

/// What a source is called where the plan names none.
pub(super) fn source(input: &Input) -> String {
    match input.provenance {
        Provenance::Default => "not in the plan: the program's usual value".into(),
        Provenance::NotStated => "not stated".into(),
        Provenance::Choice => "setting".into(),
        _ => input.source.clone(),
    }
}

/// The table with its item numbers taken out; all entries of a family count as one table.
fn family(table: &str) -> String {
    let top = table.split(['.', '[']).next().unwrap_or("");
    if FAMILIES.contains(&top) {
        return top.into();
    }
    table.split('[').map(|part| part.split_once(']').map_or(part, |(_, rest)| rest)).collect()
}

/// All tables of a plan's values, those apart that other sections show.
pub(super) fn tables(plan: &Plan, mut section: Section) -> Section {
    let shown = plan.inputs.iter().filter(|i| !ELSEWHERE.contains(&family(&i.table).split('.').next().unwrap_or("")));
    let mut families: Vec<(String, Vec<&Input>)> = Vec::new();
    for input in shown {
        let name = family(&input.table);
        match families.iter_mut().find(|(n, _)| *n == name) {
            Some((_, list)) => list.push(input),
            None => families.push((name, vec![input])),
        }
    }
    for (name, list) in families {
        let rows = rows(&list);
        let caption = if name.is_empty() { "plan".to_string() } else { name.replace('.', ", ").replace('_', " ") };
        section = section.table(if rows.len() > 1 { across(&caption, &name, &rows) } else { down(&caption, &list) });
    }
    section
}

/// Inputs of each table, in their order.
fn rows<'i>(list: &[&'i Input]) -> Vec<(&'i str, Vec<&'i Input>)> {
    let mut rows: Vec<(&str, Vec<&Input>)> = Vec::new();
    for input in list {
        match rows.iter_mut().find(|(table, _)| *table == input.table) {
            Some((_, row)) => row.push(input),
            None => rows.push((&input.table, vec![input])),
        }
    }
    rows
}

/// One row a value.
fn down(caption: &str, list: &[&Input]) -> Table {
    let mut table = Table::new(format!("Inputs: {caption}"), ["value", "is", "meaning", "source"]);
    for input in list {
        table = table.row([Cell::text(words(&input.key).0), value(&[input]), Cell::text(meaning(input)), Cell::text(source(input))]);
    }
    table
}

/// What a value is, by the first words of its key's explanation.
fn meaning(input: &Input) -> String {
    let table: String =
        input.table.split('[').map(|part| part.split_once(']').map_or_else(|| part.into(), |(_, rest)| format!("[]{rest}"))).collect();
    let path = if table.is_empty() { input.key.clone() } else { format!("{table}.{}", input.key) };
    let whole = PLAN.find(&path).map_or("", |key| key.meaning);
    whole.split(['.', ':', ';']).next().unwrap_or_default().into()
}

/// One row a table, its keys across; rows that say the same are one.
fn across(caption: &str, family: &str, rows: &[(&str, Vec<&Input>)]) -> Table {
    // A key that the plan leaves out in every row says nothing but its usual value.
    let stated = |key: &str| rows.iter().flat_map(|(_, row)| row).any(|i| words(&i.key).0 == key && i.provenance != Provenance::Default);
    let mut keys: Vec<String> = Vec::new();
    let mut usual: Vec<String> = Vec::new();
    for input in rows.iter().flat_map(|(_, row)| row) {
        let key = words(&input.key).0;
        let (list, entry) = if stated(&key) { (&mut keys, key) } else { (&mut usual, format!("{key} {}", input.value)) };
        if !list.contains(&entry) {
            list.push(entry);
        }
    }
    let usual = if usual.is_empty() { String::new() } else { format!(" (usual values in all rows: {})", usual.join(", ")) };
    let header = std::iter::once("of".to_string()).chain(keys.iter().cloned()).chain(["source".to_string()]);
    let mut table = Table::new(format!("Inputs: {caption}{usual}"), header);
    let mut lines: Vec<(Vec<String>, Vec<Cell>)> = Vec::new();
    for (name, row) in rows {
        let of = |key: &String| row.iter().copied().filter(|i| words(&i.key).0 == *key).collect::<Vec<_>>();
        let mut cells: Vec<Cell> = keys.iter().map(|key| value(&of(key))).collect();
        cells.push(Cell::text(sources(row)));
        let name = item(name.strip_prefix(family).unwrap_or(name));
        match lines.iter_mut().find(|(_, c)| *c == cells) {
            Some((names, _)) => names.push(name),
            None => lines.push((vec![name], cells)),
        }
    }
    for (names, cells) in lines {
        table = table.row(std::iter::once(Cell::text(names.join("; "))).chain(cells));
    }
    table
}

/// A table's name without its family's: ".bolted.x" is "bolted x", "[2]" is "2".
fn item(path: &str) -> String {
    path.replace(['.', '['], " ").replace([']'], "").replace('_', " ").trim().into()
}

/// The values of one cell; what is assumed is set in bold.
fn value(list: &[&Input]) -> Cell {
    let text: Vec<String> = list.iter().map(|i| written(i)).collect();
    let cell = Cell::text(text.join(", "));
    if list.iter().any(|i| i.provenance == Provenance::Assumed) { cell.strong() } else { cell }
}

/// The sources of a row: one for all, or each with the keys that it is for.
pub(super) fn sources(row: &[&Input]) -> String {
    let mut list: Vec<(String, Vec<String>)> = Vec::new();
    for input in row.iter().filter(|i| !matches!(i.provenance, Provenance::Choice | Provenance::Default)) {
        let (source, key) = (source(input), words(&input.key).0);
        match list.iter_mut().find(|(s, _)| *s == source) {
            Some((_, keys)) => keys.push(key),
            None => list.push((source, vec![key])),
        }
    }
    match list.as_slice() {
        [] => String::new(),
        [(one, _)] => one.clone(),
        many => many.iter().map(|(source, keys)| format!("{}: {source}", keys.join(", "))).collect::<Vec<_>>().join("; "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_told_with_their_units() {
        assert_eq!(words("stiffness_n_m_per_mrad"), ("stiffness".into(), "N m/mrad"));
        assert_eq!(words("km_per_year"), ("km".into(), "a year"));
        assert_eq!(words("share"), ("share".into(), ""));
        assert_eq!((family("duty[2].extra[1]").as_str(), family("joint.bolted.x").as_str()), ("duty.extra", "joint"));
        assert_eq!(
            (item("[2]").as_str(), item(".bolted.x").as_str(), item(".floating.end_a[1]").as_str()),
            ("2", "bolted x", "floating end a 1")
        );
    }
}
