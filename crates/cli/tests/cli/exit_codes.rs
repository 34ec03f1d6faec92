//! Exit codes, refusals, and what is never overwritten.

use std::io::Read as _;
use std::process::Stdio;

use crate::support::{Fixture, additive, ramps, readings};

/// A lattice of three nodes whose grey falls in its upper half.
const FALLING: [f64; 3] = [0.0, 0.8, 0.4];

fn cube(levels: [f64; 3]) -> String {
    let mut text = "LUT_3D_SIZE 3\n".to_owned();
    for b in levels {
        for g in levels {
            for r in levels {
                text += &format!("{r} {g} {b}\n");
            }
        }
    }
    text
}

#[test]
fn usage_errors_are_2_and_help_is_0() {
    let f = Fixture::new();
    for arguments in [
        &["frobnicate"][..],
        &["fit"],
        &["fit", "x.csv"],
        &["fit", "x.csv", "-o", "c.cube", "--nodes", "1"],
        &["fit", "x.csv", "-o", "c.cube", "--scheme", "magic"],
        &["fit", "x.csv", "-o", "c.cube", "--smoothing", "-1"],
        &["fit", "x.csv", "-o", "c.cube", "--native", "y.csv"],
        &["fit", "x.csv", "-o", "c.cube", "--threads", "0"],
        &[
            "simulate", "--panel", "other", "--at", "p.csv", "-o", "r.csv",
        ],
        &["audit"],
        &["audit", "c.cube", "--ramp", "0,0,0:0,0,2"],
        &["audit", "c.cube", "--source-bits", "7"],
    ] {
        let run = f.run(arguments);
        assert_eq!(run.code, 2, "{arguments:?}: {run:?}");
        assert!(
            run.out.is_empty() && !run.err.is_empty(),
            "{arguments:?}: {run:?}"
        );
    }
    assert_eq!(f.run(&["--help"]).code, 0);
    assert_eq!(f.run(&["--version"]).code, 0);
}

#[test]
fn missing_files_are_named() {
    let f = Fixture::with_readings();
    for (arguments, name) in [
        (&["fit", "gone.csv", "-o", "c.cube"][..], "gone.csv"),
        (
            &["fit", "run.csv", "-o", "c.cube", "--through", "gone.cube"],
            "gone.cube",
        ),
        (
            &["predict", "run.csv", "--at", "gone.csv", "-o", "p.csv"],
            "gone.csv",
        ),
        (
            &[
                "simulate", "--panel", "wrgb", "--at", "gone.csv", "-o", "r.csv",
            ],
            "gone.csv",
        ),
        (&["audit", "gone.cube"], "gone.cube"),
    ] {
        let run = f.run(arguments);
        assert!(run.error().starts_with(name), "{}", run.err);
    }
}

#[test]
fn a_panel_that_ignored_its_drive_is_refused() {
    let f = Fixture::with_lut();
    let mut drives = ramps(10);
    drives.extend([[0.3, 0.6, 0.9], [0.9, 0.3, 0.6], [0.6, 0.9, 0.3]]);
    f.write("ignored.csv", &readings(&drives, |_| [95.0, 100.0, 108.0]));
    for arguments in [
        &["fit", "ignored.csv", "-o", "x.cube"][..],
        &[
            "predict",
            "ignored.csv",
            "--at",
            "patches.csv",
            "-o",
            "p.csv",
        ],
        &["audit", "c.cube", "--panel", "ignored.csv"],
    ] {
        let run = f.run(arguments);
        let error = run.error();
        assert!(error.starts_with("ignored.csv: "), "{error}");
        assert!(error.contains("the panel ignored its drive"), "{error}");
    }
    assert!(!f.exists("x.cube") && !f.exists("p.csv"));
}

#[test]
fn too_few_or_collinear_patches_are_refused() {
    let f = Fixture::new();
    f.write(
        "few.csv",
        &readings(
            &[[0.0; 3], [1.0, 1.0, 1.0], [1.0, 0.0, 0.0], [0.0, 0.5, 0.2]],
            additive,
        ),
    );
    let few = f.run(&["fit", "few.csv", "-o", "c.cube"]);
    assert!(few.error().contains("4 distinct patches"), "{}", few.err);

    let line: Vec<[f64; 3]> = (0..40).map(|i| [f64::from(i) / 39.0; 3]).collect();
    f.write("line.csv", &readings(&line, additive));
    let line = f.run(&["fit", "line.csv", "-o", "c.cube", "--base-only"]);
    assert!(line.error().contains("on one line"), "{}", line.err);
    assert!(!f.exists("c.cube"));
}

