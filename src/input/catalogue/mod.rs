//! Every key that a file may hold, once: kind, range, default, meaning. Reading, checking,
//! explaining and the editor schema all work from this table.

mod budget;
mod errors;
mod installation;
mod joints;
mod machine;
mod service;
mod site;

use super::fit::figure;

/// What a key holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// A finite number between the two, ends included unless `above`.
    Number {
        /// Least value.
        least: f64,
        /// Greatest value.
        most: f64,
        /// The least value itself is refused.
        above: bool,
    },
    /// A list of finite numbers between the two; of this length if it is not 0.
    Numbers {
        /// Least value.
        least: f64,
        /// Greatest value.
        most: f64,
        /// Length, 0 for any.
        length: usize,
    },
    /// A whole number between the two.
    Whole {
        /// Least value.
        least: i64,
        /// Greatest value.
        most: i64,
    },
    /// Text.
    Text,
    /// One of these words.
    Choice(&'static [&'static str]),
    /// true or false.
    Flag,
    /// A list of texts.
    Texts,
    /// A table of keys.
    Table,
    /// A list of tables.
    Tables,
    /// A text for a whole table, or a table of texts by its keys.
    Source,
}

/// Whether a key must be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// It must.
    Required,
    /// It may be left out; then nothing is assumed.
    Optional,
    /// It may be left out; then this is assumed.
    Default(&'static str),
}

/// One key. In its path `*` stands for any name, `[]` for the items of a list, `a|b` for either name.
#[derive(Debug, Clone, Copy)]
pub struct Key {
    /// Dotted path.
    pub path: &'static str,
    /// What it holds.
    pub kind: Kind,
    /// Whether it must be there.
    pub need: Need,
    /// What it means.
    pub meaning: &'static str,
    /// Usual values, and where the number is to be found.
    pub usual: &'static str,
}

/// The keys of one kind of file.
#[derive(Debug, Clone, Copy)]
pub struct Catalogue {
    parts: &'static [fn() -> &'static [Key]],
    /// Keys that may stand in any table; their path is a name alone.
    anywhere: &'static [Key],
}

const SOURCE: Key = key(
    "source",
    Kind::Source,
    Need::Optional,
    "Where the values of this table and of what is below it come from, or a table with a text for each of its keys and one under `others` for the rest: begins with data sheet, measured, drawing, calculated, standard, specification or assumed; the rest is free. Reports list it beside each value and count what is assumed.",
    "source = \"data sheet\", or source = { others = \"data sheet\", preload_n = \"assumed\" }.",
);

/// Keys of a plan.
pub const PLAN: Catalogue = Catalogue {
    parts: &[|| machine::KEYS, || joints::KEYS, || service::KEYS, errors::keys, || budget::KEYS, || site::KEYS],
    anywhere: &[SOURCE],
};

/// Keys of a stated installation.
pub const INSTALLATION: Catalogue = Catalogue { parts: &[installation::keys], anywhere: &[] };

impl Catalogue {
    /// All keys in their order.
    pub fn keys(self) -> impl Iterator<Item = &'static Key> {
        self.parts.iter().flat_map(|part| part()).chain(self.anywhere)
    }

    /// The key that stands for an actual path such as `duty[].share` or `joint.bolted.x.law`.
    #[must_use]
    pub fn find(self, path: &str) -> Option<&'static Key> {
        let name = path.rsplit('.').next().unwrap_or(path);
        self.anywhere.iter().find(|key| key.path == name).or_else(|| self.keys().find(|key| matches(key.path, path)))
    }

    /// Keys directly under the table at an actual path (the empty path is the file itself).
    pub fn below<'a>(self, table: &'a str) -> impl Iterator<Item = &'static Key> + 'a {
        let own = self.parts.iter().flat_map(|part| part()).filter(move |key| match key.path.rsplit_once('.') {
            Some((parent, _)) => matches(parent, table),
            None => table.is_empty(),
        });
        own.chain(self.anywhere)
    }
}

/// True when the actual path is one that the pattern stands for.
fn matches(pattern: &str, path: &str) -> bool {
    let (mut p, mut a) = (pattern.split('.'), path.split('.'));
    loop {
        match (p.next(), a.next()) {
            (None, None) => return true,
            (Some(pattern), Some(name)) if same(pattern, name) => {}
            _ => return false,
        }
    }
}

