//! What a reader takes of memory is bounded by what the file holds, not by what it says.
//!
//! Each bound is the one stated in `docs/methods/formats.md`, tested on a file made to pass it.

use std::path::Path;

use evenstep_convert::{ConvertOptions, FileFormat, convert, parse};
use evenstep_lut::{Lut, Lut1d, Lut3d};
use evenstep_picture::Format;

/// Room for paths, messages, tables of the decoder and the like.
const SMALL: u64 = 256 << 10;

fn peak(bytes: &[u8]) -> u64 {
    allocation_counter::measure(|| {
        let _ = parse(bytes, Path::new("hostile"));
    })
    .bytes_max
}

fn list(inside: &str) -> String {
    format!(
        "<?xml version=\"1.0\"?><ProcessList xmlns=\"urn:AMPAS:CLF:v3.0\" id=\"a\" compCLFversion=\"3.0\">{inside}</ProcessList>"
    )
}

fn file(lut: Lut, format: FileFormat) -> Vec<u8> {
    let mut bytes = Vec::new();
    let options = ConvertOptions::to(format);
    convert(&evenstep_convert::Content::Lut(lut), &options)
        .unwrap()
        .write_to(Format::Png, &mut bytes)
        .unwrap();
    bytes
}

#[test]
fn a_huge_size_alone_takes_no_memory() {
    let clf = list(
        "<LUT3D inBitDepth=\"32f\" outBitDepth=\"32f\"><Array dim=\"256 256 256 3\">0 0 0</Array></LUT3D>",
    );
    for text in [
        "LUT_3D_SIZE 256\n0 0 0\n",
        "LUT_1D_SIZE 65536\n0 0 0\n",
        "EVENSTEP-TABLE 1\ndepth 16\norder red-fastest\nlattice 256\ndata\n0 0 0\n",
        clf.as_str(),
    ] {
        assert!(
            peak(text.as_bytes()) < SMALL,
            "{text:?}: {}",
            peak(text.as_bytes())
        );
    }
}

#[test]
fn a_huge_picture_alone_takes_two_rows() {
    // A whole picture of 4096 pixels on a side, cut behind its head: its rows are asked for and do not come.
    let whole = file(Lut3d::identity(4).into(), FileFormat::Picture);
    let mut head = whole[..33].to_vec();
    head[16..24].copy_from_slice(&[0, 0, 16, 0, 0, 0, 16, 0]);
    let sum = crc32(&head[12..29]);
    head[29..33].copy_from_slice(&sum.to_be_bytes());
    head.extend_from_slice(&whole[33..]);
    const ROW: u64 = 4096 * 3 * 2;
    // The reader asks for 64 rows at a time at this size.
    assert!(peak(&head) < SMALL + 3 * 64 * ROW, "{}", peak(&head));
}

/// Cyclic redundancy check of PNG chunks (ISO/IEC 15948:2004, 5.5), bit by bit.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |sum, _| {
            if sum & 1 == 1 {
                sum >> 1 ^ 0xEDB8_8320
            } else {
                sum >> 1
            }
        })
    })
}

#[test]
fn endless_lines_take_no_more_than_a_line() {
    for start in [
        "LUT_3D_SIZE 2\n0 0 0.",
        "# ",
        "TITLE \"",
        "EVENSTEP-TABLE 1\ntitle ",
        "EVENSTEP-TABLE 1\n#",
    ] {
        let text = format!("{start}{}", "0".repeat(4 << 20));
        assert!(
            peak(text.as_bytes()) < 2 * SMALL,
            "{start}: {}",
            peak(text.as_bytes())
        );
    }
}

