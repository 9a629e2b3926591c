//! A TOML file as a tree with places, held against a catalogue: unknown keys, wrong types, values
//! out of range and missing keys are all collected, then values are fetched without further checks.

use std::cell::RefCell;
use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::catalogue::{Catalogue, Key, Kind, Need, quoted};
use super::fit::{nearest, out_of_range, unfit};
use super::problem::{Problem, Problems};

/// Problems that are collected of one file.
const MOST_PROBLEMS: usize = 500;

/// A value with its place in the text.
#[derive(Debug)]
struct Node {
    span: Range<usize>,
    value: Value,
}

#[derive(Debug)]
enum Value {
    Number(f64),
    Whole(i64),
    Text(String),
    Flag(bool),
    List(Vec<Node>),
    Table(Vec<(String, Range<usize>, Node)>),
    Other,
}

/// A parsed file and the problems found so far.
#[derive(Debug)]
pub(super) struct Document<'t> {
    text: &'t str,
    file: String,
    root: Node,
    problems: RefCell<Vec<(usize, Problem)>>,
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

impl<'t> Document<'t> {
    /// Parses `text` and holds it against the catalogue.
    ///
    /// # Errors
    /// The text is no TOML: the place and the parser's reason.
    pub(super) fn parse(text: &'t str, file: &str, catalogue: Catalogue) -> Result<Self, Problems> {
        let table = DeTable::parse(text).map_err(|e| {
            let at = e.span().map_or(0, |s| s.start);
            let line = text.get(..at).map_or(0, |t| t.matches('\n').count());
            let line = text.lines().nth(line).unwrap_or("").trim();
            let what = format!("this is no valid TOML: {}, in the line: {line}", e.message().trim());
            let problem = place(
                text,
                at,
                "",
                "",
                &what,
                "Decimals have a point (62.5); strings stand in quotes; a table's header stands in [brackets]; a key stands once.",
            );
            Problems { file: file.into(), list: vec![problem] }
        })?;
        let span = table.span();
        let root = Node { span, value: convert_table(table.get_ref()) };
        let document = Self { text, file: file.into(), root, problems: RefCell::default() };
        document.check(&document.root, "", "", catalogue);
        Ok(document)
    }

