//! Words and numbers on one line, as bytes.

use super::decimal::{plain, straight_digits, straight_rows};
use crate::format::lines::LONGEST_LINE;

/// Why a word is not a number of the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fault {
    NotANumber,
    Comma,
    NotFinite,
}

/// Why a line does not hold the numbers it should; positions are byte offsets into the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum RowFault {
    Number { start: usize, fault: Fault },
    Missing { found: usize },
    Extra { start: usize },
}

pub(super) fn is_blank(byte: u8) -> bool {
    byte == b' ' || byte == b'\t'
}

/// Offset of the first byte from `from` on that is not a blank, or the length of the line.
pub(super) fn skip_blanks(line: &[u8], from: usize) -> usize {
    from + line[from..].iter().take_while(|&&b| is_blank(b)).count()
}

/// The word that starts at `from`.
pub(super) fn word(line: &[u8], from: usize) -> &[u8] {
    let rest = &line[from..];
    let length = rest.iter().take_while(|&&b| !is_blank(b)).count();
    &rest[..length]
}

/// `N` numbers from offset `from` to the end of the line, with the offset of each.
pub(super) fn numbers<const N: usize>(
    line: &[u8],
    from: usize,
) -> Result<([f64; N], [usize; N]), RowFault> {
    let (mut values, mut starts) = ([0.0; N], [0; N]);
    let mut at = from;
    for found in 0..N {
        let start = skip_blanks(line, at);
        if start == line.len() {
            return Err(RowFault::Missing { found });
        }
        let (value, length) =
            number(&line[start..]).map_err(|fault| RowFault::Number { start, fault })?;
        (values[found], starts[found]) = (value, start);
        at = start + length;
    }
    let start = skip_blanks(line, at);
    if start < line.len() {
        return Err(RowFault::Extra { start });
    }
    Ok((values, starts))
}

/// Appends rows to `rows`, up to `most` in all, from the start of `bytes` as long as they are plain: three finite
/// numbers, one space between them, LF after the last. How many rows, and how many bytes they hold.
///
/// This is the fast way through a well-kept table; a line it leaves is looked at again with care.
pub(super) fn plain_rows(bytes: &[u8], rows: &mut Vec<[f64; 3]>, most: usize) -> (usize, usize) {
    let (before, mut taken) = (rows.len(), 0);
    while rows.len() < most {
        let Some((row, length)) = plain_row(&bytes[taken..]) else {
            break;
        };
        rows.push(row);
        taken += length;
        // The next ones may be like it.
        taken += straight_rows(&bytes[taken..], straight_digits(length), rows, most);
    }
    (rows.len() - before, taken)
}

/// The plain row that `bytes` start with, and its length with its end.
fn plain_row(bytes: &[u8]) -> Option<([f64; 3], usize)> {
    let (mut row, mut at) = ([0.0; 3], 0);
    for (value, end) in row.iter_mut().zip(b"  \n") {
        let rest = &bytes[at..];
        let (v, length) = plain(rest, *end).or_else(|| any_finite(rest, *end))?;
        *value = v;
        at += length + 1;
    }
    (at <= LONGEST_LINE + 1).then_some((row, at))
}

/// The finite number from the start of `bytes` to the byte `end`, in any dress, and its length.
#[inline(never)]
fn any_finite(bytes: &[u8], end: u8) -> Option<(f64, usize)> {
    let (value, length) = fast_float2::parse_partial::<f64, _>(bytes).ok()?;
    (value.is_finite() && bytes.get(length) == Some(&end)).then_some((value, length))
}

/// The number `rest` starts with, and its length; a blank or the end of the line must follow.
fn number(rest: &[u8]) -> Result<(f64, usize), Fault> {
    if let Ok((value, length)) = fast_float2::parse_partial::<f64, _>(rest)
        && rest.get(length).is_none_or(|&b| is_blank(b))
    {
        // Words such as "nan" and "inf" and values beyond f64 arrive here too.
        return if value.is_finite() {
            Ok((value, length))
        } else {
            Err(Fault::NotFinite)
        };
    }
    let word = word(rest, 0);
    Err(if word.contains(&b',') {
        Fault::Comma
    } else {
        Fault::NotANumber
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimal_numbers_in_every_lawful_dress_are_read() {
        for (text, value) in [
            ("0", 0.0),
            ("-0.125", -0.125),
            ("+0.5", 0.5),
            (".5", 0.5),
            ("1.", 1.0),
            ("1e-3", 1e-3),
            ("1.25E0", 1.25),
            ("1E+2", 100.0),
            ("1e-999", 0.0),
        ] {
            assert_eq!(number(text.as_bytes()), Ok((value, text.len())), "{text}");
        }
    }

    #[test]
    fn other_words_are_refused_for_what_they_are() {
        for text in [
            "0x0",
            "1.0.5",
            ".",
            "+",
            "-",
            "e5",
            "1e",
            "1e+",
            "1_0",
            "--1",
            "+-1",
            "1#",
            "1d3",
            "\u{2212}1",
        ] {
            assert_eq!(number(text.as_bytes()), Err(Fault::NotANumber), "{text}");
        }
        for text in ["nan", "NaN", "-nan", "inf", "+Infinity", "1e999", "-1e999"] {
            assert_eq!(number(text.as_bytes()), Err(Fault::NotFinite), "{text}");
        }
        for text in ["0,5", "0,", ",5", "1.0,0.5,0"] {
            assert_eq!(number(text.as_bytes()), Err(Fault::Comma), "{text}");
        }
    }

    #[test]
    fn a_row_holds_exactly_its_numbers() {
        assert_eq!(numbers::<2>(b"KEY\t1  2 ", 3), Ok(([1.0, 2.0], [4, 7])));
        assert_eq!(
            numbers::<3>(b"1 2 ", 0),
            Err(RowFault::Missing { found: 2 })
        );
        assert_eq!(numbers::<1>(b"1 2", 0), Err(RowFault::Extra { start: 2 }));
    }

    #[test]
    fn plain_rows_stop_at_the_first_line_that_is_not() {
        let plain = b"0 .5 1\n-1 1e-3 2.25\n";
        for tail in [
            "1 2",
            "1 2 3",
            "1 2 3\r\n",
            "1 2 3 \n",
            " 1 2 3\n",
            "1  2 3\n",
            "1\t2 3\n",
            "1 2 3 4\n",
            "1 2\n3\n",
            "nan 0 0\n",
            "1 inf 0\n",
            "1 0 1e999\n",
            "0,5 0 0\n",
            "0x0 0 0\n",
            "# a\n",
            "\n",
            "TITLE\n",
            "",
        ] {
            let mut rows = Vec::new();
            let text = [plain, tail.as_bytes()].concat();
            assert_eq!(
                plain_rows(&text, &mut rows, 9),
                (2, plain.len()),
                "{tail:?}"
            );
            assert_eq!(rows, [[0.0, 0.5, 1.0], [-1.0, 1e-3, 2.25]]);
        }
        let mut rows = vec![[0.0; 3]];
        assert_eq!(plain_rows(plain, &mut rows, 2), (1, 7));
        let long = format!("0 0 0.{}\n", "0".repeat(245));
        assert_eq!(plain_rows(long.as_bytes(), &mut rows, 9), (0, 0));
    }
}
