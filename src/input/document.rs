//! A TOML file as a tree with places, held against a catalogue: unknown keys, wrong types, values
//! out of range and missing keys are all collected, then `View` fetches values without further checks.

use std::cell::RefCell;
use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::catalogue::{Catalogue, Key, Kind, Need};
use super::fit::{nearest, out_of_range, unfit};
use super::node::{Node, Value, place};
use super::problem::{Problem, Problems};
use super::provenance::{OTHERS, Provenance, SOURCE};
use super::toml_words::{NAMES, another_file, found, not_toml, wanted};

/// Problems that are collected of one file.
const MOST_PROBLEMS: usize = 500;

/// Tables of one list: no machine needs nearly as many.
const MOST_TABLES: usize = 5000;

/// Keys of a table that a message lists; of a longer table `explain` tells.
const MOST_LISTED: usize = 12;

/// A parsed file and the problems found so far.
#[derive(Debug)]
pub(super) struct Document<'t> {
    text: &'t str,
    file: String,
    pub(super) root: Node,
    problems: RefCell<Vec<(usize, Problem)>>,
    /// How many of them are of single keys, found while the file was held against the catalogue.
    of_keys: usize,
}

impl<'t> Document<'t> {
    /// Parses `text` and holds it against the catalogue.
    ///
    /// # Errors
    /// The text is no TOML: the place and the parser's reason. Or it is another kind of file.
    pub(super) fn parse(text: &'t str, file: &str, catalogue: Catalogue) -> Result<Self, Problems> {
        let alone = |problem| Problems { file: file.into(), list: vec![problem] };
        let table = DeTable::parse(text).map_err(|e| alone(not_toml(text, &e)))?;
        let span = table.span();
        let root = Node { span, value: convert_table(table.get_ref()) };
        if let Some(problem) = another_file(text, &root, catalogue) {
            return Err(alone(problem));
        }
        let mut document = Self { text, file: file.into(), root, problems: RefCell::default(), of_keys: 0 };
        document.check(&document.root, "", "", catalogue);
        document.of_keys = document.problems.borrow().len();
        Ok(document)
    }

    /// The file's top table with its places.
    pub(super) fn node(&self) -> &Node {
        &self.root
    }