    /// The file's top table.
    pub(super) fn root(&self, catalogue: Catalogue) -> View<'_> {
        View { document: self, node: Some(&self.root), path: String::new(), shown: String::new(), catalogue }
    }

    /// Line and column of a dotted path, or of the longest part of it that the file has.
    pub(super) fn place_of(&self, path: &str) -> (usize, usize) {
        let (mut node, mut at) = (&self.root, 0);
        for name in path.split('.') {
            let Value::Table(entries) = &node.value else { break };
            let Some((_, span, child)) = entries.iter().find(|(n, _, _)| n == name) else { break };
            (node, at) = (child, span.start);
        }
        let found = place(self.text, at, "", "", "", "");
        (found.line, found.column)
    }

    /// All problems so far in the order of the text, or nothing.
    pub(super) fn verdict(&self) -> Result<(), Problems> {
        let mut list = self.problems.borrow().clone();
        if list.is_empty() {
            return Ok(());
        }
        list.sort_by_key(|(at, _)| *at);
        Err(Problems { file: self.file.clone(), list: list.into_iter().map(|(_, p)| p).collect() })
    }

    /// True where there are so many problems that more would help nobody.
    fn is_full(&self) -> bool {
        self.problems.borrow().len() >= MOST_PROBLEMS
    }

    fn report(&self, span: &Range<usize>, key: &str, what: &str, advice: &str, with_value: bool) {
        if self.is_full() {
            return;
        }
        let value = if with_value { self.excerpt(span) } else { String::new() };
        self.problems.borrow_mut().push((span.start, place(self.text, span.start, key, &value, what, advice)));
    }

    /// The value as written, cut to one short line.
    fn excerpt(&self, span: &Range<usize>) -> String {
        let text = self.text.get(span.clone()).unwrap_or("");
        if text.starts_with('[') && text.contains('\n') {
            return "[...]".into();
        }
        let line = text.lines().next().unwrap_or("");
        if line.chars().count() > 40 { line.chars().take(39).chain(['…']).collect() } else { line.into() }
    }

    fn check(&self, node: &Node, path: &str, shown: &str, catalogue: Catalogue) {
        let Value::Table(entries) = &node.value else { return };
        for (name, span, child) in entries {
            if self.is_full() {
                return;
            }
            let (path, shown) = (join(path, name), join(shown, name));
            match catalogue.find(&path) {
                Some(key) => self.check_value(key, child, &path, &shown, catalogue),
                None => self.unknown(span, &path, &shown, name, catalogue),
            }
        }
        let meant = |name: &str| {
            let mut unknown = entries.iter().filter(|(n, _, _)| catalogue.find(&join(path, n)).is_none());
            unknown.any(|(n, _, _)| nearest(catalogue.below(path).flat_map(Key::names), n, 0.85) == Some(name))
        };
        let present = |name: &str| meant(name) || entries.iter().any(|(n, _, _)| n == name);
        for key in catalogue.below(path).filter(|k| k.need == Need::Required) {
            for name in key.names().filter(|n| !present(n)) {
                let advice = format!("{} Its value: {}. {}", key.meaning, key.allowed(), key.usual);
                self.report(&(node.span.start..node.span.start), &join(shown, name), "this key is missing", advice.trim_end(), false);
            }
        }
    }

    fn unknown(&self, span: &Range<usize>, path: &str, shown: &str, name: &str, catalogue: Catalogue) {
        let table = path.rsplit_once('.').map_or("", |(t, _)| t);
        let known: Vec<&str> = catalogue.below(table).flat_map(|k| k.names()).collect();
        let elsewhere = catalogue.keys().find(|k| k.names().any(|n| n == name));
        let advice = match (nearest(known.iter().copied(), name, 0.85), elsewhere) {
            (Some(k), _) => format!("Did you mean {k}?"),
            (_, Some(k)) => format!("{name} belongs to {}", k.path.rsplit_once('.').map_or("the top of the file", |(t, _)| t)),
            _ => format!("Here stand: {}", known.join(", ")),
        };
        self.report(span, shown, "this key is not known", &advice, false);
    }

    fn check_value(&self, key: &Key, node: &Node, path: &str, shown: &str, catalogue: Catalogue) {
        let wrong = |node: &Node, what: &str| {
            self.report(&node.span, shown, &format!("{what}; allowed: {}", key.allowed()), &format!("{} {}", key.meaning, key.usual), true);
        };
        match (key.kind, &node.value) {
            (Kind::Number { least, most, above }, Value::Number(_) | Value::Whole(_)) => {
                if let Some(what) = out_of_range(number(&node.value), least, most, above) {
                    wrong(node, what);
                }
            }
            (Kind::Numbers { least, most, length }, Value::List(items)) => {
                if length > 0 && items.len() != length {
                    wrong(node, &format!("{} numbers stand here", items.len()));
                }
                for item in items {
                    match &item.value {
                        Value::Number(_) | Value::Whole(_) => {
                            if let Some(what) = out_of_range(number(&item.value), least, most, false) {
                                wrong(item, what);
                            }
                        }
                        _ => wrong(item, "this is no number"),
                    }
                }
            }
            (Kind::Whole { least, most }, Value::Whole(n)) => {
                if !(least..=most).contains(n) {
                    wrong(node, "out of range");
                }
            }
            (Kind::Choice(words), Value::Text(_) | Value::Whole(_) | Value::Number(_)) => {
                let word = word(&node.value);
                if !words.contains(&word.as_str()) {
                    let meant = nearest(words.iter().copied(), &word, 0.7).map_or_else(String::new, |w| format!("Did you mean \"{w}\"? "));
                    let what = if matches!(node.value, Value::Text(_)) { "this word" } else { "this number" };
                    let what = format!("{what} is not known here; allowed: {}", key.allowed());
                    self.report(&node.span, shown, &what, &format!("{meant}{}", key.meaning), true);
                }
            }
            (Kind::Text, Value::Text(text)) => {
                if let Some(what) = unfit(text) {
                    wrong(node, what);
                }
            }
            (Kind::Flag, Value::Flag(_)) => {}
            (Kind::Texts, Value::List(items)) => {
                for item in items {
                    match &item.value {
                        Value::Text(text) => unfit(text).into_iter().for_each(|what| wrong(item, what)),
                        _ => wrong(item, "this is no text"),
                    }
                }
            }
            (Kind::Table, Value::Table(_)) => self.check(node, path, shown, catalogue),
            (Kind::Tables, Value::List(items)) => {
                for (i, item) in items.iter().enumerate() {
                    if matches!(item.value, Value::Table(_)) {
                        self.check(item, &format!("{path}[]"), &format!("{shown}[{}]", i + 1), catalogue);
                    } else {
                        wrong(item, "this is no table");
                    }
                }
            }
            _ => wrong(node, "this has the wrong type"),
        }
    }
}

