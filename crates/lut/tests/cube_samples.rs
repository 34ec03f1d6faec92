//! Every sample file, against the outcome listed for it.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use evenstep_lut::format::{Deviation, cube};
use evenstep_lut::{Evaluation, Lut, Lut3d};

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/samples")
}

/// Reads a sample as a user would, but named by its file name alone in messages.
fn parse(name: &str) -> Result<(Lut, Vec<Deviation>), String> {
    let bytes = std::fs::read(samples().join(name)).unwrap();
    match cube::parse(&bytes, Path::new(name)) {
        Ok((lut, notes)) => Ok((lut, notes.iter().map(|n| n.deviation).collect())),
        Err(e) => Err(e.to_string()),
    }
}

/// Place and a fragment of the message for every file that must be refused.
const BAD: [(&str, &str, &str); 30] = [
    (
        "bad_both_sizes_strict",
        ":10:27",
        "ends after 8 rows, but its size needs 10",
    ),
    (
        "bad_decimal_comma",
        ":2:1",
        "found \"0,000000\" with a comma",
    ),
    (
        "bad_domain_equal_one_axis",
        ":2:14",
        "domain 0 to 0 of green",
    ),
    ("bad_domain_reversed", ":2:12", "domain 1 to 0 of red"),
    (
        "bad_domain_two_numbers",
        ":1:15",
        "expected 3 numbers on the line, found 2",
    ),
    ("bad_empty", "", "the file is empty"),
    (
        "bad_four_columns",
        ":4:28",
        "expected the end of the line, found \"1.000000\"",
    ),
    ("bad_glued_numbers", ":4:10", "found \"1.0000001.000\""),
    (
        "bad_hex_number",
        ":4:1",
        "expected a decimal number such as 0.25, found \"0x0\"",
    ),
    (
        "bad_inf",
        ":4:10",
        "expected a finite number, found \"inf\"",
    ),
    (
        "bad_keyword_after_data",
        ":10:1",
        "DOMAIN_MAX below the first row",
    ),
    ("bad_long_line", ":1:251", "longer than 250 bytes"),
    ("bad_missing_size", ":2:1", "no LUT_3D_SIZE or LUT_1D_SIZE"),
    (
        "bad_nan",
        ":4:10",
        "expected a finite number, found \"nan\"",
    ),
    ("bad_nul_byte", ":2:1", "found byte 0x00"),
    (
        "bad_overflow_number",
        ":4:10",
        "expected a finite number, found \"1e999\"",
    ),
    (
        "bad_repeated_size",
        ":2:1",
        "LUT_3D_SIZE again, first given in line 1",
    ),
    (
        "bad_size_1",
        ":1:13",
        "whole number from 2 to 256, found \"1\"",
    ),
    (
        "bad_size_1d_65537",
        ":1:13",
        "whole number from 2 to 65536, found \"65537\"",
    ),
    (
        "bad_size_257",
        ":1:13",
        "whole number from 2 to 256, found \"257\"",
    ),
    (
        "bad_size_fraction",
        ":1:13",
        "whole number from 2 to 256, found \"2.5\"",
    ),
    (
        "bad_size_huge",
        ":1:13",
        "whole number from 2 to 256, found \"4294967297\"",
    ),
    (
        "bad_size_negative",
        ":1:13",
        "whole number from 2 to 256, found \"-2\"",
    ),
    ("bad_title_unclosed", ":1:7", "no closing quote"),
    (
        "bad_too_few_rows",
        ":8:27",
        "ends after 7 rows, but its size needs 8",
    ),
    (
        "bad_too_many_rows",
        ":10:1",
        "after the 8 rows its size needs, found \"0.5 0.5 0.5\"",
    ),
    (
        "bad_trailing_text",
        ":10:1",
        "after the 8 rows its size needs, found \"END\"",
    ),
    (
        "bad_two_columns",
        ":4:18",
        "expected 3 numbers on the line, found 2",
    ),
    ("bad_unknown_keyword", ":2:1", "unknown keyword \"GAMMA\""),
    ("bad_utf16", ":1:1", "the text is UTF-16"),
];

/// What each readable sample is noted for.
const READ: [(&str, &[Deviation]); 17] = [
    ("good_1d_4", &[]),
    ("good_3d_domain", &[]),
    ("good_identity_2", &[]),
    ("good_identity_3_comments", &[]),
    ("good_outside_unit_numbers", &[]),
    ("good_red_fastest_3", &[]),
    ("variant_bom", &[Deviation::ByteOrderMark]),
    ("variant_cr_only", &[Deviation::LoneCr]),
    ("variant_crlf", &[Deviation::CrLf]),
    ("variant_input_range", &[Deviation::InputRange]),
    ("variant_leading_spaces", &[Deviation::OuterBlanks]),
    ("variant_lowercase_keyword", &[Deviation::LowerCaseKeyword]),
    ("variant_no_final_newline", &[Deviation::NoFinalNewline]),
    (
        "variant_shaper_1d_plus_3d",
        &[Deviation::InputRange, Deviation::CurvesBeforeLattice],
    ),
    ("variant_tabs", &[Deviation::Tabs]),
    ("variant_title_unquoted", &[Deviation::UnquotedTitle]),
    ("variant_utf8_title", &[Deviation::NonAscii]),
];

