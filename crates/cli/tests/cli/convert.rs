//! `convert`: every format into every other, what is lost said first, and every verb reads what it writes.

use std::path::Path;

use crate::documents::Convert;
use crate::support::Fixture;

fn with_specimen(name: &str) -> Fixture {
    let fixture = Fixture::new();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../luts");
    let file = format!("{name}.cube");
    std::fs::copy(folder.join(&file), fixture.path(&file)).expect("a specimen");
    fixture
}

#[test]
fn a_trip_through_all_formats_ends_where_it_began() {
    let f = with_specimen("identity-17");
    // 16 nodes are what all four hold; 17 of a picture would be 25.
    f.done(&[
        "convert",
        "identity-17.cube",
        "-o",
        "a.cube",
        "--nodes",
        "16",
        "--bits",
        "16",
    ]);
    for (from, to) in [
        ("a.cube", "b.clf"),
        ("b.clf", "c.png"),
        ("c.png", "d.table"),
        ("d.table", "e.tif"),
        ("e.tif", "f.clf"),
        ("f.clf", "g.cube"),
    ] {
        let run = f.done(&["convert", from, "-o", to, "--bits", "16"]);
        assert!(
            run.out.contains("Difference    none") || run.out.contains("none on"),
            "{from}: {}",
            run.out
        );
    }
    let rows = |name: &str| {
        let text = std::fs::read_to_string(f.path(name)).unwrap();
        let rows: Vec<String> = text
            .lines()
            .filter(|l| l.starts_with(|c: char| c.is_ascii_digit()))
            .map(str::to_owned)
            .collect();
        rows
    };
    assert_eq!(rows("a.cube"), rows("g.cube"));
}

#[test]
fn what_is_lost_is_said_before_and_in_the_report() {
    let f = with_specimen("good-17");
    let run = f.done(&[
        "convert",
        "good-17.cube",
        "-o",
        "small.png",
        "--bits",
        "8",
        "--json",
        "-",
    ]);
    let report: Convert = serde_json::from_str(&run.out).unwrap();
    assert_eq!(report.schema, "evenstep/convert/1");
    assert_eq!(
        (report.input_format.as_str(), report.output_format.as_str()),
        ("cube", "picture")
    );
    assert_eq!((report.nodes, report.bits), (Some(25), Some(8)));
    assert_eq!(report.why.keys().collect::<Vec<_>>(), ["curve_rows"]);
    assert!(
        report
            .losses
            .iter()
            .any(|l| l.contains("17 nodes along each axis become 25"))
    );
    assert!(report.difference.largest > 0.0 && report.difference.rms <= report.difference.largest);
    for loss in &report.losses {
        assert!(
            run.err.contains(&format!("note: small.png: {loss}")),
            "{}",
            run.err
        );
    }
    // The file that is there is not replaced.
    let error = f.run(&["convert", "good-17.cube", "-o", "small.png"]);
    assert!(error.error().contains("already there"));
}

#[test]
fn the_text_of_a_conversion_is_a_snapshot() {
    let f = with_specimen("good-17");
    let run = f.done(&[
        "convert",
        "good-17.cube",
        "-o",
        "nine.clf",
        "--nodes",
        "9",
        "--bits",
        "12",
    ]);
    insta::assert_snapshot!("convert-text", run.out);
}

#[test]
fn a_shaper_goes_out_and_in() {
    let f = Fixture::new();
    let cube = "LUT_1D_SIZE 3\nLUT_3D_SIZE 2\n0 0 0\n0.25 0.25 0.25\n1 1 1\n0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n1 1 1\n";
    std::fs::write(f.path("both.cube"), cube).unwrap();
    f.done(&[
        "convert",
        "both.cube",
        "-o",
        "rest.cube",
        "--shaper-out",
        "shaper.clf",
    ]);
    f.done(&[
        "convert",
        "rest.cube",
        "-o",
        "again.cube",
        "--shaper-in",
        "shaper.clf",
    ]);
    assert_eq!(std::fs::read_to_string(f.path("again.cube")).unwrap(), cube);
    let twice = f.run(&[
        "convert",
        "both.cube",
        "-o",
        "x.cube",
        "--shaper-in",
        "shaper.clf",
    ]);
    assert!(twice.error().contains("has curves of its own"));
}