fn same(pattern: &str, name: &str) -> bool {
    let (list, pattern) = (pattern.ends_with("[]"), pattern.trim_end_matches("[]"));
    if list != name.ends_with("[]") {
        return false;
    }
    let name = name.trim_end_matches("[]");
    pattern == "*" || pattern.split('|').any(|word| word == name)
}

impl Key {
    /// The names that the last part of the path stands for; none for any name.
    pub fn names(&self) -> impl Iterator<Item = &'static str> {
        let last = self.path.rsplit('.').next().unwrap_or(self.path);
        last.split('|').filter(|word| *word != "*")
    }

    /// The allowed values in words.
    #[must_use]
    pub fn allowed(&self) -> String {
        match self.kind {
            Kind::Number { least, most, above } => range(least, most, above),
            Kind::Numbers { least, most, length: 0 } => format!("a list of numbers, each {}", range(least, most, false)),
            Kind::Numbers { least, most, length } => format!("a list of {length} numbers, each {}", range(least, most, false)),
            Kind::Whole { least, most } if least == most => format!("the number {least}"),
            Kind::Whole { least, most: i64::MAX } => format!("a whole number, {least} or more"),
            Kind::Whole { least, most } => format!("a whole number from {least} to {most}"),
            Kind::Text => "text in quotes".into(),
            Kind::Choice(words) => format!("one of {}", quoted(words)),
            Kind::Flag => "true or false".into(),
            Kind::Texts => "a list of texts".into(),
            Kind::Table => "a table".into(),
            Kind::Tables => "a list of tables".into(),
            Kind::Source => "text in quotes, or a table of them by key".into(),
        }
    }
}

fn range(least: f64, most: f64, above: bool) -> String {
    match (least.is_finite(), most.is_finite(), above) {
        (true, true, true) => format!("more than {}, up to {}", figure(least), figure(most)),
        (true, true, false) => format!("from {} to {}", figure(least), figure(most)),
        (true, false, true) => format!("more than {}", figure(least)),
        (true, false, false) => format!("{} or more", figure(least)),
        _ => "any finite number".into(),
    }
}

/// Words in quotes with commas between.
#[must_use]
pub fn quoted(words: &[&str]) -> String {
    words.iter().map(|w| format!("\"{w}\"")).collect::<Vec<_>>().join(", ")
}

const fn key(path: &'static str, kind: Kind, need: Need, meaning: &'static str, usual: &'static str) -> Key {
    Key { path, kind, need, meaning, usual }
}

/// A number above 0.
const fn positive(most: f64) -> Kind {
    Kind::Number { least: 0.0, most, above: true }
}

/// A number from 0.
const fn from_zero(most: f64) -> Kind {
    Kind::Number { least: 0.0, most, above: false }
}

/// A number of either sign.
const fn signed(most: f64) -> Kind {
    Kind::Number { least: -most, most, above: false }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_match_their_patterns_only() {
        assert!(matches("joint.*.x|y|z.law", "joint.bolted.y.law"));
        assert!(!matches("joint.*.x|y|z.law", "joint.bolted.rx.law"));
        assert!(matches("duty[].share", "duty[].share") && !matches("duty[].share", "duty.share"));
        assert!(!matches("a.b", "a"));
    }

    #[test]
    fn every_key_is_described_and_has_its_table() {
        for catalogue in [PLAN, INSTALLATION] {
            for key in catalogue.keys() {
                assert!(!key.meaning.is_empty(), "{}", key.path);
                let Some((parent, _)) = key.path.rsplit_once('.') else { continue };
                let first = |part: &str| part.split('|').next().unwrap_or("").replace('*', "span");
                let actual = parent.trim_end_matches("[]").split('.').map(first).collect::<Vec<_>>().join(".");
                assert!(catalogue.find(&actual).is_some(), "{} has no table {actual}", key.path);
            }
        }
    }

    #[test]
    fn every_error_has_its_keys() {
        for spec in &crate::input::ErrorKind::ALL {
            let unit = if spec.angle { "mrad" } else { "mm" };
            for key in [format!("errors.{}", spec.key), format!("errors.{}.zone_{unit}", spec.key)] {
                assert!(PLAN.find(&key).is_some(), "{key}");
            }
        }
        let of_seats = crate::errors::seat_entries().map(|e| format!("seat[].{}", e.key));
        for key in crate::errors::entries().map(|e| e.key).chain(of_seats) {
            assert!(INSTALLATION.find(&key).is_some(), "{key}");
        }
    }
}
