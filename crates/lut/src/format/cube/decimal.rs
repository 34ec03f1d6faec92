//! Plain decimals, as nearly every table is written: eight digits at a time, then one division.

/// Bytes that are looked at together.
const WORD: usize = 8;
/// Bytes that are looked at for a number of a straight row: a digit, the point and a word.
const HEAD: usize = 2 + WORD;
/// Bytes of such a number that are not digits after the point: the digit, the point and what ends it.
const AROUND: usize = 3;
/// 2⁵³: whole numbers up to here are exact in an `f64`.
const EXACT: u64 = 1 << 53;
/// '0' in every byte.
const ZEROS: u64 = 0x3030_3030_3030_3030;

/// 10ⁿ, exact in both, for as many digits as two words hold.
const POWERS: ([u64; 2 * WORD], [f64; 2 * WORD]) = {
    let (mut whole, mut float) = ([1; 2 * WORD], [1.0; 2 * WORD]);
    let mut n = 1;
    while n < whole.len() {
        whole[n] = whole[n - 1] * 10;
        float[n] = whole[n] as f64;
        n += 1;
    }
    (whole, float)
};

/// The decimal from the start of `bytes` to the byte `end`, and its length; `None` where it is not plain enough to be read
/// here.
///
/// Plain: a minus or no sign, up to three digits, then at most a point and 15 digits, all digits together a number up to
/// 2⁵³ (they fit a `u64`), and some bytes more to look at. That number and the power of ten are exact, so that their
/// quotient, rounded once, is the `f64` nearest to the decimal.
///
/// # Source
/// W. D. Clinger, "How to read floating point numbers accurately", PLDI 1990: the case in which one operation suffices.
pub(super) fn plain(bytes: &[u8], end: u8) -> Option<(f64, usize)> {
    let sign = usize::from(*bytes.first()? == b'-');
    let (mut digits, mut at) = whole_part(bytes.get(sign..)?)?;
    at += sign;
    let mut after_point = 0;
    if *bytes.get(at)? == b'.' {
        at += 1;
        let word = word_at(bytes, at)?;
        after_point = leading_digits(word);
        digits = digits * POWERS.0[after_point] + number(word, after_point);
        if after_point == WORD {
            let word = word_at(bytes, at + WORD)?;
            let more = leading_digits(word);
            if more == WORD {
                return None;
            }
            digits = digits * POWERS.0[more] + number(word, more);
            after_point += more;
        }
        at += after_point;
    }
    if *bytes.get(at)? != end || digits > EXACT {
        return None;
    }
    let value = quotient(digits, after_point);
    Some((if sign == 1 { -value } else { value }, at))
}

#[inline(always)]
fn quotient(digits: u64, after_point: usize) -> f64 {
    // Signed, because processors turn such numbers into floating point in one instruction.
    digits as i64 as f64 / POWERS.1[after_point]
}

/// The digits before the point and how many they are, one to three.
#[inline(always)]
fn whole_part(bytes: &[u8]) -> Option<(u64, usize)> {
    let first = digit(*bytes.first()?)?;
    let Some(second) = digit(*bytes.get(1)?) else {
        return Some((first, 1));
    };
    let Some(third) = digit(*bytes.get(2)?) else {
        return Some((10 * first + second, 2));
    };
    match digit(*bytes.get(3)?) {
        None => Some((100 * first + 10 * second + third, 3)),
        Some(_) => None,
    }
}

#[inline(always)]
fn digit(byte: u8) -> Option<u64> {
    let value = byte.wrapping_sub(b'0');
    (value <= 9).then_some(u64::from(value))
}

/// Appends rows to `rows`, up to `most` in all, as long as they are straight: three decimals of one digit, a point and
/// `digits` digits each, one to seven, with a blank between and the end of the line behind. How many bytes they hold.
///
/// The columns of a table are straight as most programs write it. Where a number starts is then known before the one in
/// front of it is read, so that a processor reads all three at once.
pub(super) fn straight_rows(
    bytes: &[u8],
    digits: usize,
    rows: &mut Vec<[f64; 3]>,
    most: usize,
) -> usize {
    match digits {
        1 => straight::<1>(bytes, rows, most),
        2 => straight::<2>(bytes, rows, most),
        3 => straight::<3>(bytes, rows, most),
        4 => straight::<4>(bytes, rows, most),
        5 => straight::<5>(bytes, rows, most),
        6 => straight::<6>(bytes, rows, most),
        7 => straight::<7>(bytes, rows, most),
        _ => 0,
    }
}