#[test]
fn a_fault_in_a_file_is_placed() {
    let f = Fixture::new();
    f.write("bad.csv", "r,g,b,X,Y,Z\n0,0,0,0,0,0\n1,1,1,95,x,108\n");
    assert!(
        f.run(&["fit", "bad.csv", "-o", "c.cube"])
            .error()
            .starts_with("bad.csv:3:")
    );
    f.write("bad.cube", "LUT_3D_SIZE 2\n0 0 0\n0 0 nan\n");
    assert!(
        f.run(&["audit", "bad.cube"])
            .error()
            .starts_with("bad.cube:3:")
    );
}

#[test]
fn targets_that_contradict_themselves_are_refused() {
    let f = Fixture::with_readings();
    let run = f.run(&[
        "fit", "run.csv", "-o", "c.cube", "--peak", "50", "--black", "60",
    ]);
    assert!(
        run.error().contains("--peak 50 is not above --black 60"),
        "{}",
        run.err
    );
}

#[test]
fn nothing_is_overwritten_without_force() {
    let f = Fixture::with_lut();
    f.write("kept", "kept");
    for arguments in [
        &["fit", "run.csv", "-o", "kept"][..],
        &["fit", "run.csv", "-o", "new.cube", "--json", "kept"],
        &[
            "simulate",
            "--panel",
            "wrgb",
            "--at",
            "patches.csv",
            "-o",
            "kept",
        ],
        &["predict", "run.csv", "--at", "patches.csv", "-o", "kept"],
        &["audit", "c.cube", "--json", "kept"],
    ] {
        let run = f.run(arguments);
        assert!(
            run.error().starts_with("kept: already there; add --force"),
            "{}",
            run.err
        );
        assert_eq!(f.read("kept"), "kept");
    }
    assert!(!f.exists("new.cube"), "checked before the work");
    let forced = [
        "simulate",
        "--panel",
        "wrgb",
        "--at",
        "patches.csv",
        "-o",
        "kept",
        "--force",
    ];
    f.done(&forced);
    assert_ne!(f.read("kept"), "kept");
}

#[test]
fn outputs_that_cannot_be_are_refused_before_the_work() {
    let f = Fixture::with_readings();
    let run = f.run(&["fit", "run.csv", "-o", "no/folder/c.cube"]);
    assert!(
        run.error().contains("the folder no/folder is not there"),
        "{}",
        run.err
    );
    let run = f.run(&["fit", "run.csv", "-o", "c.cube", "--json", "c.cube"]);
    assert!(run.error().contains("named for two outputs"), "{}", run.err);
    let run = f.run(&["fit", "run.csv", "-o", "-"]);
    assert!(run.error().contains("a LUT goes to a file"), "{}", run.err);
}

#[test]
fn thresholds_decide_between_0_and_1() {
    let f = Fixture::new();
    f.write("falls.cube", &cube(FALLING));
    f.write("even.cube", &cube([0.0, 0.5, 1.0]));
    assert_eq!(
        f.run(&["audit", "falls.cube"]).code,
        0,
        "no threshold was asked for"
    );
    assert_eq!(
        f.run(&["audit", "falls.cube", "--fail-on", "harms"]).code,
        1
    );
    // The panel is unknown: care, but no harm.
    assert_eq!(f.run(&["audit", "even.cube", "--fail-on", "harms"]).code, 0);
    assert_eq!(f.run(&["audit", "even.cube", "--fail-on", "care"]).code, 1);
    assert_eq!(
        f.run(&["audit", "even.cube", "falls.cube", "--fail-on", "harms"])
            .code,
        1
    );
}

#[test]
fn quiet_leaves_the_standard_error_empty() {
    let f = Fixture::with_lut();
    let loud = f.done(&["fit", "run.csv", "-o", "a.cube", "--nodes", "3"]);
    assert!(loud.err.starts_with("note: "), "{}", loud.err);
    let quiet = f.done(&["fit", "run.csv", "-o", "b.cube", "--nodes", "3", "--quiet"]);
    assert_eq!((quiet.err.as_str(), quiet.out), ("", loud.out));
}

#[test]
fn a_reader_that_goes_away_is_no_fault() {
    let f = Fixture::with_lut();
    let mut child = f
        .command(&["audit", "c.cube", "--json", "-"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // The pipe is closed before anything can be written to it.
    drop(child.stdout.take());
    let mut said = String::new();
    child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut said)
        .unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(0), "{said}");
    assert!(!said.contains("evenstep:"), "{said}");
}