impl<'d> View<'d> {
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

    /// Keys of the table in the order of the file.
    pub(super) fn names(&self) -> Vec<&'d str> {
        let Some(Node { value: Value::Table(entries), .. }) = self.node else { return Vec::new() };
        entries.iter().map(|(n, _, _)| n.as_str()).collect()
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

    /// Reports a problem with a key, or with the table if the name is empty.
    pub(super) fn problem(&self, name: &str, what: &str, advice: &str) {
        let node = if name.is_empty() { self.node } else { self.child(name).or(self.node) };
        let start = node.map_or(0..0, |n| n.span.clone());
        let shown = if name.is_empty() { self.shown.clone() } else { join(&self.shown, name) };
        self.document.report(&start, &shown, what, advice, self.has(name));
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

fn join(path: &str, name: &str) -> String {
    if path.is_empty() { name.into() } else { format!("{path}.{name}") }
}

/// A choice as a word: numbers may stand without quotes.
fn word(value: &Value) -> String {
    match value {
        Value::Text(t) => t.clone(),
        Value::Whole(n) => n.to_string(),
        Value::Number(x) => x.to_string(),
        _ => String::new(),
    }
}

fn number(value: &Value) -> f64 {
    match value {
        Value::Number(x) => *x,
        Value::Whole(n) => *n as f64,
        _ => f64::NAN,
    }
}

fn convert(value: &DeValue<'_>) -> Value {
    match value {
        DeValue::String(s) => Value::Text(s.to_string()),
        DeValue::Integer(n) => i64::from_str_radix(n.as_str(), n.radix()).map_or(Value::Number(f64::INFINITY), Value::Whole),
        DeValue::Float(x) => Value::Number(x.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(b) => Value::Flag(*b),
        DeValue::Array(items) => Value::List(items.iter().map(|i| Node { span: i.span(), value: convert(i.get_ref()) }).collect()),
        DeValue::Table(t) => convert_table(t),
        DeValue::Datetime(_) => Value::Other,
    }
}

fn convert_table(table: &DeTable<'_>) -> Value {
    let entry = |(k, v): (&toml::Spanned<std::borrow::Cow<'_, str>>, &toml::Spanned<DeValue<'_>>)| {
        (k.get_ref().to_string(), k.span(), Node { span: v.span(), value: convert(v.get_ref()) })
    };
    let mut entries: Vec<_> = table.iter().map(entry).collect();
    entries.sort_by_key(|(_, span, _)| span.start);
    Value::Table(entries)
}

fn place(text: &str, at: usize, key: &str, value: &str, what: &str, advice: &str) -> Problem {
    let before = text.get(..at).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    Problem { line, column, key: key.into(), value: value.into(), what: what.into(), advice: advice.into() }
}
