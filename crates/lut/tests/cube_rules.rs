//! Rules of the cube reader that no sample file shows.

use std::path::Path;

use evenstep_lut::format::cube::{self, LONGEST_COMMENT};
use evenstep_lut::format::{Deviation, Note};
use evenstep_lut::{Lut, Lut1d, Lut3d};

const ROWS: &str = "0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n1 1 1\n";

fn read(head: &str, rows: &str) -> Result<(Lut, Vec<Note>), String> {
    let text = format!("{head}{rows}");
    cube::parse(text.as_bytes(), Path::new("a.cube")).map_err(|e| e.to_string())
}

fn deviations(notes: &[Note]) -> Vec<Deviation> {
    notes.iter().map(|n| n.deviation).collect()
}

#[track_caller]
fn refused(head: &str, rows: &str, message: &str) {
    let found = read(head, rows).expect_err(message);
    assert!(
        found.starts_with(message),
        "expected {message}\n   found {found}"
    );
}

#[test]
fn keywords_that_change_the_meaning_are_refused_by_name() {
    for keyword in ["LUT_IN_VIDEO_RANGE", "LUT_OUT_VIDEO_RANGE"] {
        refused(
            &format!("LUT_3D_SIZE 2\n{keyword}\n"),
            ROWS,
            &format!("a.cube:2:1: {keyword} changes the meaning"),
        );
    }
}

#[test]
fn a_range_belongs_to_its_own_table() {
    refused(
        "LUT_3D_SIZE 2\nLUT_1D_INPUT_RANGE 0 1\n",
        ROWS,
        "a.cube:2: LUT_1D_INPUT_RANGE without LUT_1D_SIZE",
    );
    refused(
        "LUT_1D_SIZE 8\nLUT_3D_INPUT_RANGE 0 1\n",
        ROWS,
        "a.cube:2: LUT_3D_INPUT_RANGE without LUT_3D_SIZE",
    );
}

#[test]
fn two_domains_must_agree() {
    refused(
        "LUT_3D_SIZE 2\nDOMAIN_MAX 2 2 2\nLUT_3D_INPUT_RANGE 0 1\n",
        ROWS,
        "a.cube:3: LUT_3D_INPUT_RANGE gives another domain",
    );
    let (lut, notes) = read(
        "LUT_3D_SIZE 2\nDOMAIN_MAX 2 2 2\nLUT_3D_INPUT_RANGE 0 2\n",
        ROWS,
    )
    .unwrap();
    assert_eq!(lut.lattice.unwrap().domain_max(), [2.0; 3]);
    assert_eq!(deviations(&notes), [Deviation::InputRange]);
}

#[test]
fn a_domain_of_two_tables_is_refused() {
    refused(
        "LUT_1D_SIZE 2\nLUT_3D_SIZE 2\nDOMAIN_MIN 0 0 0\n",
        &format!("0 0 0\n1 1 1\n{ROWS}"),
        "a.cube:3: DOMAIN_MIN in a file with curves and a lattice",
    );
}

#[test]
fn each_of_two_tables_has_its_own_range() {
    let (lut, _) = read(
        "LUT_3D_SIZE 2\nLUT_1D_SIZE 2\nLUT_3D_INPUT_RANGE 0 2\nLUT_1D_INPUT_RANGE -1 1\n",
        &format!("0 0 0\n2 2 2\n{ROWS}"),
    )
    .unwrap();
    let curves = Lut1d::new(vec![[0.0; 3], [2.0; 3]])
        .unwrap()
        .with_domain([-1.0; 3], [1.0; 3])
        .unwrap();
    let lattice = Lut3d::identity(2).with_domain([0.0; 3], [2.0; 3]).unwrap();
    assert_eq!(lut.curves, Some(curves));
    assert_eq!(lut.lattice, Some(lattice));
}

#[test]
fn a_reversed_domain_against_a_default_is_found() {
    refused(
        "LUT_3D_SIZE 2\nDOMAIN_MIN 0 0 1\n",
        ROWS,
        "a.cube:2:16: the domain 1 to 1 of blue",
    );
    refused(
        "LUT_3D_SIZE 2\nLUT_3D_INPUT_RANGE 1 0\n",
        ROWS,
        "a.cube:2:22: the domain 1 to 0 of red",
    );
}

#[test]
fn comments_and_blank_lines_may_stand_anywhere() {
    let (lut, notes) = read(
        "# a\n\nLUT_3D_SIZE 2\n",
        &format!(
            "{}\n# in the table\n\n{}# after\n\n",
            &ROWS[..17],
            &ROWS[18..]
        ),
    )
    .unwrap();
    assert_eq!(lut, Lut::from(Lut3d::identity(2)));
    assert_eq!(notes, []);
}

#[test]
fn blank_only_lines_are_noted_once_and_counted() {
    let (_, notes) = read("LUT_3D_SIZE 2\n   \n \n", ROWS).unwrap();
    assert_eq!(notes.len(), 1);
    assert_eq!(
        notes[0].to_string(),
        "a.cube:2:1: blanks before or after the text of a line (2 lines)"
    );
}