#[test]
fn a_shaper_is_not_written_without_its_lattice() {
    let f = Fixture::new();
    // Codes of 16 bits for this value are beyond any number.
    let cube = "LUT_1D_SIZE 2\nLUT_3D_SIZE 2\n0 0 0\n1 1 1\n0 0 0\n1e306 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n1 1 1\n";
    std::fs::write(f.path("both.cube"), cube).unwrap();
    let run = f.run(&[
        "convert",
        "both.cube",
        "-o",
        "rest.clf",
        "--shaper-out",
        "shaper.cube",
        "--bits",
        "16",
    ]);
    assert!(run.error().contains("not a finite number"), "{run:?}");
    assert!(!f.path("shaper.cube").exists() && !f.path("rest.clf").exists());
}

#[test]
fn a_chain_is_read_as_it_asks_and_as_the_user_says() {
    let f = Fixture::new();
    let list = "<?xml version=\"1.0\"?><ProcessList xmlns=\"urn:AMPAS:CLF:v3.0\" id=\"a\" compCLFversion=\"3.0\">\
        <LUT3D inBitDepth=\"32f\" outBitDepth=\"32f\"><Array dim=\"2 2 2 3\">0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 1 1 1</Array></LUT3D>\
        </ProcessList>";
    std::fs::write(f.path("chain.clf"), list).unwrap();
    // In the middle of the cell, where one corner of eight is 1: trilinear weights are 1/8, tetrahedral ones 1/2.
    for (how, middle) in [(&[][..], "0.125"), (&["--evaluate", "tetrahedral"], "0.5")] {
        let args = [
            "convert",
            "chain.clf",
            "-o",
            "a.cube",
            "--nodes",
            "3",
            "--force",
        ];
        let run = f.done(&[&args[..], how].concat());
        assert!(
            run.err.contains("names and other text are dropped"),
            "{run:?}"
        );
        let text = std::fs::read_to_string(f.path("a.cube")).unwrap();
        let rows: Vec<&str> = text.lines().skip(1).collect();
        assert_eq!(rows[13], [middle; 3].join(" "));
    }
}

#[test]
fn every_verb_that_reads_a_lut_reads_every_format() {
    let f = with_specimen("fold");
    for name in ["a.clf", "a.png", "a.table"] {
        f.done(&[
            "convert",
            "fold.cube",
            "-o",
            name,
            "--bits",
            "16",
            "--quiet",
        ]);
        let audit = f.run(&["audit", name]);
        assert!(audit.out.contains("fold"), "{name}: {audit:?}");
        let compare = f.done(&["compare", name, "fold.cube"]);
        assert!(compare.out.contains(name), "{}", compare.out);
        let repaired = format!("r-{name}");
        let repair = f.done(&["repair", name, "-o", &repaired]);
        assert!(
            repair.out.contains("all faults removed"),
            "{name}: {}",
            repair.out
        );
        assert!(
            f.done(&["repair", &repaired, "-o", "again.cube", "--force"])
                .out
                .contains("no fault found"),
            "{name}"
        );
    }
}

#[test]
fn a_chain_is_refused_by_other_verbs_with_the_way_out() {
    let f = Fixture::new();
    let chain = "<?xml version=\"1.0\"?><ProcessList xmlns=\"urn:AMPAS:CLF:v3.0\" id=\"a\" compCLFversion=\"3.0\">\
        <Log inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"log2\"/></ProcessList>";
    std::fs::write(f.path("chain.clf"), chain).unwrap();
    let refused = f.run(&["audit", "chain.clf"]);
    assert!(
        refused
            .error()
            .contains("sample it first: evenstep convert"),
        "{refused:?}"
    );
    let run = f.done(&["convert", "chain.clf", "-o", "chain.cube"]);
    assert!(
        run.err
            .contains("the chain Log is more than curves and a lattice, and is sampled")
    );
    assert!(run.out.contains("curves of 4096 rows"), "{}", run.out);
    let refused = f.run(&["convert", "chain.clf", "-o", "chain.xyz"]);
    assert!(refused.error().contains("which format?"));
}
