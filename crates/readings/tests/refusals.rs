//! Inputs that the sample files do not cover: what is read, what is refused, and where the message points.

use std::path::Path;

use evenstep_readings::{
    CgatsHeader, FullScale, NoiseModel, Readings, ReadingsError, RgbScale, check,
    lowest_light_cd_m2, parse, parse_sequence, write_cgats,
};

fn csv(text: &str) -> Result<Readings, ReadingsError> {
    parse(text.as_bytes(), Path::new("f"), RgbScale::Detect).map(|(readings, _)| readings)
}

fn cgats(columns: &str, rows: &str) -> String {
    format!(
        "CGATS.17\nBEGIN_DATA_FORMAT\n{columns}\nEND_DATA_FORMAT\nBEGIN_DATA\n{rows}\nEND_DATA\n"
    )
}

const DRIVE_AND_XYZ: &str = "RGB_R RGB_G RGB_B XYZ_X XYZ_Y XYZ_Z";

/// Text, beginning of the message.
const REFUSED_CSV: &[(&str, &str)] = &[
    ("r,g,b,Y\n0,0,0,1\n", "f:1:1: luminance only"),
    (
        "surround_r,r,g,b,X,Y,Z\n0,0,0,0,1,1,1\n",
        "f:1:1: column surround_r: the patches were read under several",
    ),
    ("X,Y,Z\n1,1,1\n", "f:1:1: no device values"),
    ("r,g,X,Y,Z\n0,0,1,1,1\n", "f:1:1: no column b"),
    ("r,g,b,X,Z\n0,0,0,1,1\n", "f:1:1: no column Y"),
    (
        "r,g,b,X,Y,Z,R\n0,0,0,1,1,1,0\n",
        "f:1:13: column R appears twice",
    ),
    (
        "r,g,b,x,y,Y,y\n0,0,0,1,1,1,0\n",
        "f:1:13: column y appears twice",
    ),
    (
        "r,g,b,X,Y,Z\n0,0,0,1,inf,1\n",
        "f:2:9: patch 1: Y must be a finite decimal number",
    ),
    (
        "r,g,b,X,Y,Z\n0,0,0,1,1e999,1\n",
        "f:2:9: patch 1: Y must be a finite decimal number",
    ),
    (
        "# c\n\nr,g,b,X,Y,Z,id\n# c\n0,0,0,1,NaN,1,\"a\nb\"\n",
        "f:5:9: patch a\u{fffd}b: Y must be",
    ),
    (
        "id,r,g,b,X,Y,Z\n\"a,b\",0,0,0,1,\"1,5\",1\n",
        "f:2:15: patch a,b: Y is \"1,5\", with a decimal comma",
    ),
    (
        "r,g,b,X,Y,Z,note\n0,0,0,1,1,1,\"cold\n0,0,0,1,1,1,\n",
        "f:2:1: a quoted text opens here",
    ),
    (
        "r,g,b,X,Y,Z\n0,-0.1,0,1,1,1\n",
        "f:2:3: patch 1: g is -0.1, outside 0 to 1",
    ),
    (
        "r,g,b,X,Y,Z\n0,0,0,1,1,1,1\n",
        "f:2:1: patch 1: 7 cells in this row, but 6 columns",
    ),
    (
        "r,g,b,x,y,Y\n0,0,0,0.3,0,1\n",
        "f:2:11: patch 1: chromaticity x = 0.3, y = 0",
    ),
    (
        "r,g,b,x,y,Y\n0,0,0,0.9,0.9,1\n",
        "f:2:11: patch 1: chromaticity x = 0.9, y = 0.9",
    ),
    ("r,g,b,X,Y,Z\n", "f: no rows of data"),
    ("name of a file\n1 2 3\n", "f:1: neither CGATS text"),
    ("\u{feff}# only a comment\n", "f: the file is empty"),
];

#[test]
fn bad_csv_is_refused_where_the_fault_is() {
    for (text, begin) in REFUSED_CSV {
        let error = csv(text).map(|_| ()).expect_err(text).to_string();
        assert!(error.starts_with(begin), "{text:?}: {error}");
    }
}

