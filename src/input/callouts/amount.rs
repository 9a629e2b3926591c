//! The cell of a value: one number, two limits (+0.3/-0.1), or a number for each length (0.02/300, ISO 1101).

use crate::input::survey::numbers::{Decimal, number};

/// What a cell of a value holds, in the unit of its row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Amount {
    /// A half width or a whole width.
    One(f64),
    /// Lower and upper limit.
    Limits(f64, f64),
    /// A number for each length, mm.
    PerLength(f64, f64),
}

/// The numbers of a cell as they are written, for whoever looks for the decimal mark.
pub(super) fn parts(text: &str) -> impl Iterator<Item = &str> {
    text.split('/').map(|part| part.trim().trim_start_matches(['±', '+']))
}

/// Reads a cell.
///
/// # Errors
/// What is wrong with it.
pub(super) fn amount(text: &str, decimal: Option<Decimal>) -> Result<Amount, &'static str> {
    let bare = text.trim().trim_start_matches('±').trim();
    let Some((first, second)) = bare.split_once('/') else {
        return number(bare.trim_start_matches('+'), decimal).map(Amount::One);
    };
    let signed = |part: &str| part.trim().starts_with(['+', '-', '\u{2212}', '\u{2013}']);
    let read = |part: &str| number(part.trim().trim_start_matches('+'), decimal);
    let (a, b) = (read(first)?, read(second)?);
    if signed(first) || signed(second) {
        return if text.contains('±') || a == b { Err("these are not two limits") } else { Ok(Amount::Limits(a.min(b), a.max(b))) };
    }
    if b > 0.0 { Ok(Amount::PerLength(a, b)) } else { Err("the length behind the stroke must be above 0") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_a_cell_is_a_number_two_limits_or_a_number_for_a_length() {
        let point = |text: &str| amount(text, Some(Decimal::Point));
        assert_eq!(point("0.15"), Ok(Amount::One(0.15)));
        assert_eq!(point("±0.15"), Ok(Amount::One(0.15)));
        assert_eq!(point("+0.3/-0.1"), Ok(Amount::Limits(-0.1, 0.3)));
        assert_eq!(point("\u{2212}0.1 / +0.3"), Ok(Amount::Limits(-0.1, 0.3)));
        assert_eq!(point("0/-0.2"), Ok(Amount::Limits(-0.2, 0.0)));
        assert_eq!(point("+0.2/+0.1"), Ok(Amount::Limits(0.1, 0.2)));
        assert_eq!(point("0.02/300"), Ok(Amount::PerLength(0.02, 300.0)));
        assert_eq!(amount("0,02/300", Some(Decimal::Comma)), Ok(Amount::PerLength(0.02, 300.0)));
        for wrong in ["0.02/0", "±0.3/-0.1", "+0.1/+0.1", "0.1/x", "/", "0.1/0.2/0.3"] {
            assert!(point(wrong).is_err(), "{wrong}: {:?}", point(wrong));
        }
    }
}
