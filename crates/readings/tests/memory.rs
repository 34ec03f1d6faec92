//! What a reader takes of memory is bounded by what the file holds, not by what it says.
//!
//! Each bound is the one stated in `docs/methods/formats.md`, tested on files made to pass it.

use std::fmt::Write as _;
use std::path::Path;

use evenstep_readings::{RgbScale, parse};

/// Room for messages, the head and the like.
const SMALL: u64 = 256 << 10;
/// Bytes of memory for each byte of a file of the shortest cells there are.
const PER_BYTE: u64 = 48;

fn peak(text: &str) -> u64 {
    allocation_counter::measure(|| {
        let _ = parse(text.as_bytes(), Path::new("hostile"), RgbScale::Detect);
    })
    .bytes_max
}

/// A head of CGATS.17 text with a number of sets, then rows.
fn cgats(sets: usize, rows: &str) -> String {
    format!(
        "CGATS.17\nNUMBER_OF_FIELDS 7\nBEGIN_DATA_FORMAT\nSAMPLE_ID RGB_R RGB_G RGB_B XYZ_X XYZ_Y XYZ_Z\n\
         END_DATA_FORMAT\nNUMBER_OF_SETS {sets}\nBEGIN_DATA\n{rows}END_DATA\n"
    )
}

#[test]
fn a_huge_number_of_sets_alone_takes_no_memory() {
    let text = cgats(1 << 20, "1 0 0 0 1 1 1\n");
    assert!(peak(&text) < SMALL, "{}", peak(&text));
}

#[test]
fn an_endless_line_takes_no_more_than_itself() {
    for head in ["CGATS.17\n", "r,g,b,X,Y,Z\n"] {
        for byte in ["1", " ", "\""] {
            let text = head.to_owned() + &byte.repeat(4 << 20);
            assert!(
                peak(&text) < 2 * text.len() as u64,
                "{head:?} {byte:?} {}",
                peak(&text)
            );
        }
    }
}

#[test]
fn many_short_rows_take_a_multiple_of_the_file() {
    let (mut rows, mut csv) = (String::new(), "r,g,b,X,Y,Z\n".to_owned());
    for i in 0..8192 {
        writeln!(rows, "{i} {} 0 0 1 1 1", i % 2).unwrap();
        writeln!(csv, "{},0,0,1,1,1", i % 2).unwrap();
    }
    for text in [cgats(8192, &rows), csv] {
        let most = PER_BYTE * text.len() as u64 + SMALL;
        assert!(peak(&text) < most, "{} of {}", peak(&text), text.len());
    }
}
