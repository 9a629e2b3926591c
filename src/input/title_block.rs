//! The title block: what ties a plan or a table of callouts to one drawing and one machine. Terms follow ISO 7200.

use super::survey::text::day_of;
use super::view::View;

/// Key and name of each field, in the order in which a report shows them.
pub const FIELDS: [(&str, &str); 6] = [
    ("drawing", "drawing number"),
    ("revision", "revision"),
    ("sheet", "sheet"),
    ("machine", "machine"),
    ("author", "author"),
    ("date", "date"),
];

/// What a report's head says; a field that nobody stated is to be filled in by hand.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct TitleBlock {
    values: [Option<String>; FIELDS.len()],
}

impl TitleBlock {
    /// The block whose fields `get` knows by their keys; what holds nothing but spaces is not stated.
    pub(super) fn of(get: impl Fn(&str) -> Option<String>) -> Self {
        Self { values: FIELDS.map(|(key, _)| get(key).map(|v| v.trim().to_string()).filter(|v| !v.is_empty())) }
    }

    /// The block of a plan.
    pub(super) fn of_plan(table: &View<'_>) -> Self {
        if table.has("date") && day_of(table.text("date")).is_none() {
            table.problem("date", "this is no date", "Write it as \"2026-11-25\".");
        }
        Self::of(|key| table.has(key).then(|| table.text(key).into()))
    }

    /// Key, name and value of each field.
    pub fn fields(&self) -> impl Iterator<Item = (&'static str, &'static str, Option<&str>)> {
        FIELDS.iter().zip(&self.values).map(|((key, name), value)| (*key, *name, value.as_deref()))
    }

    /// A field by its key.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&str> {
        self.fields().find(|(k, _, _)| *k == key).and_then(|(_, _, value)| value)
    }

    /// Names of the fields that are not stated.
    #[must_use]
    pub fn missing(&self) -> Vec<&'static str> {
        self.fields().filter(|(_, _, value)| value.is_none()).map(|(_, name, _)| name).collect()
    }
}
