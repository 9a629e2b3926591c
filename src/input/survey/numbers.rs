//! Numbers as spreadsheets write them: decimal point or comma, grouped thousands, odd minus signs.

/// The decimal mark of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::input) enum Decimal {
    Point,
    Comma,
}

/// Plain ASCII: no spaces or apostrophes between groups, a minus that is one.
fn tidy(text: &str) -> String {
    text.chars()
        .filter(|c| !matches!(c, ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}' | '\''))
        .map(|c| if matches!(c, '\u{2212}' | '\u{2013}') { '-' } else { c })
        .collect()
}

/// The decimal mark that the cells of a file use; `None` where nothing tells.
///
/// With commas between the columns a comma inside a cell can only stand in quotes. One comma and no point in a cell, or
/// a point before the comma, speaks for the comma; a point after which not three digits follow speaks for the point.
pub(in crate::input) fn decimal_of<'c>(cells: impl Iterator<Item = &'c str>) -> Result<Option<Decimal>, (String, String)> {
    let (mut point, mut comma) = (None, None);
    for cell in cells {
        let text = tidy(cell);
        if !text.bytes().all(|b| b.is_ascii_digit() || b"+-.,eE".contains(&b)) || !text.bytes().any(|b| b.is_ascii_digit()) {
            continue;
        }
        let (p, c) = (text.rfind('.'), text.rfind(','));
        let says = match (p, c) {
            (Some(p), Some(c)) => Some(if p > c { Decimal::Point } else { Decimal::Comma }),
            (Some(_), None) if text.matches('.').count() > 1 => in_threes(&text, '.').then_some(Decimal::Comma),
            (None, Some(_)) if text.matches(',').count() > 1 => in_threes(&text, ',').then_some(Decimal::Point),
            (Some(p), None) => surely_decimal(&text, p).then_some(Decimal::Point),
            (None, Some(c)) => surely_decimal(&text, c).then_some(Decimal::Comma),
            (None, None) => None,
        };
        match says {
            Some(Decimal::Point) => point = point.or_else(|| Some(cell.to_string())),
            Some(Decimal::Comma) => comma = comma.or_else(|| Some(cell.to_string())),
            None => {}
        }
    }
    match (point, comma) {
        (Some(p), Some(c)) => Err((p, c)),
        (Some(_), None) => Ok(Some(Decimal::Point)),
        (None, Some(_)) => Ok(Some(Decimal::Comma)),
        (None, None) => Ok(None),
    }
}

/// True where a mark stands before groups of three digits only: 2.600.125.
fn in_threes(text: &str, mark: char) -> bool {
    text.split(mark).skip(1).all(|group| group.len() == 3)
}

/// True where the one mark at `at` cannot separate thousands: 0.012, 12.5, 2600.125.
fn surely_decimal(text: &str, at: usize) -> bool {
    let whole = text[..at].trim_start_matches(['+', '-']);
    text.len() - at != 4 || whole.is_empty() || whole.len() > 3 || whole.starts_with('0')
}

/// A number, or what is wrong with it.
pub(in crate::input) fn number(cell: &str, decimal: Option<Decimal>) -> Result<f64, &'static str> {
    let text = tidy(cell);
    let plain = match decimal {
        Some(Decimal::Point) => grouped(&text, '.', ',')?,
        Some(Decimal::Comma) => grouped(&text, ',', '.')?.replace(',', "."),
        None if text.contains(['.', ',']) => {
            return Err(
                "it cannot be told whether this mark separates decimals or thousands; say so in a head line: # decimal = point (or comma)",
            );
        }
        None => text,
    };
    match plain.parse::<f64>() {
        Ok(x) if x.is_finite() => Ok(x),
        _ => Err("this is no number"),
    }
}

/// Takes thousands marks out, which must stand before groups of three digits.
fn grouped(text: &str, decimal: char, thousands: char) -> Result<String, &'static str> {
    let whole = text.split(decimal).next().unwrap_or("");
    let mut groups = whole.trim_start_matches(['+', '-']).split(thousands);
    let first = groups.next().unwrap_or("");
    let fraction = &text[whole.len()..];
    if fraction.contains(thousands) || (groups.clone().count() > 0 && (first.is_empty() || groups.any(|g| g.len() != 3))) {
        return Err("this is no number: decimal mark and thousands mark do not fit together");
    }
    Ok(text.replace(thousands, ""))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_told_apart_by_the_whole_file() {
        assert_eq!(decimal_of(["2.452.12", "1.5"].into_iter()), Ok(Some(Decimal::Point)), "a slip of the pen says nothing");
        assert_eq!(decimal_of(["2.452.125"].into_iter()), Ok(Some(Decimal::Comma)));
        assert_eq!(decimal_of(["1,5", "2", "0,25"].into_iter()), Ok(Some(Decimal::Comma)));
        assert_eq!(decimal_of(["1.5", "2"].into_iter()), Ok(Some(Decimal::Point)));
        assert_eq!(decimal_of(["1.234", "500"].into_iter()), Ok(None));
        assert_eq!(decimal_of(["1.234", "-0.012"].into_iter()), Ok(Some(Decimal::Point)));
        assert!(decimal_of(["1,5", "2.5"].into_iter()).is_err());
        assert_eq!(decimal_of(["1.234,5"].into_iter()), Ok(Some(Decimal::Comma)));
    }

    #[test]
    fn numbers_in_all_dress() {
        let (p, c) = (Some(Decimal::Point), Some(Decimal::Comma));
        assert_eq!(number("1\u{a0}234,5", c), Ok(1234.5));
        assert_eq!(number("1.234,5", c), Ok(1234.5));
        assert_eq!(number("\u{2212}0,02", c), Ok(-0.02));
        assert_eq!(number("2,600.25", p), Ok(2600.25));
        assert_eq!(number("1'234.5", p), Ok(1234.5));
        assert!(
            number("2,60.25", p).is_err() && number("1,2,3", c).is_err() && number("abc", p).is_err() && number("1.234", None).is_err()
        );
        assert_eq!(number("1e-3", p), Ok(0.001));
    }
}
