//! A value of a TOML file with its place in the text.

use std::ops::Range;

use super::problem::Problem;

/// A value with its place in the text.
#[derive(Debug)]
pub(super) struct Node {
    pub(super) span: Range<usize>,
    pub(super) value: Value,
}

#[derive(Debug)]
pub(super) enum Value {
    Number(f64),
    Whole(i64),
    Text(String),
    Flag(bool),
    List(Vec<Node>),
    Table(Vec<(String, Range<usize>, Node)>),
    Other,
}

pub(super) fn place(text: &str, at: usize, key: &str, value: &str, what: &str, advice: &str) -> Problem {
    let before = text.get(..at).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    Problem { line, column, key: key.into(), value: value.into(), what: what.into(), advice: advice.into() }
}
