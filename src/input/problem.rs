//! What is wrong in a file, each problem with its place and a way out.

use std::fmt;

/// One problem of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1.
    pub column: usize,
    /// Dotted path of the key.
    pub key: String,
    /// The value as it stands in the file; empty where there is none.
    pub value: String,
    /// What is wrong.
    pub what: String,
    /// What to do; empty where the first sentence says it.
    pub advice: String,
}

/// All problems of one file, in the order of its lines.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct Problems {
    /// Name of the file.
    pub file: String,
    /// The problems.
    pub list: Vec<Problem>,
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for p in &self.list {
            write!(f, "{}:{}:{}: ", self.file, p.line, p.column)?;
            match (p.key.is_empty(), p.value.is_empty()) {
                (true, _) => writeln!(f, "{}", p.what)?,
                (false, true) => writeln!(f, "{}: {}", p.key, p.what)?,
                (false, false) => writeln!(f, "{} = {}: {}", p.key, p.value, p.what)?,
            }
            if !p.advice.is_empty() {
                writeln!(f, "    help: {}", p.advice)?;
            }
        }
        let n = self.list.len();
        write!(f, "{n} problem{} in {}; nothing was computed", if n == 1 { "" } else { "s" }, self.file)
    }
}
