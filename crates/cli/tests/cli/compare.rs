//! `compare` and `tour`, and what no command may do to its inputs.

use crate::support::{Fixture, additive, ramps, readings};

/// A lattice of four levels a channel on a panel that adds, with extra greys.
fn lattice() -> Vec<[f64; 3]> {
    let level = |i: usize| i as f64 / 3.0;
    let mut drives = ramps(12);
    for r in 0..4 {
        for g in 0..4 {
            drives.extend((0..4).map(|b| [level(r), level(g), level(b)]));
        }
    }
    drives
}

#[test]
fn two_luts_are_compared_with_and_without_a_panel() {
    let f = Fixture::with_lut();
    f.done(&[
        "fit",
        "run.csv",
        "-o",
        "b.cube",
        "--nodes",
        "9",
        "--base-only",
    ]);
    let alone = f.done(&["compare", "c.cube", "b.cube"]);
    assert!(alone.out.contains("no panel"), "{}", alone.out);
    let seen = f.done(&["compare", "c.cube", "b.cube", "--panel", "run.csv"]);
    assert!(seen.out.contains("whole cube"), "{}", seen.out);
    // The caution against judging a LUT by the readings it was made from.
    assert!(
        seen.out.contains("fitted to these very readings"),
        "{}",
        seen.out
    );
    let json = f.done(&["compare", "c.cube", "c.cube", "--json", "-"]);
    let document: serde_json::Value = serde_json::from_str(&json.out).expect("JSON");
    assert_eq!(document["schema"], "evenstep/compare/1");
    assert_eq!(document["drive_difference"]["max"], 0.0);
    assert_eq!(document["why"]["colour"], "needs readings");
}

#[test]
fn sparse_and_dense_readings_are_compared_and_a_stuck_panel_is_refused() {
    let f = Fixture::with_readings();
    f.write("dense.csv", &readings(&lattice(), additive));
    f.write("sparse.csv", &readings(&lattice(), additive));
    let compare = [
        "compare",
        "sparse.csv",
        "dense.csv",
        "--nodes",
        "5",
        "--draws",
        "2",
    ];
    let done = f.done(&compare);
    assert!(done.out.contains("Read next"), "{}", done.out);
    let narrow = f.run(&[&compare[..], &["--range", "narrow"]].concat());
    assert!(narrow.error().contains("--range narrow"));
    f.write(
        "stuck.csv",
        &readings(&lattice(), |d| [95.0 + 0.2 * d[0], 100.0, 108.0]),
    );
    let stuck = f.run(&[
        "compare",
        "sparse.csv",
        "stuck.csv",
        "--nodes",
        "5",
        "--draws",
        "2",
    ]);
    assert!(stuck.error().contains("drive"), "{}", stuck.err);
    f.write("ramps.csv", &readings(&ramps(20), additive));
    let few = f.run(&[
        "compare",
        "sparse.csv",
        "ramps.csv",
        "--nodes",
        "5",
        "--draws",
        "2",
    ]);
    assert!(few.error().contains("declined"), "{}", few.err);
}

/// A regression: two coarse lattices without a ramp ended in a panic.
#[test]
fn sets_without_a_base_are_refused_in_one_line() {
    let f = Fixture::new();
    let coarse = |n: usize| {
        let level = |i: usize| i as f64 / (n - 1) as f64;
        let mut drives = Vec::new();
        for r in 0..n {
            for g in 0..n {
                drives.extend((0..n).map(|b| [level(r), level(g), level(b)]));
            }
        }
        drives
    };
    f.write("a.csv", &readings(&coarse(3), additive));
    f.write("b.csv", &readings(&coarse(4), additive));
    let run = f.run(&["compare", "a.csv", "b.csv", "--nodes", "5", "--draws", "2"]);
    assert!(run.error().contains("base correction"), "{}", run.err);
}