#[test]
fn bad_cgats_is_refused_where_the_fault_is() {
    let detect = |text: String| {
        let parsed = parse(text.as_bytes(), Path::new("f"), RgbScale::Detect);
        parsed.map(|_| ()).expect_err(&text).to_string()
    };
    let columns = DRIVE_AND_XYZ;
    for (text, begin) in [
        (
            cgats(columns, "0 0 0 1 1 1\n0 254 0 1 1 1"),
            "f:7:3: the largest drive is 254, which names no scale",
        ),
        (
            cgats(columns, "0 0 255 1 0x10 1"),
            "f:6:11: patch 1: XYZ_Y must be a finite decimal number",
        ),
        (
            cgats(columns, "0 0 255 1 -inf 1"),
            "f:6:11: patch 1: XYZ_Y must be a finite decimal number",
        ),
        (
            cgats(columns, "0 0 255 1 1 1 1"),
            "f:6:1: patch ?: 7 cells in this row, but 6 columns",
        ),
        (
            cgats("RGB_R RGB_G RGB_B LAB_L LAB_A LAB_B", "0 0 0 1 1 1"),
            "f:2: no column XYZ_X, XYZ_Y, XYZ_Z",
        ),
        (
            cgats(columns, "0 0 255 1 1 1\n.INCLUDE \"a\""),
            "f:7:1: patch ?: 2 cells",
        ),
        (
            ".INCLUDE \"a\"\n.INCLUDE \"b\"\nBEGIN_DATA\n".to_owned(),
            "f:2:1: .INCLUDE is not supported",
        ),
        (
            "CGATS.17\nBEGIN_DATA_FORMAT\nA\n".to_owned(),
            "f:4:1: the file ends before END_DATA_FORMAT",
        ),
        (
            "CGATS.17\nNUMBER_OF_SETS -1\n".to_owned(),
            "f:2:16: NUMBER_OF_SETS must be a whole number",
        ),
        (
            "CGATS.17\n".to_owned(),
            "f: BEGIN_DATA without BEGIN_DATA_FORMAT",
        ),
    ] {
        let error = detect(text.clone());
        assert!(error.starts_with(begin), "{text:?}: {error}");
    }
}

#[test]
fn small_negative_light_is_kept_and_more_is_refused() {
    let read = |z: f64| csv(&format!("r,g,b,X,Y,Z\n0,0,0,0,0,{z}\n"));
    let limit = lowest_light_cd_m2();
    assert!(limit < 0.0);
    assert_eq!(read(limit).unwrap().patches[0].xyz().0[2], limit);
    let refused = read(limit * 1.01).unwrap_err().to_string();
    assert!(refused.starts_with("f:2:11: patch 1: Z is "), "{refused}");
}

#[test]
fn chromaticity_columns_are_told_by_their_case() {
    let xyy = csv("r,g,b,x,y,Y\n1,1,1,0.25,0.5,10\n").unwrap();
    assert_eq!(xyy.patches[0].xyz().0, [5.0, 10.0, 5.0]);
    let lower = csv("R,G,B,x,y,z\n1,1,1,0.25,0.5,10\n").unwrap();
    assert_eq!(lower.patches[0].xyz().0, [0.25, 0.5, 10.0]);
    let both = csv("r,g,b,x,y,X,Y,Z\n1,1,1,0.3,0.3,5,6,7\n").unwrap();
    assert_eq!(both.patches[0].xyz().0, [5.0, 6.0, 7.0]);
    let dark = csv("r,g,b,x,y,Y\n0,0,0,0,0,0\n").unwrap();
    assert_eq!(dark.patches[0].xyz().0, [0.0; 3]);
}

#[test]
fn repeats_are_joined_wherever_they_stand() {
    let text = "r,g,b,X,Y,Z,id\n0,0,0,1,1,1,a\n1,1,1,9,9,9,b\n-0,0,0,2,2,2,c\n";
    let readings = csv(text).unwrap();
    assert_eq!(readings.distinct(), 2);
    let black = readings.black().unwrap();
    assert_eq!(
        (black.id.as_str(), black.repeats.len(), black.order),
        ("a", 2, 0)
    );
    assert_eq!(black.xyz().0, [1.5; 3]);
    assert_eq!(readings.patches[1].order, 1);
}

