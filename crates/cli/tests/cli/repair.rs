//! `repair`: faults go, what is sound keeps its bytes, and the report says what it cost.

use std::path::Path;

use crate::documents::Repair;
use crate::support::Fixture;

/// A folder with `NAME.cube` and `panel.cgats` of the specimens.
fn with_specimen(name: &str) -> Fixture {
    let fixture = Fixture::new();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../luts");
    for file in [format!("{name}.cube"), "panel.cgats".to_owned()] {
        std::fs::copy(folder.join(&file), fixture.path(&file)).expect("a specimen");
    }
    fixture
}

#[test]
fn a_fault_goes_and_a_second_repair_keeps_every_byte() {
    let f = with_specimen("fold");
    let json = f
        .done(&["repair", "fold.cube", "-o", "once.cube", "--json", "-"])
        .out;
    let report: Repair = serde_json::from_str(&json).unwrap();
    assert_eq!(
        (report.schema.as_str(), report.lut.as_str()),
        ("evenstep/repair/1", "fold.cube")
    );
    assert!(
        report
            .faults_before
            .iter()
            .any(|f| f.kind == "fold" && f.places == 6)
    );
    assert!(report.faults_after.is_empty() && report.nodes_changed > 0);
    assert!(report.cost.panel.starts_with("nominal"));
    assert!(report.cost.de2000_mean <= report.cost.de2000_max);
    let before = report.verdict_before.reasons.iter();
    assert!(before.map(|r| r.label.as_str()).any(|l| l == "folds"));
    let after = report.verdict_after.reasons.iter();
    let after: Vec<&str> = after.map(|r| r.label.as_str()).collect();
    assert_eq!(after, ["panel unknown"]);

    // Title, size and the rows of all other nodes are those given.
    let (before, once) = (f.read("fold.cube"), f.read("once.cube"));
    let changed = before
        .lines()
        .zip(once.lines())
        .filter(|(a, b)| a != b)
        .count();
    assert_eq!(
        (changed, before.lines().count()),
        (report.nodes_changed, once.lines().count())
    );
    assert_eq!(before.lines().next(), once.lines().next());

    let text = f.done(&["repair", "once.cube", "-o", "twice.cube"]).out;
    assert!(
        text.starts_with("once.cube: no fault found, nothing changed\n"),
        "{text}"
    );
    assert_eq!(f.read("twice.cube"), once);
}

#[test]
fn the_report_is_a_golden_value() {
    let f = with_specimen("near-black-dip");
    let text = f
        .done(&["repair", "near-black-dip.cube", "-o", "r.cube"])
        .out;
    insta::assert_snapshot!("repair", text);
}

#[test]
fn comments_and_line_ends_of_a_sound_file_are_kept() {
    let f = Fixture::new();
    let text = "# by hand\r\nTITLE \"two\"\r\nLUT_3D_SIZE 2\r\n0 0 0\r\n1.0 0 0\r\n0 1 0\r\n1 1 0\r\n0 0 1\r\n1 0 1\r\n0 1 1\r\n1 1 1\r\n";
    f.write("a.cube", text);
    f.done(&["repair", "a.cube", "-o", "b.cube"]);
    assert_eq!(f.read("b.cube"), text);
}

#[test]
fn what_cannot_be_repaired_is_1_and_curves_alone_are_2() {
    let f = Fixture::new();
    // Grey falls from end to end, and two nodes leave nothing between them to smooth.
    f.write(
        "falling.cube",
        "LUT_3D_SIZE 2\n1 1 1\n0 1 1\n1 0 1\n0 0 1\n1 1 0\n0 1 0\n1 0 0\n0 0 0\n",
    );
    let run = f.run(&["repair", "falling.cube", "-o", "out.cube"]);
    assert_eq!(run.code, 1, "{run:?}");
    assert!(
        run.out
            .starts_with("falling.cube: faults remain: reversal (neutral)"),
        "{}",
        run.out
    );
    assert_eq!(f.read("out.cube"), f.read("falling.cube"));

    f.write("curves.cube", "LUT_1D_SIZE 2\n0 0 0\n1 1 1\n");
    let run = f.run(&["repair", "curves.cube", "-o", "none.cube"]);
    assert_eq!(
        run.error(),
        "curves.cube: the LUT holds curves alone; a repair needs a 3D lattice"
    );
    assert!(!f.exists("none.cube"));
}

#[test]
fn with_readings_tint_is_a_fault_and_the_panel_is_named() {
    let f = with_specimen("neutral-tint");
    let arguments = [
        "repair",
        "neutral-tint.cube",
        "-o",
        "r.cube",
        "--panel",
        "panel.cgats",
        "--json",
        "-",
    ];
    let report: Repair = serde_json::from_str(&f.done(&arguments).out).unwrap();
    assert!(report.faults_before.iter().any(|f| f.kind == "tint"));
    assert_eq!(report.cost.panel, "panel.cgats");
    assert_eq!(report.verdict_after.load, "load");
}
