//! Every value that a plan states or leaves to its default, and the source that the plan names for it.
//!
//! `source` may appear in any table: a text for the whole table and what is below it, or a table of texts by key, with `others`
//! for the rest. The nearest one counts. Its first words tell the kind of source; what follows is free.

use super::catalogue::{Catalogue, Key, Need};
use super::document::{Document, join};
use super::node::{Node, Value};
use super::provenance::{OTHERS, Provenance, SOURCE};

/// One value of a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Input {
    /// Its table, with item numbers: `duty[2]`; empty at the top of the plan.
    pub table: String,
    /// Its key.
    pub key: String,
    /// The value as it is written; text without its quotes.
    pub value: String,
    /// What it rests on.
    pub provenance: Provenance,
    /// The source as the plan names it; empty where it names none.
    pub source: String,
}

/// Tables whose keys are names and settings.
const SETTINGS: [&str; 3] = ["title_block", "study", "survey"];

/// Keys at the top of a plan that are names and settings.
const TOP_SETTINGS: [&str; 3] = ["format", "title", "chosen"];

/// All values of a document in its order, defaults of a table after what stands in it; and the tables or keys that are assumed.
pub(super) fn inputs(document: &Document<'_>, catalogue: Catalogue) -> (Vec<Input>, Vec<String>) {
    let mut collector = Collector { document, catalogue, list: Vec::new(), assumed: Vec::new() };
    collector.table(document.node(), "", "", "");
    (collector.list, collector.assumed)
}

struct Collector<'d, 't> {
    document: &'d Document<'t>,
    catalogue: Catalogue,
    list: Vec<Input>,
    assumed: Vec<String>,
}

impl Collector<'_, '_> {
    /// `path` as the catalogue knows it, `shown` with item numbers, `above` the source that holds for the table as a whole.
    fn table(&mut self, node: &Node, path: &str, shown: &str, above: &str) {
        let Value::Table(entries) = &node.value else { return };
        let own = entries.iter().find(|(name, _, _)| name == SOURCE).map(|(_, _, node)| &node.value);
        let whole = match own {
            Some(Value::Text(text)) => text.as_str(),
            Some(sources) => by_key(sources, OTHERS).unwrap_or(above),
            None => above,
        };
        self.note(shown, whole, above);
        for (name, _, child) in entries.iter().filter(|(name, _, _)| name != SOURCE) {
            let source = own.and_then(|own| by_key(own, name)).unwrap_or(whole);
            let (path, below) = (join(path, name), join(shown, name));
            if source != whole {
                self.note(&below, source, whole);
            }
            match &child.value {
                Value::Table(_) => self.table(child, &path, &below, source),
                Value::List(items) if items.iter().any(|i| matches!(i.value, Value::Table(_))) => {
                    for (i, item) in items.iter().enumerate() {
                        self.table(item, &format!("{path}[]"), &format!("{below}[{}]", i + 1), source);
                    }
                }
                _ => self.value(shown, name, self.document.written(child), source),
            }
        }
        let silent = |key: &&str| !entries.iter().any(|(name, _, _)| name == key);
        let defaults: Vec<(&str, &str)> = self.catalogue.below(path).flat_map(named).filter(|(key, _)| silent(key)).collect();
        for (key, value) in defaults {
            let provenance = if is_setting(shown, key) { Provenance::Choice } else { Provenance::Default };
            self.list.push(Input { table: shown.into(), key: key.into(), value: value.into(), provenance, source: String::new() });
        }
    }

    fn value(&mut self, table: &str, key: &str, value: String, source: &str) {
        let provenance = match Provenance::of(source) {
            _ if is_setting(table, key) => Provenance::Choice,
            Some(kind) => kind,
            None => Provenance::NotStated,
        };
        let source = if provenance == Provenance::Choice { "" } else { source };
        self.list.push(Input { table: table.into(), key: key.into(), value, provenance, source: source.into() });
    }

    /// Keeps the place where an assumption begins.
    fn note(&mut self, place: &str, source: &str, above: &str) {
        let assumed = |s: &str| Provenance::of(s) == Some(Provenance::Assumed);
        if assumed(source) && !assumed(above) && !place.is_empty() {
            self.assumed.push(place.into());
        }
    }
}

/// Names of a key that has a default, with it.
fn named(key: &'static Key) -> impl Iterator<Item = (&'static str, &'static str)> {
    let default = match key.need {
        Need::Default(text) => Some(text),
        _ => None,
    };
    key.names().filter_map(move |name| default.filter(|d| !d.is_empty()).map(|d| (name, d)))
}

fn by_key<'n>(own: &'n Value, name: &str) -> Option<&'n str> {
    let Value::Table(entries) = own else { return None };
    entries.iter().find(|(key, _, _)| key == name).and_then(|(_, _, node)| match &node.value {
        Value::Text(text) => Some(text.as_str()),
        _ => None,
    })
}

fn is_setting(table: &str, key: &str) -> bool {
    let top = table.split(['.', '[']).next().unwrap_or("");
    SETTINGS.contains(&top) || key == "name" || (table.is_empty() && TOP_SETTINGS.contains(&key))
}