#[test]
fn a_lut_and_readings_are_not_compared() {
    let f = Fixture::with_lut();
    assert!(
        f.run(&["compare", "c.cube", "run.csv"])
            .error()
            .contains("two LUTs or two sets")
    );
}

/// A regression: `--force` replaced the readings by the LUT that was made from them.
#[test]
fn an_input_is_never_replaced() {
    let f = Fixture::with_lut();
    let (run, lut) = (f.read("run.csv"), f.read("c.cube"));
    for arguments in [
        &["fit", "run.csv", "-o", "run.csv", "--force"][..],
        &[
            "fit",
            "run.csv",
            "-o",
            "d.cube",
            "--json",
            "./run.csv",
            "--force",
        ],
        &[
            "predict",
            "run.csv",
            "--at",
            "patches.csv",
            "-o",
            "patches.csv",
            "--force",
        ],
        &["audit", "c.cube", "--json", "c.cube", "--force"],
        &["compare", "c.cube", "c.cube", "--json", "c.cube", "--force"],
        &[
            "simulate", "--panel", "wrgb", "--at", "run.csv", "-o", "run.csv", "--force",
        ],
    ] {
        let refused = f.run(arguments);
        assert!(
            refused.error().contains("this is the input"),
            "{arguments:?}: {}",
            refused.err
        );
    }
    assert_eq!((f.read("run.csv"), f.read("c.cube")), (run, lut));
}

/// In narrow range the curves carry codes: black at 64 of 1023 stays the darkest legal code.
#[test]
fn narrow_curves_map_codes_to_codes() {
    let f = Fixture::with_readings();
    let fit = [
        "fit",
        "run.csv",
        "-o",
        "n.cube",
        "--base-only",
        "--nodes",
        "5",
        "--range",
        "narrow",
    ];
    f.done(&[&fit[..], &["--curves", "curves"]].concat());
    let grey = f.read("curves/grey.cube");
    let rows: Vec<f64> = grey
        .lines()
        .filter(|l| l.starts_with(|c: char| c.is_ascii_digit()))
        .map(|l| {
            l.split(' ')
                .next()
                .expect("a number")
                .parse()
                .expect("a number")
        })
        .collect();
    let at = |position: f64| rows[(position * (rows.len() - 1) as f64).round() as usize];
    // An entry of 4096 is 0.25 of a 10-bit code wide, and the panel's own threshold lifts the first codes.
    assert!(
        (at(64.0 / 1023.0) - 64.0 / 1023.0).abs() < 0.04,
        "{}",
        at(64.0 / 1023.0)
    );
    assert!(
        (at(940.0 / 1023.0) - 940.0 / 1023.0).abs() < 0.1,
        "{}",
        at(940.0 / 1023.0)
    );
    assert!(rows.windows(2).all(|w| w[0] <= w[1]));
}

#[test]
fn the_tour_ends_with_a_verdict_for_each() {
    let f = Fixture::new();
    let run = f.done(&["tour", "-o", "out", "--nodes", "9", "--draws", "2"]);
    assert!(run.out.contains("Advice:"), "{}", run.out);
    assert!(run.out.contains("3D correction is declined"), "{}", run.out);
    for name in [
        "sparse.cube",
        "dense.cube",
        "base-only.cube",
        "tour.json",
        "tour.html",
        "steps.svg",
        "compare.json",
        "base-curves/grey.cube",
    ] {
        assert!(f.exists(&format!("out/{name}")), "{name}");
    }
    assert!(f.read("out/steps.svg").matches("<polyline").count() >= 4);
    let document: serde_json::Value = serde_json::from_str(&f.read("out/tour.json")).expect("JSON");
    assert_eq!(document["schema"], "evenstep/tour/1");
    assert!(
        run.out.lines().all(|l| l.chars().count() <= 100),
        "a line is too wide"
    );
    let again = f.run(&["tour", "-o", "out", "--nodes", "9", "--draws", "2"]);
    assert!(again.error().contains("--force"), "{}", again.err);
}
