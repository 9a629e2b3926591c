//! What is wrong in a file, each problem with its place and a way out.

use std::fmt;

use super::unseen::seen;

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

/// Problems shown; who has more corrects these first.
const MOST_SHOWN: usize = 50;

/// Problems shown that say the same of different places.
const MOST_ALIKE: usize = 3;

/// Longest part of a message, in characters.
const LONGEST: usize = 600;

/// Longest key of a message.
const LONGEST_KEY: usize = 100;

/// Longest value of a message.
const LONGEST_VALUE: usize = 60;

/// What came from a file, fit for a terminal: control characters written out, very long parts cut.
fn visible(text: &str, longest: usize) -> String {
    let mut out = seen(&text.chars().take(longest).collect::<String>(), &[]);
    if text.chars().nth(longest).is_some() {
        out.push('…');
    }
    out
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
        let (mut shown, mut alike) = (0, Vec::new());
        for (i, p) in self.list.iter().enumerate() {
            // What one cause breaks in many places is said a few times, not on every page.
            let same = |q: &&Problem| q.what == p.what && q.advice == p.advice;
            let before = self.list[..i].iter().filter(same).count();
            if before == MOST_ALIKE {
                alike.push((p, self.list[i..].iter().filter(same).count()));
            }
            if before >= MOST_ALIKE || shown == MOST_SHOWN {
                continue;
            }
            shown += 1;
            write!(f, "{}:{}:{}: ", self.file, p.line, p.column)?;
            let (key, value, what) = (visible(&p.key, LONGEST_KEY), visible(&p.value, LONGEST_VALUE), visible(&p.what, LONGEST));
            match (key.is_empty(), value.is_empty()) {
                (true, _) => writeln!(f, "{what}")?,
                (false, true) => writeln!(f, "{key}: {what}")?,
                (false, false) => writeln!(f, "{key} = {value}: {what}")?,
            }
            if !p.advice.is_empty() {
                writeln!(f, "    help: {}", visible(p.advice.trim_end(), LONGEST))?;
            }
        }
        for (p, count) in &alike {
            writeln!(f, "... and {count} more like line {}: {}", p.line, visible(&p.what, LONGEST))?;
        }
        let hidden = self.list.len() - shown - alike.iter().map(|(_, count)| count).sum::<usize>();
        if hidden > 0 {
            writeln!(f, "... and {hidden} others")?;
        }
        let n = self.list.len();
        write!(f, "{n} problem{} in {}; nothing was computed", if n == 1 { "" } else { "s" }, self.file)
    }
}
