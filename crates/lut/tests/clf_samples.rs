//! Every CLF sample, against the outcome listed for it.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use evenstep_lut::format::{Deviation, clf};
use evenstep_lut::process::ProcessList;
use evenstep_lut::{Correction, Evaluation, Lut3d};

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/samples")
}

fn parse(name: &str) -> Result<(ProcessList, Vec<Deviation>), String> {
    let file = format!("{name}.clf");
    let bytes = std::fs::read(samples().join(&file)).unwrap();
    match clf::parse(&bytes, Path::new(&file)) {
        Ok((list, notes)) => Ok((list, notes.iter().map(|n| n.deviation).collect())),
        Err(e) => Err(e.to_string()),
    }
}

/// Place and a fragment of the message for every file that must be refused.
const BAD: [(&str, &str, &str); 37] = [
    ("bad_array_count", ":4:5", "21 numbers, but 24 are needed"),
    ("bad_array_dim_unequal", ":4:5", "found \"2 2 3 3\""),
    ("bad_array_text", ":3:71", "found \"P\""),
    (
        "bad_array_too_many",
        ":3:81",
        "10 numbers, but 9 are needed",
    ),
    (
        "bad_bitdepth_chain",
        ":4:3",
        "inBitDepth 10i after outBitDepth 12i",
    ),
    ("bad_bitdepth_name", ":3:3", "found \"14i\""),
    ("bad_cdl_missing_offset", ":3:59", "SOPNode without Offset"),
    ("bad_cdl_power_zero", ":3:3", "powers above 0"),
    (
        "bad_cdl_slope_two_values",
        ":3:68",
        "2 numbers, but 3 are needed",
    ),
    ("bad_cdl_style", ":3:3", "found \"Forward\""),
    (
        "bad_exponent_moncurve_below_one",
        ":3:68",
        "from 1 to 10, found \"0.5\"",
    ),
    (
        "bad_exponent_offset_on_basic",
        ":3:65",
        "offset does not go with the style basicFwd",
    ),
    ("bad_external_entity", ":2:1", "document type"),
    (
        "bad_halfdomain_count",
        ":3:63",
        "\"65536 1\" or \"65536 3\"",
    ),
    ("bad_halfdomain_false", ":3:3", "found \"false\""),
    ("bad_id_empty", ":2:1", "id must be a name"),
    ("bad_indexmap", ":3:45", "IndexMap is of version 2"),
    (
        "bad_log_break_not_allowed",
        ":3:60",
        "linSideBreak does not go with the style linToLog",
    ),
    ("bad_log_in_version_2", ":3:3", "unknown element \"Log\""),
    (
        "bad_log_missing_break",
        ":3:66",
        "without the attribute linSideBreak",
    ),
    ("bad_log_style", ":3:3", "found \"logTwo\""),
    ("bad_lut1d_interpolation", ":3:3", "found \"cubic\""),
    (
        "bad_missing_inbitdepth",
        ":3:3",
        "without the attribute inBitDepth",
    ),
    (
        "bad_nan_value",
        ":12:16",
        "expected a finite number, found \"nan\"",
    ),
    ("bad_no_id", ":2:1", "without the attribute id"),
    ("bad_no_nodes", ":2:1", "no process node"),
    (
        "bad_no_version",
        ":2:1",
        "without the attribute compCLFversion",
    ),
    ("bad_not_wellformed", ":14:3", "not well-formed XML"),
    ("bad_range_clamp_mismatch", ":3:3", "differ once scaled"),
    ("bad_range_empty", ":3:3", "without any value"),
    ("bad_range_noclamp_half", ":3:3", "noClamp with one pair"),
    ("bad_range_one_of_pair", ":3:3", "one value of a pair"),
    ("bad_range_reversed", ":3:3", "not below its high end"),
    ("bad_root_missing", ":", "not well-formed XML"),
    ("bad_unknown_node", ":3:3", "unknown element \"Sharpen\""),
    ("bad_version_higher", ":2:1", "\"3.2\" is not read"),
    ("bad_version_word", ":2:1", "\"three\" is not read"),
];

