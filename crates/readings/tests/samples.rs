//! Every sample file has its listed outcome: read with these facts, or refused at this place for this reason.
//!
//! # Source
//! The table of expected outcomes of the project's reference on measurement formats; samples made for this
//! project.

use std::path::{Path, PathBuf};

use evenstep_readings::{FullScale, Note, Readings, ReadingsError, RgbScale, parse_patches, read};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/samples")
}

fn sample(name: &str) -> Result<(Readings, Vec<Note>), ReadingsError> {
    read(&folder().join(name), RgbScale::Detect)
}

/// File, patches, readings, words of the notes that must be there (nothing else may be noted).
type Good = (&'static str, usize, usize, &'static [&'static str]);

const LARGEST: &str = "taken from the largest drive";
const HUNDRED: &str = "white reads exactly 100";
const CSV: &str = "as CSV columns";

const ACCEPTED: &[Good] = &[
    ("good_rgb_xyz.txt", 6, 6, &["0 to 255, taken from", HUNDRED]),
    ("good_comments_quotes.txt", 2, 2, &[LARGEST, HUNDRED]),
    ("good_xyy.txt", 2, 2, &[LARGEST, HUNDRED]),
    ("good_two_sections.txt", 6, 6, &[LARGEST, HUNDRED]),
    ("good_no_sample_id.txt", 6, 6, &[LARGEST, HUNDRED]),
    ("good_rows_wrapped.txt", 2, 2, &[LARGEST]),
    ("good_readings.csv", 5, 5, &[CSV, HUNDRED]),
    ("good_readings_repeats.csv", 1, 2, &[CSV]),
    ("variant_crlf.txt", 6, 6, &[LARGEST, HUNDRED]),
    (
        "variant_bom.txt",
        6,
        6,
        &["byte order mark", LARGEST, HUNDRED],
    ),
    (
        "variant_lowercase_ids.txt",
        6,
        6,
        &["rgb_r in lower case", LARGEST, HUNDRED],
    ),
    ("variant_extra_columns.txt", 6, 6, &[LARGEST, HUNDRED]),
    (
        "variant_percent_rgb.txt",
        6,
        6,
        &["0 to 100, taken from", HUNDRED],
    ),
    (
        "variant_no_counts.txt",
        6,
        6,
        &[
            "NUMBER_OF_FIELDS is not declared",
            "NUMBER_OF_SETS is not declared",
            LARGEST,
            HUNDRED,
        ],
    ),
];

/// File, place as printed after the file name, words of the message.
const REFUSED: &[(&str, &str, &str)] = &[
    ("good_lab.txt", ":8: ", "no device values"),
    (
        "variant_decimal_comma.txt",
        ":12:9: ",
        "patch 1: XYZ_X is \"0,0095\", with a decimal comma",
    ),
    (
        "bad_sets_too_many_declared.txt",
        ":18:1: ",
        "NUMBER_OF_SETS declares 7 but 6 are there",
    ),
    (
        "bad_sets_too_few_declared.txt",
        ":18:1: ",
        "NUMBER_OF_SETS declares 5 but 6 are there",
    ),
    (
        "bad_fields_count.txt",
        ":9:1: ",
        "NUMBER_OF_FIELDS declares 6 but 7 are there",
    ),
    (
        "bad_short_row.txt",
        ":15:1: ",
        "patch 4: 6 cells in this row, but 7 columns",
    ),
    (
        "bad_no_end_data.txt",
        ":18:1: ",
        "the file ends before END_DATA",
    ),
    (
        "bad_no_data_format.txt",
        ":7:1: ",
        "BEGIN_DATA without BEGIN_DATA_FORMAT",
    ),
    (
        "bad_unclosed_quote.txt",
        ":2:12: ",
        "a quoted text opens here and is never closed",
    ),
    (
        "bad_text_in_number.txt",
        ":14:17: ",
        "patch 3: XYZ_Y must be a finite decimal number, found \"n/a\"",
    ),
    (
        "bad_nan.txt",
        ":14:17: ",
        "patch 3: XYZ_Y must be a finite decimal number, found \"nan\"",
    ),
    (
        "bad_negative_luminance.txt",
        ":14:17: ",
        "patch 3: Y is -71.53 cd/m²",
    ),
    (
        "bad_duplicate_column.txt",
        ":8:41: ",
        "column XYZ_X appears twice",
    ),
    ("bad_missing_xyz_column.txt", ":7: ", "no column XYZ_Z"),
    ("bad_empty.txt", ": ", "the file is empty"),
    ("bad_binary.txt", ": ", "not a text file"),
    (
        "bad_huge_count.txt",
        ":10:16: ",
        "NUMBER_OF_SETS must be a whole number of at most 1048576",
    ),
    (
        "variant_semicolon_comma.csv",
        ":1:1: ",
        "separated by semicolons; use commas",
    ),
    ("bad_header_missing.csv", ":1:1: ", "a header row is needed"),
    (
        "bad_ragged.csv",
        ":2:1: ",
        "patch 1: 5 cells in this row, but 6 columns",
    ),
    (
        "bad_range.csv",
        ":3:1: ",
        "patch 2: r is 255, outside 0 to 1; if the file holds codes, say which",
    ),
];

#[test]
fn every_sample_has_one_expected_outcome() {
    let mut listed: Vec<&str> = ACCEPTED.iter().map(|row| row.0).collect();
    listed.extend(REFUSED.iter().map(|row| row.0));
    listed.sort_unstable();
    let mut there: Vec<String> = std::fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name != "README.md")
        .collect();
    there.sort();
    assert_eq!(listed, there);
}

#[test]
fn accepted_samples_are_read_and_every_assumption_is_noted() {
    for (name, patches, readings, notes) in ACCEPTED {
        let (found, said) = sample(name).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(found.patches.len(), *patches, "{name}: patches");
        let all: usize = found.patches.iter().map(|p| p.repeats.len()).sum();
        assert_eq!(all, *readings, "{name}: readings");
        assert_eq!(said.len(), notes.len(), "{name}: {said:?}");
        for (note, words) in said.iter().zip(*notes) {
            assert!(note.to_string().contains(words), "{name}: {note}");
        }
    }
}

#[test]
fn refused_samples_say_where_and_why() {
    for (name, place, words) in REFUSED {
        let error = sample(name).map(|_| ()).expect_err(name).to_string();
        let at = format!("{name}{place}");
        assert!(error.contains(&at), "{name}: expected {at}, got {error}");
        assert!(
            error.contains(words),
            "{name}: expected {words}, got {error}"
        );
        assert_eq!(error.lines().count(), 1, "{name}: one line: {error}");
    }
}

#[test]
fn the_unusual_spellings_mean_what_the_plain_file_means() {
    let (plain, _) = sample("good_rgb_xyz.txt").unwrap();
    for name in [
        "good_two_sections.txt",
        "good_no_sample_id.txt",
        "variant_crlf.txt",
        "variant_bom.txt",
        "variant_lowercase_ids.txt",
        "variant_extra_columns.txt",
        "variant_no_counts.txt",
    ] {
        assert_eq!(sample(name).unwrap().0, plain, "{name}");
    }
}

/// Half a unit in the last digit printed in the table of samples.
const PRINTED: f64 = 0.5e-4;

#[test]
fn chromaticity_and_luminance_become_xyz() {
    let (readings, _) = sample("good_xyy.txt").unwrap();
    let white = readings.patches[0].xyz().0;
    for (found, printed) in white.iter().zip([95.0456, 100.0, 108.9058]) {
        assert!((found - printed).abs() <= PRINTED, "{white:?}");
    }
}

#[test]
fn a_given_scale_overrides_what_the_file_suggests() {
    let path = folder().join("bad_range.csv");
    let (readings, _) = read(&path, RgbScale::Given(FullScale::Bits8)).unwrap();
    assert_eq!(readings.patches[1].drive, [1.0, 1.0 / 255.0, 1.0 / 255.0]);
    let path = folder().join("good_rgb_xyz.txt");
    let refused = read(&path, RgbScale::Given(FullScale::Hundred)).unwrap_err();
    assert!(
        refused
            .to_string()
            .contains("RGB_R is 255, outside 0 to 100"),
        "{refused}"
    );
}

#[test]
fn a_patch_list_needs_no_colour_and_keeps_its_repeats() {
    let text = "r,g,b,id\n0,0,0,anchor\n0.5,0.5,0.5,grey\n0,0,0,\n";
    let (list, _) = parse_patches(text.as_bytes(), Path::new("p.csv"), RgbScale::Detect).unwrap();
    let ids: Vec<&str> = list.iter().map(|p| p.id.as_str()).collect();
    assert_eq!(ids, ["anchor", "grey", "3"]);
    let bytes = std::fs::read(folder().join("good_rgb_xyz.txt")).unwrap();
    let (list, _) = parse_patches(&bytes, Path::new("p.txt"), RgbScale::Detect).unwrap();
    assert_eq!(list.len(), 6);
}