    /// A value as it is written: text without its quotes, a list on one line.
    pub(super) fn written(&self, node: &Node) -> String {
        match &node.value {
            Value::Text(text) => text.clone(),
            Value::List(items) => format!("[{}]", items.iter().map(|i| self.written(i)).collect::<Vec<_>>().join(", ")),
            _ => self.text.get(node.span.clone()).unwrap_or("").into(),
        }
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

    /// True where no problem has been found at a key or below it.
    pub(super) fn is_sound(&self, key: &str) -> bool {
        !self.problems.borrow().iter().any(|(_, p)| is_within(&p.key, key))
    }

    /// Reports what concerns several keys of a table. What follows from a key there that is refused already is not said again.
    pub(super) fn report_joint(&self, node: Option<&Node>, table: &str, key: &str, what: &str, advice: &str, with_value: bool) {
        let said =
            |(i, (_, p)): (usize, &(usize, Problem))| p.key == key || (i < self.of_keys && !table.is_empty() && is_within(&p.key, table));
        if self.problems.borrow().iter().enumerate().any(said) {
            return;
        }
        self.report(&node.map_or(0..0, |n| n.span.clone()), key, what, advice, with_value);
    }

    fn report(&self, span: &Range<usize>, key: &str, what: &str, advice: &str, with_value: bool) {
        if self.is_full() {
            return;
        }
        let value = if with_value { self.excerpt(span) } else { String::new() };
        self.problems.borrow_mut().push((span.start, place(self.text, span.start, key, &value, what, advice)));
    }

    /// The value as written, cut to one short line; nothing for a table that stands under a header of its own.
    fn excerpt(&self, span: &Range<usize>) -> String {
        let text = self.text.get(span.clone()).unwrap_or("");
        let before = self.text.get(..span.start).and_then(|t| t.rsplit('\n').next()).unwrap_or("");
        if text.starts_with('[') && before.trim().is_empty() {
            return String::new();
        }
        if text.starts_with('[') && text.contains('\n') {
            return "[...]".into();
        }
        let line = text.lines().next().unwrap_or("");
        if line.chars().count() > 40 { line.chars().take(39).chain(['…']).collect() } else { line.into() }
    }

    fn check(&self, node: &Node, path: &str, shown: &str, catalogue: Catalogue) {
        let Value::Table(entries) = &node.value else { return };
        let required = |k: &&Key| k.need == Need::Required;
        let mut missing: Vec<(&Key, &str)> = catalogue.below(path).filter(required).flat_map(|k| k.names().map(move |n| (k, n))).collect();
        missing.retain(|(_, n)| !entries.iter().any(|(e, _, _)| e == n));
        let keys: Vec<Option<&Key>> = entries.iter().map(|(name, _, _)| catalogue.find(&join(path, name))).collect();
        // A key that is not known was meant for the one it is like, or for the only one that is missing.
        let alone = match (&missing[..], keys.iter().filter(|k| k.is_none()).count()) {
            ([(_, only)], 1) => Some(*only),
            _ => None,
        };
        let known: Vec<&str> =
            if keys.iter().all(Option::is_some) { Vec::new() } else { catalogue.below(path).flat_map(Key::names).collect() };
        for ((name, span, child), key) in entries.iter().zip(keys) {
            if self.is_full() {
                return;
            }
            let (path, shown) = (join(path, name), join(shown, name));
            match key {
                Some(key) => self.check_value(key, child, &path, &shown, catalogue),
                None => {
                    let meant = nearest(known.iter().copied(), name, 0.85).or(alone);
                    missing.retain(|(_, n)| Some(*n) != meant);
                    let (what, advice) = unknown(&path, name, meant, &known, catalogue);
                    self.report(span, &shown, what, &advice, false);
                }
            }
        }
        self.check_sources(entries, shown);
        for (key, name) in missing {
            let advice = format!("{} Its value: {}. {}", key.meaning, key.allowed(), key.usual);
            self.report(&(node.span.start..node.span.start), &join(shown, name), "this key is missing", advice.trim_end(), false);
        }
    }

    /// A source begins with a kind of source.
    fn check_source(&self, text: &str, node: &Node, shown: &str) {
        let words: Vec<&str> = Provenance::WORDS.iter().map(|(word, _)| *word).collect();
        if let Some(what) = unfit(text) {
            self.report(&node.span, shown, what, "Write what the value rests on, such as \"data sheet\".", true);
        } else if Provenance::of(text).is_none() {
            let advice = match nearest(words.iter().copied(), text, 0.85) {
                Some(word) => format!("Did you mean \"{word}\"?"),
                None => format!("It begins with {}; what follows is free.", words.join(", ")),
            };
            self.report(&node.span, shown, "this begins with no kind of source", &advice, true);
        }
    }

    /// Sources by key must name keys that stand in their table.
    fn check_sources(&self, entries: &[(String, Range<usize>, Node)], shown: &str) {
        let Some((_, _, Node { value: Value::Table(sources), .. })) = entries.iter().find(|(name, _, _)| name == SOURCE) else { return };
        let there = || entries.iter().map(|(name, _, _)| name.as_str()).filter(|name| *name != SOURCE);
        for (name, span, _) in sources.iter().filter(|(name, _, _)| name != OTHERS && !there().any(|n| n == name)) {
            let advice = match nearest(there(), name, 0.85) {
                Some(meant) => format!("Did you mean {meant}?"),
                None => "A source by key names a key that stands beside it in its table.".into(),
            };
            self.report(span, &join(&join(shown, SOURCE), name), "this key does not stand in its table", &advice, false);
        }
    }

    fn check_value(&self, key: &Key, node: &Node, path: &str, shown: &str, catalogue: Catalogue) {
        let wrong_at = |node: &Node, shown: &str, what: &str| {
            // Where the kind of value says it all, its range is no news.
            let allowed = if key.allowed() == wanted(key.kind) { String::new() } else { format!("; allowed: {}", key.allowed()) };
            self.report(&node.span, shown, &format!("{what}{allowed}"), &format!("{} {}", key.meaning, key.usual), true);
        };
        let wrong = |node: &Node, what: &str| wrong_at(node, shown, what);
        match (key.kind, &node.value) {
            (Kind::Number { least, most, above }, Value::Number(_) | Value::Whole(_)) => {
                if let Some(what) = out_of_range(number(&node.value), least, most, above) {
                    wrong(node, what);
                }
            }
            (Kind::Numbers { least, most, length }, Value::List(items)) => {
                if length > 0 && items.len() != length {
                    wrong(node, &format!("this list holds {}", counted(items.len(), "number")));
                }
                for (i, item) in items.iter().enumerate() {
                    let what = match &item.value {
                        Value::Number(_) | Value::Whole(_) => out_of_range(number(&item.value), least, most, false),
                        _ => Some("this is no number"),
                    };
                    if let Some(what) = what {
                        wrong_at(item, &format!("{shown}[{}]", i + 1), what);
                    }
                }
            }
            (Kind::Whole { least, most }, Value::Whole(n)) => {
                if let Some(what) = out_of_range(*n as f64, least as f64, most as f64, false) {
                    wrong(node, what);
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
            (Kind::Source, Value::Text(text)) => self.check_source(text, node, shown),
            (Kind::Source, Value::Table(entries)) => {
                for (name, _, item) in entries {
                    match &item.value {
                        Value::Text(text) => self.check_source(text, item, &join(shown, name)),
                        _ => wrong(item, "this is no text"),
                    }
                }
            }
            (Kind::Texts, Value::List(items)) => {
                for item in items {
                    match &item.value {
                        Value::Text(text) => unfit(text).into_iter().for_each(|what| wrong(item, what)),
                        _ => wrong(item, "this is no text"),
                    }
                }
            }
            (Kind::Table, Value::Table(_)) => self.check(node, path, shown, catalogue),
            (Kind::Tables, Value::List(items)) if items.len() > MOST_TABLES => {
                wrong(node, &format!("this list holds {} tables, more than {MOST_TABLES}", items.len()));
            }
            (Kind::Tables, Value::List(items)) => {
                for (i, item) in items.iter().enumerate() {
                    if matches!(item.value, Value::Table(_)) {
                        self.check(item, &format!("{path}[]"), &format!("{shown}[{}]", i + 1), catalogue);
                    } else {
                        wrong(item, "this is no table");
                    }
                }
            }
            _ => wrong(node, &format!("this is {}, not {}", found(&node.value), wanted(key.kind))),
        }
    }
}

/// What is said of a key that the catalogue does not know, and the way out.
fn unknown(path: &str, name: &str, meant: Option<&str>, known: &[&str], catalogue: Catalogue) -> (&'static str, String) {
    let table = path.strip_suffix(name).map_or("", |t| t.trim_end_matches('.'));
    if known.iter().all(|k| *k == SOURCE) {
        return ("this name cannot be used", NAMES.into());
    }
    // A name that stands in several tables tells nothing of where this one belongs.
    let elsewhere = catalogue.keys().filter(|k| k.names().any(|n| n == name)).map(|k| k.path.rsplit_once('.').map_or("", |(t, _)| t));
    let elsewhere: Vec<&str> = elsewhere.collect();
    let advice = match (meant, &elsewhere[..]) {
        (Some(k), _) => format!("Did you mean {k}?"),
        (None, [""]) => format!("{name} belongs to the top of the file, before the first [table]."),
        (None, [one]) if !one.contains(['|', '*', '[']) => format!("{name} belongs to the table [{one}]."),
        _ if known.len() > MOST_LISTED && !table.is_empty() => {
            format!("`railtrue explain {}` lists the {} keys that may stand here.", table.replace("[]", ""), known.len())
        }
        _ if known.len() > MOST_LISTED => format!("{} other keys may stand here, such as {}.", known.len(), known[..4].join(", ")),
        _ => format!("Here may stand: {}.", known.join(", ")),
    };
    ("this key is not known", advice)
}

/// A count with its noun: no blocks, 1 block, 2 blocks.
pub(super) fn counted(n: usize, noun: &str) -> String {
    match n {
        0 => format!("no {noun}"),
        1 => format!("1 {noun}"),
        _ => format!("{n} {noun}s"),
    }
}

/// True for a key and all that stands below it.
fn is_within(key: &str, table: &str) -> bool {
    key.strip_prefix(table).is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '[']))
}

pub(super) fn join(path: &str, name: &str) -> String {
    if path.is_empty() { name.into() } else { format!("{path}.{name}") }
}

/// A choice as a word: numbers may stand without quotes.
pub(super) fn word(value: &Value) -> String {
    match value {
        Value::Text(t) => t.clone(),
        Value::Whole(n) => n.to_string(),
        Value::Number(x) => x.to_string(),
        _ => String::new(),
    }
}

pub(super) fn number(value: &Value) -> f64 {
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