#[test]
fn hostile_markup_is_refused_before_a_tree_is_built() {
    let entities = "<!DOCTYPE a [<!ENTITY a \"aaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;\">]>";
    let many = |text: &str| list(&text.repeat((3 << 20) / text.len()));
    for text in [
        format!("<?xml version=\"1.0\"?>{entities}<ProcessList id=\"&b;\"/>"),
        many("<a>"),
        many("<a/>"),
        many("<a b=\"1\" c=\"2\"/>"),
        format!(
            "<ProcessList {}>",
            (0..100_000)
                .map(|i| format!("a{i}=\"\" "))
                .collect::<String>()
        ),
        many("<?a?>"),
        // Each of the many repeats what all those around it declare.
        list(&format!(
            "{}{}",
            (0..60)
                .map(|i| {
                    let declared: String =
                        (0..150).map(|j| format!(" xmlns:a{i}b{j}='u'")).collect();
                    format!("<a{declared}>")
                })
                .collect::<String>(),
            "<a xmlns='u'/>".repeat(10_000)
        )),
    ] {
        let refused = parse(text.as_bytes(), Path::new("hostile.clf"));
        assert!(refused.is_err());
        assert!(
            peak(text.as_bytes()) < SMALL,
            "{}: {}",
            &text[..60],
            peak(text.as_bytes())
        );
    }
}

#[test]
fn character_references_take_three_times_the_text_and_the_table() {
    let text = list(&format!(
        "<LUT1D inBitDepth=\"32f\" outBitDepth=\"32f\"><Array dim=\"65536 3\">{}</Array></LUT1D>",
        "&#48; ".repeat(3 * 65_536)
    ));
    const TABLE: u64 = 65_536 * 24;
    assert!(parse(text.as_bytes(), Path::new("a.clf")).is_ok());
    assert!(peak(text.as_bytes()) < SMALL + 3 * text.len() as u64 + 2 * TABLE);
}

#[test]
fn words_without_end_take_no_list_of_words() {
    let words = |element: &str, word: &str| {
        format!(
            "<{element}>{}</{element}>",
            word.repeat((8 << 20) / word.len())
        )
    };
    // Growing takes the text twice for a moment.
    const LONGEST_TEXT: u64 = 1 << 20;
    let text = list(&words("Description", "a "));
    assert!(peak(text.as_bytes()) < SMALL + 2 * LONGEST_TEXT);
    // Pairs of a map: the text that may stand there, and two numbers for each pair.
    const LONGEST_MAP: u64 = 64 << 16;
    const PAIRS: u64 = 65_536 * 16;
    let map = list(&format!(
        "<LUT1D inBitDepth='32f' outBitDepth='32f'>{}</LUT1D>",
        words("IndexMap", "0@0 ")
    ))
    .replace("version=\"3.0\"", "version=\"2.0\"");
    let refused = parse(map.as_bytes(), Path::new("a.clf"))
        .unwrap_err()
        .to_string();
    assert!(refused.contains("bytes of text in IndexMap"), "{refused}");
    assert!(peak(map.as_bytes()) < SMALL + 2 * LONGEST_MAP);
    let map = map.replacen(&"0@0 ".repeat(1 << 20), "", 1);
    let refused = parse(map.as_bytes(), Path::new("a.clf"))
        .unwrap_err()
        .to_string();
    assert!(
        refused.contains("pairs in an IndexMap, more than the 65536"),
        "{refused}"
    );
    assert!(peak(map.as_bytes()) < SMALL + 2 * LONGEST_MAP + 2 * PAIRS);
}

#[test]
fn lawful_files_take_their_tables_twice_at_most() {
    let lut = || Lut {
        curves: Some(Lut1d::identity(1024)),
        lattice: Some(Lut3d::identity(36)),
        ..Lut::default()
    };
    let table = (36_u64.pow(3) + 1024) * 24;
    for format in [FileFormat::Cube, FileFormat::Clf, FileFormat::Table] {
        let bytes = file(lut(), format);
        let peak = peak(&bytes);
        assert!(
            peak < SMALL + 2 * table + table / 4,
            "{format}: {peak}, tables {table}"
        );
        assert!(peak > table, "{format}: the tables were not held");
    }
}