#[test]
fn long_comments_are_noted_and_endless_ones_refused() {
    let comment = |bytes: usize| format!("#{}\nLUT_3D_SIZE 2\n", "-".repeat(bytes - 1));
    assert_eq!(read(&comment(250), ROWS).unwrap().1, []);
    let (_, notes) = read(&comment(LONGEST_COMMENT), ROWS).unwrap();
    assert_eq!(deviations(&notes), [Deviation::LongComment]);
    refused(
        &comment(LONGEST_COMMENT + 1),
        ROWS,
        "a.cube:1:65537: the line is longer than 65536 bytes",
    );
}

#[test]
fn rows_may_be_250_bytes_long_and_no_longer() {
    let row = |bytes: usize| format!("0 0 0.{}\n", "0".repeat(bytes - 6));
    assert!(read("LUT_3D_SIZE 2\n", &format!("{}{}", row(250), &ROWS[6..])).is_ok());
    refused(
        "LUT_3D_SIZE 2\n",
        &format!("{}{}", row(251), &ROWS[6..]),
        "a.cube:2:251: the line is longer than 250 bytes",
    );
}

#[test]
fn binary_and_foreign_encodings_are_refused_in_comments_too() {
    for (bytes, message) in [
        (&b"# \x07\n"[..], "a.cube:1:3: found byte 0x07"),
        (b"\x89PNG\r\n\x1a\n", "a.cube:1:1: a character is not UTF-8"),
        (b"# gr\xFCn\n", "a.cube:1:5: a character is not UTF-8"),
        (b"L\0U\0T\0", "a.cube:1:2: found byte 0x00"),
        (b"\xFE\xFF\0L", "a.cube:1:1: the text is UTF-16"),
    ] {
        let found = cube::parse(bytes, Path::new("a.cube")).unwrap_err();
        assert!(found.to_string().starts_with(message), "{found}");
    }
}

#[test]
fn titles_follow_the_quotes() {
    assert_eq!(
        read("TITLE \"\"\nLUT_3D_SIZE 2\n", ROWS)
            .unwrap()
            .0
            .title
            .as_deref(),
        Some("")
    );
    refused(
        "TITLE \"a\" b\nLUT_3D_SIZE 2\n",
        ROWS,
        "a.cube:1:11: expected the end of the line, found \"b\"",
    );
    refused(
        "TITLE \"a\"\nTITLE \"b\"\nLUT_3D_SIZE 2\n",
        ROWS,
        "a.cube:2:1: TITLE again, first given in line 1",
    );
}

#[test]
fn a_header_without_a_table_says_so() {
    refused("# only a comment\n", "", "a.cube:1:17: no LUT_3D_SIZE");
    refused(
        "LUT_3D_SIZE 256\n",
        "",
        "a.cube:1:16: the file ends after 0 rows, but its size needs 16777216",
    );
    refused(
        "LUT_3D_SIZE\n",
        ROWS,
        "a.cube:1:12: LUT_3D_SIZE must be a whole number",
    );
}

#[test]
fn words_in_the_table_are_told_from_keywords() {
    refused(
        "LUT_3D_SIZE 2\n0 0 0\nfoo 0 0\n",
        ROWS,
        "a.cube:3:1: expected a decimal number",
    );
    refused(
        "LUT_3D_SIZE 2\n0 0 0\nTITLE \"x\"\n",
        ROWS,
        "a.cube:3:1: TITLE below the first row",
    );
}

#[test]
fn a_file_is_read_as_its_text() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("b.cube");
    let mut lut = Lut::from(Lut3d::from_fn(3, |c| c.map(|v| v * v)));
    lut.title = Some("squares".into());
    cube::write(&lut, &path, false).unwrap();
    assert_eq!(cube::read(&path).unwrap(), (lut.clone(), Vec::new()));
    assert!(cube::write(&lut, &path, false).is_err());
    cube::write(&lut, &path, true).unwrap();
    let missing = cube::read(&folder.path().join("c.cube")).unwrap_err();
    assert!(missing.to_string().contains("c.cube: cannot read: "));
}

/// The file is read in pieces; rows lie across their borders.
#[test]
fn a_large_file_is_read_whole() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("large.cube");
    let lut = Lut::from(Lut3d::from_fn(33, |[r, g, b]| {
        [r * r, (g + b) / 3.0, b - r / 7.0]
    }));
    cube::write(&lut, &path, false).unwrap();
    assert!(std::fs::metadata(&path).unwrap().len() > 1_000_000);
    assert_eq!(cube::read(&path).unwrap(), (lut, Vec::new()));
    let whole = std::fs::read_to_string(&path).unwrap();
    let line = whole.lines().count();
    std::fs::write(&path, format!("{whole}0 0 0\n")).unwrap();
    let refused = cube::read(&path).unwrap_err().to_string();
    let place = format!("large.cube:{}:1: expected the end of the file", line + 1);
    assert!(refused.contains(&place), "{refused}");
}