#[test]
fn every_sample_is_listed() {
    let found: BTreeSet<String> = std::fs::read_dir(samples())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "cube"))
        .map(|path| path.file_stem().unwrap().to_str().unwrap().to_owned())
        .collect();
    let listed: BTreeSet<String> = (BAD.iter().map(|(name, ..)| *name))
        .chain(READ.iter().map(|(name, _)| *name))
        .map(str::to_owned)
        .collect();
    assert_eq!(found, listed);
}

#[test]
fn bad_samples_are_refused_at_their_place() {
    for (name, place, fragment) in BAD {
        let file = format!("{name}.cube");
        let message = parse(&file).expect_err(name);
        let start = format!("{file}{place}: ");
        assert!(
            message.starts_with(&start),
            "expected {start}, got {message}"
        );
        assert!(
            message.contains(fragment),
            "expected {fragment:?} in {message}"
        );
        assert_eq!(message.lines().count(), 1, "{message}");
        assert!(
            message.contains("; "),
            "says nothing of what to do: {message}"
        );
    }
}

#[test]
fn other_samples_are_read_with_their_notes() {
    for (name, expected) in READ {
        let (_, notes) = parse(&format!("{name}.cube")).unwrap();
        assert_eq!(notes, expected, "{name}");
    }
}

#[test]
fn samples_described_as_the_identity_are_it() {
    for (name, size) in [
        ("good_identity_2", 2),
        ("good_identity_3_comments", 3),
        ("variant_bom", 2),
        ("variant_cr_only", 2),
        ("variant_crlf", 2),
        ("variant_input_range", 2),
        ("variant_leading_spaces", 2),
        ("variant_lowercase_keyword", 2),
        ("variant_no_final_newline", 2),
        ("variant_tabs", 2),
        ("variant_title_unquoted", 2),
        ("variant_utf8_title", 2),
    ] {
        let (lut, _) = parse(&format!("{name}.cube")).unwrap();
        assert_eq!(lut.lattice, Some(Lut3d::identity(size)), "{name}");
        assert_eq!(lut.curves, None, "{name}");
    }
}

#[test]
fn titles_are_read() {
    for (name, title) in [
        ("good_identity_2", Some("identity 2x2x2")),
        (
            "good_identity_3_comments",
            Some("identity 3x3x3 with # inside the title"),
        ),
        ("variant_title_unquoted", Some("identity without quotes")),
        ("variant_utf8_title", Some("Prüfmuster – grau")),
        ("variant_tabs", None),
    ] {
        let (lut, _) = parse(&format!("{name}.cube")).unwrap();
        assert_eq!(lut.title.as_deref(), title, "{name}");
    }
}

/// Values on record for the samples, computed by hand from their rows.
#[test]
fn samples_give_the_values_listed_for_them() {
    const ROUNDOFF: f64 = 1e-15; // three products of numbers up to 4
    for (name, how, at, expected) in [
        (
            "good_1d_4",
            Evaluation::Tetrahedral,
            [0.5; 3],
            [0.24, 0.255, 0.27],
        ),
        (
            "good_3d_domain",
            Evaluation::Trilinear,
            [1.0, 1.0, 0.5],
            [1.0, 1.0, 0.5],
        ),
        (
            "good_red_fastest_3",
            Evaluation::Trilinear,
            [0.75, 0.25, 0.5],
            [0.625, 0.0625, 0.0625],
        ),
        // 0.25 lies half way up the first curve segment: 0.125, which the lattice then keeps.
        (
            "variant_shaper_1d_plus_3d",
            Evaluation::Trilinear,
            [0.25, 0.5, 1.0],
            [0.125, 0.25, 1.0],
        ),
    ] {
        let (lut, _) = parse(&format!("{name}.cube")).unwrap();
        let got = lut.sample(at, how);
        for (g, e) in got.iter().zip(expected) {
            assert!(
                (g - e).abs() <= ROUNDOFF,
                "{name}: {got:?}, expected {expected:?}"
            );
        }
    }
    let (lut, _) = parse("good_outside_unit_numbers.cube").unwrap();
    let lattice = lut.lattice.unwrap();
    assert_eq!(lattice.node(0, 0, 0), [-0.125, 0.5, 1e-3]);
    assert_eq!(lattice.node(1, 0, 0), [1.5, 0.0, 0.0]);
    assert_eq!(lattice.node(0, 1, 0), [0.0, 1.25, 0.0]);
    assert_eq!(lattice.node(1, 0, 1), [1.0, 0.5, 1.0]);
}
