//! One table of a document as the parts of a plan read it: values without further checks, and problems that concern several keys.

use super::catalogue::{Catalogue, Need, quoted};
use super::document::{Document, join, number, word};
use super::fit::nearest;
use super::node::{Node, Value};
use super::provenance::SOURCE;

impl Document<'_> {
    /// The file's top table.
    pub(super) fn root(&self, catalogue: Catalogue) -> View<'_> {
        View::of_root(self, &self.root, catalogue)
    }
}

/// One table of the document; absent tables give defaults.
#[derive(Debug, Clone)]
pub(super) struct View<'d> {
    document: &'d Document<'d>,
    node: Option<&'d Node>,
    /// Actual path with `[]` for list items, as the catalogue knows it.
    path: String,
    /// Path with item numbers, as the reader sees it.
    shown: String,
    catalogue: Catalogue,
}

impl<'d> View<'d> {
    /// The top table of a document.
    pub(super) fn of_root(document: &'d Document<'d>, root: &'d Node, catalogue: Catalogue) -> Self {
        Self { document, node: Some(root), path: String::new(), shown: String::new(), catalogue }
    }

    fn child(&self, name: &str) -> Option<&'d Node> {
        let Some(Node { value: Value::Table(entries), .. }) = self.node else { return None };
        entries.iter().find(|(n, _, _)| n == name).map(|(_, _, node)| node)
    }

    fn default(&self, name: &str) -> Option<&'static str> {
        match self.catalogue.find(&join(&self.path, name))?.need {
            Need::Default(text) => Some(text),
            _ => None,
        }
    }

    /// True when the table itself stands in the file.
    pub(super) fn is_there(&self) -> bool {
        self.node.is_some()
    }

    /// True when the key stands in the file.
    pub(super) fn has(&self, name: &str) -> bool {
        self.child(name).is_some()
    }

    /// Keys of the table in the order of the file, but for the sources of its values.
    pub(super) fn names(&self) -> Vec<&'d str> {
        let Some(Node { value: Value::Table(entries), .. }) = self.node else { return Vec::new() };
        entries.iter().map(|(n, _, _)| n.as_str()).filter(|n| *n != SOURCE).collect()
    }

    /// The number, its default, or nothing.
    pub(super) fn optional(&self, name: &str) -> Option<f64> {
        match self.child(name) {
            Some(node) => Some(number(&node.value)),
            None => self.default(name).and_then(|t| t.parse().ok()),
        }
    }

    /// The number or its default; NaN where a problem has been reported.
    pub(super) fn number(&self, name: &str) -> f64 {
        self.optional(name).unwrap_or(f64::NAN)
    }

    /// The whole number or its default; 0 where a problem has been reported.
    pub(super) fn whole(&self, name: &str) -> i64 {
        match self.child(name).map(|n| &n.value) {
            Some(Value::Whole(n)) => *n,
            _ => self.default(name).and_then(|t| t.parse().ok()).unwrap_or(0),
        }
    }

    /// The list of numbers, or nothing.
    pub(super) fn numbers(&self, name: &str) -> Option<Vec<f64>> {
        match self.child(name).map(|n| &n.value) {
            Some(Value::List(items)) => Some(items.iter().map(|i| number(&i.value)).collect()),
            _ => None,
        }
    }

    /// The list of texts; empty if it is left out.
    pub(super) fn texts(&self, name: &str) -> Vec<String> {
        let Some(Value::List(items)) = self.child(name).map(|n| &n.value) else { return Vec::new() };
        let text = |item: &Node| match &item.value {
            Value::Text(t) => Some(t.clone()),
            _ => None,
        };
        items.iter().filter_map(text).collect()
    }

    /// A list of exactly N numbers, or its default for each.
    pub(super) fn vector<const N: usize>(&self, name: &str) -> [f64; N] {
        match self.numbers(name) {
            Some(list) => std::array::from_fn(|i| list.get(i).copied().unwrap_or(f64::NAN)),
            None => [self.default(name).and_then(|t| t.parse().ok()).unwrap_or(f64::NAN); N],
        }
    }

    /// The text or its default; empty where a problem has been reported.
    pub(super) fn text(&self, name: &str) -> &'d str {
        match self.child(name).map(|n| &n.value) {
            Some(Value::Text(t)) => t,
            _ => self.default(name).unwrap_or(""),
        }
    }

    /// The choice or its default, written as a word or as a number.
    pub(super) fn choice(&self, name: &str) -> String {
        self.child(name).map_or_else(|| self.default(name).unwrap_or("").into(), |n| word(&n.value))
    }

    /// The flag or its default.
    pub(super) fn flag(&self, name: &str) -> bool {
        match self.child(name).map(|n| &n.value) {
            Some(Value::Flag(b)) => *b,
            _ => self.default(name) == Some("true"),
        }
    }

    /// The table below.
    pub(super) fn table(&self, name: &str) -> Self {
        Self { node: self.child(name), path: join(&self.path, name), shown: join(&self.shown, name), ..self.clone() }
    }

    /// The tables of a list.
    pub(super) fn tables(&self, name: &str) -> Vec<Self> {
        let Some(Value::List(items)) = self.child(name).map(|n| &n.value) else { return Vec::new() };
        let path = format!("{}[]", join(&self.path, name));
        let shown = join(&self.shown, name);
        items
            .iter()
            .enumerate()
            .map(|(i, node)| Self { node: Some(node), path: path.clone(), shown: format!("{shown}[{}]", i + 1), ..self.clone() })
            .collect()
    }

    /// True where nothing is wrong with a key or below it, as far as has been looked; with the table if the name is empty.
    pub(super) fn is_sound(&self, name: &str) -> bool {
        self.document.is_sound(&self.shown_of(name))
    }

    fn shown_of(&self, name: &str) -> String {
        if name.is_empty() { self.shown.clone() } else { join(&self.shown, name) }
    }

    /// Reports a problem with a key, or with the table if the name is empty.
    pub(super) fn problem(&self, name: &str, what: &str, advice: &str) {
        let node = if name.is_empty() { self.node } else { self.child(name).or(self.node) };
        self.document.report_joint(node, &self.shown, &self.shown_of(name), what, advice, !name.is_empty() && self.has(name));
    }

    /// Reports a word that should be one of `known`, with the one that was probably meant.
    pub(super) fn unknown_name(&self, key: &str, what: &str, known: &[&str]) {
        let word = self.text(key);
        let advice = match nearest(known.iter().copied(), word, 0.8) {
            Some(k) => format!("Did you mean \"{k}\"?"),
            None => format!("Known are {}.", quoted(known)),
        };
        self.problem(key, what, &advice);
    }
}