/// Digits after the point of the numbers of a row of `length` bytes with its end, if it is straight.
pub(super) fn straight_digits(length: usize) -> usize {
    if length.is_multiple_of(3) {
        (length / 3).saturating_sub(AROUND)
    } else {
        0
    }
}

fn straight<const DIGITS: usize>(bytes: &[u8], rows: &mut Vec<[f64; 3]>, most: usize) -> usize {
    let mut taken = 0;
    while rows.len() < most
        && let Some(row) = straight_row::<DIGITS>(&bytes[taken..])
    {
        rows.push(row);
        taken += 3 * (AROUND + DIGITS);
    }
    taken
}

#[inline(always)]
fn straight_row<const DIGITS: usize>(bytes: &[u8]) -> Option<[f64; 3]> {
    let bytes = bytes.get(..2 * (AROUND + DIGITS) + HEAD)?;
    let mut row = [0.0; 3];
    let mut wrong = 0;
    for (i, end) in b"  \n".iter().enumerate() {
        let head = bytes[i * (AROUND + DIGITS)..].first_chunk::<HEAD>()?;
        let [first, point, a, b, c, d, e, f, g, h] = *head;
        let word = u64::from_le_bytes([a, b, c, d, e, f, g, h]);
        let first = first.wrapping_sub(b'0');
        // What stands behind the digits is of no account.
        wrong |= others(word) << (8 * (WORD - DIGITS));
        wrong |= u64::from(first > 9 || point != b'.' || head[2 + DIGITS] != *end);
        let digits = u64::from(first) * POWERS.0[DIGITS] + number(word, DIGITS);
        row[i] = quotient(digits, DIGITS);
    }
    (wrong == 0).then_some(row)
}

/// The first byte is the lowest.
#[inline(always)]
fn word_at(bytes: &[u8], at: usize) -> Option<u64> {
    let word = bytes.get(at..)?.first_chunk::<WORD>()?;
    Some(u64::from_le_bytes(*word))
}

/// How many digits a word starts with.
#[inline(always)]
fn leading_digits(word: u64) -> usize {
    others(word).trailing_zeros() as usize / 8
}

/// The high bit of every byte that is no digit; bytes behind the first such may have it too.
#[inline(always)]
fn others(word: u64) -> u64 {
    const ABOVE_NINE: u64 = 0x7676_7676_7676_7676;
    const HIGH_BITS: u64 = 0x8080_8080_8080_8080;
    // A byte above 9 sets its high bit, by the sum or by itself; a carry reaches later bytes alone.
    let value = word ^ ZEROS;
    (value.wrapping_add(ABOVE_NINE) | value) & HIGH_BITS
}

