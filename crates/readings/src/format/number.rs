use std::path::Path;

use evenstep_files::Place;

use crate::ReadingsError;

/// A number and the place of its cell.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Num {
    pub(crate) value: f64,
    pub(crate) line: usize,
    pub(crate) column: usize,
}

/// Where a cell stands and what it is for, so that its error can say so.
pub(crate) struct Cell<'a> {
    pub(crate) path: &'a Path,
    pub(crate) line: usize,
    pub(crate) column: usize,
    pub(crate) id: &'a str,
    pub(crate) name: &'a str,
}

/// Reads a finite decimal number: a point as decimal mark, an optional exponent, nothing else.
pub(crate) fn number(text: &[u8], cell: &Cell<'_>) -> Result<Num, ReadingsError> {
    if let Some(value) = decimal(text) {
        return Ok(Num {
            value,
            line: cell.line,
            column: cell.column,
        });
    }
    let place = Place::new(cell.path, cell.line, cell.column);
    let (id, column) = (shorten(cell.id.as_bytes()), cell.name.to_owned());
    let found = shorten(text);
    Err(if has_decimal_comma(text) {
        ReadingsError::DecimalComma {
            place,
            id,
            column,
            found,
        }
    } else {
        ReadingsError::BadNumber {
            place,
            id,
            column,
            found,
        }
    })
}

/// The value of a finite decimal number, or `None`. The words for infinity and "not a number", hexadecimal
/// digits and numbers too large to hold are refused: none of them is a reading.
pub(crate) fn decimal(text: &[u8]) -> Option<f64> {
    let plain = |b: &u8| matches!(b, b'0'..=b'9' | b'+' | b'-' | b'.' | b'e' | b'E');
    if !text.iter().all(plain) {
        return None;
    }
    let text = std::str::from_utf8(text).ok()?;
    text.parse::<f64>().ok().filter(|v| v.is_finite())
}

fn has_decimal_comma(text: &[u8]) -> bool {
    let mut commas = text.iter().enumerate().filter(|(_, b)| **b == b',');
    let (Some((at, _)), None) = (commas.next(), commas.next()) else {
        return false;
    };
    let mut with_point = text.to_vec();
    with_point[at] = b'.';
    decimal(&with_point).is_some()
}

/// Text for a message: valid, free of control characters, and short enough for one line.
pub(crate) fn shorten(text: &[u8]) -> String {
    const LONGEST: usize = 40;
    let text = String::from_utf8_lossy(text);
    let printable = |c: char| {
        if c.is_control() {
            char::REPLACEMENT_CHARACTER
        } else {
            c
        }
    };
    let mut short: String = text.chars().take(LONGEST).map(printable).collect();
    if text.chars().nth(LONGEST).is_some() {
        short.push('…');
    }
    short
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_finite_decimal_numbers_are_read() {
        for (text, value) in [
            ("0", 0.0),
            ("-1.5", -1.5),
            ("9.505E+01", 95.05),
            (".5", 0.5),
        ] {
            assert_eq!(decimal(text.as_bytes()), Some(value), "{text}");
        }
        for text in [
            "", "nan", "NaN", "inf", "1e999", "0x10", "1_0", "1,5", "e", "-", "1 2", "n/a",
        ] {
            assert_eq!(decimal(text.as_bytes()), None, "{text}");
        }
    }

    #[test]
    fn a_decimal_comma_is_told_from_other_text() {
        assert!(has_decimal_comma(b"95,05"));
        assert!(has_decimal_comma(b"-0,5e3"));
        for text in ["1,2,3", "a,b", "95.05", ""] {
            assert!(!has_decimal_comma(text.as_bytes()), "{text}");
        }
    }
}