const READ: [(&str, &[Deviation]); 9] = [
    ("good_default_interpolation", &[]),
    ("good_identity_2", &[]),
    ("good_lut1d_4", &[]),
    ("good_matrix_range_exponent", &[]),
    ("good_shaper_plus_3d", &[]),
    ("good_values_beyond_depth", &[]),
    ("variant_matrix_dim3", &[Deviation::OldMatrixSize]),
    ("variant_no_namespace", &[Deviation::NoNamespace]),
    ("variant_no_xml_declaration", &[Deviation::NoXmlDeclaration]),
];

#[test]
fn every_sample_is_listed() {
    let found: BTreeSet<String> = std::fs::read_dir(samples())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "clf"))
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
    let mut wrong = Vec::new();
    for (name, place, fragment) in BAD {
        let Err(message) = parse(name) else {
            wrong.push(format!("{name}: was read"));
            continue;
        };
        let start = format!("{name}.clf{place}");
        let holds = message.starts_with(&start)
            && message.contains(fragment)
            && message.lines().count() == 1
            && message.contains("; ");
        if !holds {
            wrong.push(format!("expected {start} and {fragment:?}, got {message}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn other_samples_are_read_with_their_notes() {
    for (name, expected) in READ {
        let (_, notes) = parse(name).unwrap();
        assert_eq!(notes, expected, "{name}");
    }
}

/// Values computed from the formulas of Academy S-2014-006 v3.0, trilinear; the tolerance is that of its implementation
/// guide for floating-point software: |actual − aim| / max(|aim|, 0.1) at most 0.002.
#[test]
fn samples_give_the_values_listed_for_them() {
    const TOLERANCE: f64 = 0.002;
    let table = samples().join("../data/clf_expected.csv");
    let mut reader = csv::Reader::from_path(table).unwrap();
    let mut count = 0;
    for record in reader.records() {
        let record = record.unwrap();
        let name = record[0].trim_end_matches(".clf");
        let number = |i: usize| record[i].parse::<f64>().unwrap();
        let (list, _) = parse(name).unwrap();
        let got = list.drive([number(1), number(2), number(3)]);
        for (c, value) in got.into_iter().enumerate() {
            let aim = number(4 + c);
            let error = (value - aim).abs() / aim.abs().max(0.1);
            assert!(error <= TOLERANCE, "{name}: {got:?}, expected {record:?}");
        }
        count += 1;
    }
    assert_eq!(count, 24);
}

#[test]
fn a_depth_neither_limits_nor_rounds() {
    let (list, _) = parse("good_values_beyond_depth").unwrap();
    let got = [0.0, 0.5, 1.0].map(|v| list.drive([v; 3])[0]);
    assert_eq!(got, [-100.0 / 4095.0, 2000.5 / 4095.0, 5000.0 / 4095.0]);
}

#[test]
fn curves_and_lattices_become_luts() {
    let (list, _) = parse("good_identity_2").unwrap();
    assert_eq!(list.to_lut().unwrap().lattice, Some(Lut3d::identity(2)));
    let (list, _) = parse("good_shaper_plus_3d").unwrap();
    let lut = list.to_lut().unwrap();
    assert_eq!(lut.curves.as_ref().map(|c| c.size()), Some(3));
    // Red steepest: 1023, 255.75 and 127.875 of 1023 at the far corner, blue fastest in the file.
    assert_eq!(
        lut.sample([1.0; 3], Evaluation::Trilinear),
        [1.0, 0.25, 0.125]
    );
    assert_eq!(
        lut.title.as_deref(),
        Some("1D shaper then 3x3x3, blue fastest")
    );
    let (list, _) = parse("good_matrix_range_exponent").unwrap();
    assert_eq!(list.to_lut(), None);
}