/// The number that the first `count` bytes of a word spell; any number where they are not digits, which the caller finds out.
#[inline(always)]
fn number(word: u64, count: usize) -> u64 {
    // Zeros in front, what follows the digits gone; in two shifts, because there is none by all 64 bits.
    let missing = 4 * (WORD - count);
    let digits = (word ^ ZEROS) << missing << missing;
    // Pairs of digits in every other byte; then the first and third pair, and the second and fourth, each times its power
    // of ten, all four in the upper half.
    const EVERY_FOURTH: u64 = 0x0000_00FF_0000_00FF;
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8);
    let odd = (pairs & EVERY_FOURTH).wrapping_mul(100 + (1_000_000 << 32));
    let even = (pairs >> 16 & EVERY_FOURTH).wrapping_mul(1 + (10_000 << 32));
    odd.wrapping_add(even) >> 32
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Enough to look at after the decimal.
    const AFTER: &str = "        ";

    fn read(text: &str) -> Option<(f64, usize)> {
        plain((text.to_owned() + AFTER).as_bytes(), b' ')
    }

    #[test]
    fn plain_decimals_are_read_and_others_left() {
        for (text, value) in [
            ("0", 0.0),
            ("1", 1.0),
            ("255", 255.0),
            ("0.", 0.0),
            ("0.5", 0.5),
            ("-0.1234567", -0.123_456_7),
            ("0.12345678", 0.123_456_78),
            ("0.123456789012345", 0.123_456_789_012_345),
            ("9.007199254740992", 9.007_199_254_740_992),
        ] {
            assert_eq!(read(text), Some((value, text.len())), "{text}");
        }
        assert!(read("-0.0").is_some_and(|(v, _)| v.is_sign_negative()));
        for text in [
            "",
            "-",
            ".",
            ".5",
            "+1",
            "1e3",
            "0.5e1",
            "0.5E1",
            "1234",
            "0x0",
            "0,5",
            "0.5.",
            "0.5\t",
            "nan",
            "--1",
            "0.1234567890123456",
            "9.007199254740993",
            "0.5\u{e9}",
            "0/1",
            "0:1",
        ] {
            assert_eq!(read(text), None, "{text}");
        }
        // Not enough bytes to look at.
        assert_eq!(plain(b"0.5 0.5", b' '), None);
    }

    /// Found by fuzzing: in a build that checks sums, these overflowed one before they were seen to be no digits.
    #[test]
    fn bytes_far_from_digits_are_refused() {
        let mut rows = Vec::new();
        let row =
            b"0.000000 0.000000 0.000\xd0\xcf\xcf\xdf\xce\xd1\xcf\xcf0000 0.000000\n\n\0        ";
        assert_eq!(straight_rows(row, 6, &mut rows, 1), 0);
        for byte in 0..=u8::MAX {
            let head = [[b'0', b'.'].as_slice(), &[byte; 2 * WORD + 6]].concat();
            assert!(straight_rows(&head.repeat(3), 6, &mut rows, 1) == 0 && rows.is_empty());
            assert!(byte.is_ascii_digit() || byte == b' ' || plain(&head, b' ').is_none());
        }
    }

    /// Rows of three decimals with so many digits after the point.
    fn table(digits: usize, values: &[[u32; 3]]) -> String {
        let number = |v: u32| {
            let unit = 10_u32.pow(digits as u32);
            format!("{}.{:0digits$}", v / unit % 10, v % unit)
        };
        let row = |row: &[u32; 3]| row.map(number).join(" ") + "\n";
        values.iter().map(row).collect()
    }

    proptest! {
        /// Rows of straight columns have the bits that the standard library gives, up to the first that is not straight.
        #[test]
        fn straight_rows_are_the_nearest_numbers(
            digits in 1_usize..=7, values in prop::collection::vec(prop::array::uniform3(any::<u32>()), 1..12), at in any::<prop::sample::Index>(),
            byte in any::<u8>(),
        ) {
            let text = table(digits, &values);
            let width = 3 * (AROUND + digits);
            let known: Vec<[f64; 3]> = text
                .lines()
                .map(|line| {
                    let mut words = line.split(' ').map(|word| word.parse::<f64>().unwrap());
                    std::array::from_fn(|_| words.next().unwrap())
                })
                .collect();
            let mut rows = Vec::new();
            let taken = straight_rows((text.clone() + AFTER).as_bytes(), digits, &mut rows, usize::MAX);
            prop_assert_eq!((taken, &rows), (text.len(), &known));
            rows.clear();
            prop_assert_eq!(straight_rows(text.as_bytes(), digits, &mut rows, 1) / width, rows.len());
            prop_assert!(rows.len() <= 1);

            let mut damaged = (text.clone() + AFTER).into_bytes();
            let at = at.index(text.len());
            let same_kind = damaged[at].is_ascii_digit() && byte.is_ascii_digit() || damaged[at] == byte;
            damaged[at] = byte;
            rows.clear();
            straight_rows(&damaged, digits, &mut rows, usize::MAX);
            let whole = if same_kind { values.len() } else { at / width };
            prop_assert_eq!(rows.len(), whole);
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4000))]

        /// What is read here has the bits that the standard library gives.
        #[test]
        fn every_decimal_read_is_the_nearest_number(text in "-?[0-9]{1,4}(\\.[0-9]{0,17})?") {
            if let Some((value, length)) = read(&text) {
                prop_assert_eq!(length, text.len());
                prop_assert_eq!(value.to_bits(), text.parse::<f64>()?.to_bits());
            }
        }

        /// And every decimal of a usual table is read here.
        #[test]
        fn usual_decimals_are_read(text in "-?[0-9]{1,3}(\\.[0-9]{0,12})?") {
            prop_assert!(read(&text).is_some(), "{}", text);
        }

        /// Whatever the bytes, nothing panics, and what is read is a number for the standard library too.
        #[test]
        fn no_byte_is_taken_for_a_digit(bytes in prop::collection::vec(prop_oneof![Just(b'.'), b'0'..=b'9', any::<u8>()], 0..24)) {
            if let Some((value, length)) = plain(&bytes, b' ') {
                let text = std::str::from_utf8(&bytes[..length])?;
                prop_assert_eq!(value.to_bits(), text.parse::<f64>()?.to_bits());
            }
        }
    }
}