#[test]
fn a_time_column_gives_the_order() {
    let text = "t,r,g,b,X,Y,Z\n20,0,0,0,2,2,2\n10,0,0,0,1,1,1\n";
    let (sequence, notes) =
        parse_sequence(text.as_bytes(), Path::new("f"), RgbScale::Detect).unwrap();
    let seconds: Vec<Option<f64>> = sequence.iter().map(|r| r.seconds).collect();
    assert_eq!(seconds, [Some(10.0), Some(20.0)]);
    assert!(
        notes.iter().any(|n| n.text.contains("order of column t")),
        "{notes:?}"
    );
    assert_eq!(csv(text).unwrap().patches[0].repeats[0].0, [1.0; 3]);
}

#[test]
fn a_declared_maximum_is_the_scale_and_an_option_overrides_it() {
    let with = |value: &str, rows: &str| {
        let head = format!("CGATS.17\nKEYWORD \"DRIVE_MAXIMUM\"\nDRIVE_MAXIMUM \"{value}\"\n");
        cgats(DRIVE_AND_XYZ, rows).replacen("CGATS.17\n", &head, 1)
    };
    let drive = |text: &str, scale| {
        parse(text.as_bytes(), Path::new("f"), scale).map(|(r, _)| r.patches[0].drive[0])
    };
    let text = with("1023", "255 0 0 1 1 1");
    assert_eq!(drive(&text, RgbScale::Detect).unwrap(), 255.0 / 1023.0);
    assert_eq!(
        drive(&text, RgbScale::Given(FullScale::Bits8)).unwrap(),
        1.0
    );
    let unknown = drive(&with("4095", "255 0 0 1 1 1"), RgbScale::Detect).unwrap_err();
    assert!(
        unknown
            .to_string()
            .starts_with("f:3:15: the largest drive is 4095"),
        "{unknown}"
    );
}

#[test]
fn the_content_tells_the_format_and_not_the_name() {
    let text = cgats(DRIVE_AND_XYZ, "0 0 255 1 1 1");
    assert!(parse(text.as_bytes(), Path::new("readings.csv"), RgbScale::Detect).is_ok());
    let text = "r,g,b,X,Y,Z\n0,0,1,1,1,1\n";
    assert!(
        parse(
            text.as_bytes(),
            Path::new("readings.cgats"),
            RgbScale::Detect
        )
        .is_ok()
    );
}

#[test]
fn a_section_of_another_kind_is_left_out_with_a_note() {
    let first = cgats(DRIVE_AND_XYZ, "0 0 255 1 1 1");
    let text = first + &cgats("SAMPLE_ID LAB_L LAB_A LAB_B", "1 50 0 0");
    let (readings, notes) = parse(text.as_bytes(), Path::new("f"), RgbScale::Detect).unwrap();
    assert_eq!(readings.distinct(), 1);
    assert!(
        notes
            .iter()
            .any(|n| n.text.contains("without device values")),
        "{notes:?}"
    );
}

#[test]
fn an_id_that_cgats_text_cannot_hold_is_refused_and_nothing_is_written() {
    let readings = csv("r,g,b,X,Y,Z,id\n0,0,0,1,1,1,\"a'\"\"b\"\n").unwrap();
    assert_eq!(readings.patches[0].id, "a'\"b");
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("readings.txt");
    let refused = write_cgats(&readings, &CgatsHeader::default(), &path, false).unwrap_err();
    assert!(
        refused.to_string().contains("both kinds of quote"),
        "{refused}"
    );
    assert!(!path.exists());
}

#[test]
fn light_too_bright_to_square_gives_no_noise_and_no_panic() {
    let rows = "1,1,1,1e200,1e200,1e200\n1,1,1,2e200,1e200,1e200\n".repeat(8);
    let readings = csv(&format!("r,g,b,X,Y,Z\n{rows}")).unwrap();
    assert_eq!(NoiseModel::from_repeats(&readings), None);
    assert!(!check(&readings, &NoiseModel::assumed()).is_empty());
}
