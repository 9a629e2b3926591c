//! Bytes to lines and cells: encoding, byte order mark, line ends, separator, quotes.

use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

use crate::input::unseen::is_unseen;

/// Text of a file and what it was written in.
pub(in crate::input) struct Decoded {
    pub(in crate::input) text: String,
    pub(in crate::input) encoding: &'static str,
}

/// Decodes a file: by its byte order mark, else as UTF-8, else as Latin-1 (Windows-1252), with line ends made one.
pub(in crate::input) fn decode(bytes: &[u8]) -> Decoded {
    let (encoding, name) = match Encoding::for_bom(bytes) {
        Some((encoding, _)) => (encoding, "Unicode text with a byte order mark"),
        // Text in two-byte letters without a mark: every other byte of what is mostly Latin is zero.
        None if zeros(bytes, 1) => (UTF_16LE, "UTF-16 text without a byte order mark"),
        None if zeros(bytes, 0) => (UTF_16BE, "UTF-16 text without a byte order mark"),
        None if std::str::from_utf8(bytes).is_ok() => (UTF_8, "UTF-8 text"),
        None => (WINDOWS_1252, "Latin-1 text (Windows-1252)"),
    };
    let (text, _, _) = encoding.decode(bytes);
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    // What cannot be seen is shown as such wherever the text goes: no reading has any.
    let text = text.replace(|c| is_unseen(c) && !matches!(c, '\n' | '\t'), "\u{fffd}");
    Decoded { text, encoding: name }
}

/// True where more than half of every second byte, from the one at `first`, is zero.
fn zeros(bytes: &[u8], first: usize) -> bool {
    let half = bytes.iter().skip(first).step_by(2);
    2 * half.clone().filter(|b| **b == 0).count() > half.len()
}

/// One cell with the column of its first character in its line, from 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::input) struct Cell {
    pub(in crate::input) text: String,
    pub(in crate::input) column: usize,
}

/// One line of cells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::input) struct Row {
    pub(in crate::input) line: usize,
    pub(in crate::input) cells: Vec<Cell>,
}

/// A file as head lines, header and rows.
#[derive(Debug)]
pub(in crate::input) struct Sheet {
    /// Line, text after the `#`.
    pub(in crate::input) head: Vec<(usize, String)>,
    pub(in crate::input) header: Option<Row>,
    pub(in crate::input) rows: Vec<Row>,
    pub(in crate::input) separator: char,
    /// Lines above the headings that are no head lines.
    pub(in crate::input) titles: usize,
}

impl Sheet {
    /// Splits a text. Lines that begin with `#` are head lines; the first other line holds the headings.
    pub(in crate::input) fn new(text: &str) -> Self {
        Self::headed(text, |_| true)
    }

    /// As [`Sheet::new`], with the headings in the first line that looks like them: a title may stand above. If none does, in the first.
    pub(in crate::input) fn headed(text: &str, headings: impl Fn(&Row) -> bool) -> Self {
        let mut told = None;
        let mut head = Vec::new();
        let mut table = Vec::new();
        for (i, line) in text.lines().enumerate() {
            let bare = line.trim().trim_start_matches('"').trim_start();
            if let Some(separator) = line.trim().strip_prefix("sep=").and_then(|s| s.chars().next()).filter(|_| table.is_empty()) {
                told = Some(separator);
            } else if let Some(rest) = bare.strip_prefix('#') {
                head.push((i + 1, rest.trim().to_string()));
            } else if bare.chars().any(|c| !matches!(c, ';' | ',' | '\t' | '"' | ' ')) {
                table.push((i + 1, line));
            }
        }
        let separator = |line: &str| told.unwrap_or_else(|| separator_of(line));
        let row = |(line, text): &(usize, &str), separator: char| Row { line: *line, cells: cells(text, separator) };
        let titles = table.iter().take(MOST_TITLES).position(|l| headings(&row(l, separator(l.1)))).unwrap_or(0);
        let separator = separator(table.get(titles).map_or("", |(_, line)| line));
        let mut rows = table[titles..].iter().map(|l| row(l, separator));
        let header = rows.next();
        Self { head, header, rows: rows.collect(), separator, titles }
    }

    pub(in crate::input) fn separator_name(&self) -> &'static str {
        match self.separator {
            ';' => "semicolons",
            '\t' => "tabs",
            ',' => "commas",
            _ => "the sign that the file names",
        }
    }
}

/// Lines among which the headings are looked for.
const MOST_TITLES: usize = 20;

/// The separator that stands most often in the line of headings.
fn separator_of(header: &str) -> char {
    let count = |c: char| header.matches(c).count();
    [';', '\t', ','].into_iter().max_by_key(|c| (count(*c), u8::from(*c == ';'))).filter(|c| count(*c) > 0).unwrap_or(',')
}

/// Cells of one line, by the CSV reader; each with the place where it begins.
fn cells(line: &str, separator: char) -> Vec<Cell> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(u8::try_from(separator).unwrap_or(b','))
        .from_reader(line.as_bytes());
    let Some(Ok(record)) = reader.records().next() else { return Vec::new() };
    let mut begins = vec![1];
    let mut quoted = false;
    for (i, c) in line.chars().enumerate() {
        match c {
            // As for the reader, a quote opens only at the beginning of a cell.
            '"' if quoted || begins.last() == Some(&(i + 1)) => quoted = !quoted,
            c if c == separator && !quoted => begins.push(i + 2),
            _ => {}
        }
    }
    let one = |(i, text): (usize, &str)| Cell { text: clean(text), column: begins.get(i).copied().unwrap_or(1) };
    record.iter().enumerate().map(one).collect()
}

/// Without spaces around it, hard ones too.
pub(in crate::input) fn clean(text: &str) -> String {
    text.trim_matches(|c: char| c.is_whitespace() || c == '\u{a0}' || c == '\u{202f}' || c == '\u{feff}').to_string()
}

/// Number of a day from a date written 2026-11-25, in days from a fixed one; nothing if that is no date.
///
/// Days of the civil calendar by counting leap years (from memory; checked against known weekdays).
#[must_use]
pub fn day_of(date: &str) -> Option<i64> {
    let parts: Vec<i64> = date.split('-').map(|p| p.parse().ok()).collect::<Option<_>>()?;
    let [year, month, day] = parts[..] else { return None };
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let lengths = [31, if leap { 29 } else { 28 }, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    if !(1900..=2200).contains(&year) || !(1..=12).contains(&month) || day < 1 || day > lengths[(month - 1) as usize] {
        return None;
    }
    let before = year - 1;
    let in_year: i64 = lengths[..(month - 1) as usize].iter().sum();
    Some(365 * before + before / 4 - before / 100 + before / 400 + in_year + day)
}

/// The date of a day counted by [`day_of`].
#[must_use]
pub fn date_of(day: i64) -> String {
    // A year holds at most 366 days and at least 365: from just before it, step by step.
    let mut year = (day / 366).max(1);
    while day_of(&format!("{}-01-01", year + 1)).is_some_and(|first| first <= day) || year < 1900 {
        year += 1;
    }
    let mut month = 1;
    while month < 12 && day_of(&format!("{year}-{:02}-01", month + 1)).is_some_and(|first| first <= day) {
        month += 1;
    }
    let first = day_of(&format!("{year}-{month:02}-01")).unwrap_or(day);
    format!("{year}-{month:02}-{:02}", day - first + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_know_where_they_begin_and_quotes_hold_separators() {
        let row = cells("A;\"1;5\";x", ';');
        assert_eq!(row.iter().map(|c| c.column).collect::<Vec<_>>(), [1, 3, 9]);
        let row = cells("A,\"1,5\",x", ',');
        assert_eq!(row[1].text, "1,5");
        assert_eq!(row[2].column, 9);
    }

    #[test]
    fn encodings_are_told_apart() {
        assert_eq!(decode(b"\xef\xbb\xbfa\r\nb").text, "a\nb");
        assert_eq!(decode(b"\xe4\xb5m").text, "\u{e4}\u{b5}m");
        assert_eq!(decode("µ".as_bytes()).text, "µ");
    }

    #[test]
    fn days_are_counted() {
        // From memory: 1970-01-01 and 2000-01-01 are 10957 days apart.
        assert_eq!(day_of("2000-01-01").unwrap() - day_of("1970-01-01").unwrap(), 10_957);
        assert_eq!(day_of("2024-03-01").unwrap() - day_of("2024-02-28").unwrap(), 2);
        for date in ["1999-12-31", "2024-02-29", "2026-11-25", "2100-03-01"] {
            assert_eq!(date_of(day_of(date).unwrap()), date);
        }
        assert!(day_of("2023-02-29").is_none() && day_of("25.11.2026").is_none());
    }
}
