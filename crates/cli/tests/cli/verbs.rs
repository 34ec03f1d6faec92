//! Each command's happy path.

use crate::support::{Fixture, NODES, additive, ramps, readings};

#[test]
fn simulate_reads_every_patch_and_depends_on_the_seed_alone() {
    let f = Fixture::with_readings();
    let simulate = |out: &str, seed: &str| {
        f.done(&[
            "simulate",
            "--panel",
            "wrgb",
            "--at",
            "patches.csv",
            "-o",
            out,
            "--seed",
            seed,
        ])
    };
    let said = simulate("a.csv", "7").out;
    assert_eq!(
        said,
        "a.csv: 113 readings of 101 patches on the simulated panel wrgb\n"
    );
    simulate("b.csv", "7");
    simulate("c.csv", "8");
    assert_eq!(f.read("a.csv"), f.read("b.csv"));
    assert_ne!(f.read("a.csv"), f.read("c.csv"));
    assert_eq!(f.read("a.csv").lines().count(), 114);
}

#[test]
fn simulate_writes_cgats_that_fits_like_the_csv() {
    let f = Fixture::with_readings();
    f.done(&[
        "simulate",
        "--panel",
        "wrgb",
        "--at",
        "patches.csv",
        "-o",
        "run.cgats",
        "--noise",
        "0",
    ]);
    assert!(f.read("run.cgats").starts_with("CGATS.17\n"));
    f.done(&["fit", "run.csv", "-o", "a.cube", "--nodes", "5"]);
    f.done(&["fit", "run.cgats", "-o", "b.cube", "--nodes", "5"]);
    assert_eq!(f.read("a.cube"), f.read("b.cube"));
}

#[test]
fn disturbances_change_the_readings() {
    let f = Fixture::with_readings();
    let base = [
        "simulate",
        "--panel",
        "wrgb",
        "--at",
        "patches.csv",
        "--noise",
        "0",
    ];
    for (out, option, value) in [
        ("d.csv", "--drift", "-0.02"),
        ("o.csv", "--outliers", "0.2"),
    ] {
        f.done(&[&base[..], &["-o", out, option, value]].concat());
        assert_ne!(f.read(out), f.read("run.csv"), "{option}");
    }
}

#[test]
fn fit_writes_a_lut_and_says_what_it_stands_on() {
    let f = Fixture::with_readings();
    let said = f
        .done(&["fit", "run.csv", "-o", "c.cube", "--nodes", NODES])
        .out;
    let lut = f.read("c.cube");
    assert!(lut.contains("LUT_3D_SIZE 9\n"), "{}", &lut[..80]);
    assert_eq!(
        lut.lines()
            .filter(|l| l.starts_with(|c: char| c.is_ascii_digit()))
            .count(),
        729
    );
    for part in [
        "Target",
        "Readings",
        "Noise",
        "Model",
        "Error",
        "Reach",
        "21 neutral levels",
        "CIEDE2000",
    ] {
        assert!(said.contains(part), "{part}: {said}");
    }
    assert!(said.lines().all(|l| l.chars().count() <= 100), "{said}");
}

#[test]
fn stored_values_are_whole_codes() {
    let f = Fixture::with_readings();
    f.done(&[
        "fit",
        "run.csv",
        "-o",
        "c.cube",
        "--nodes",
        "3",
        "--node-bits",
        "8",
    ]);
    let lut = f.read("c.cube");
    let values = lut
        .lines()
        .filter(|l| l.starts_with(|c: char| c.is_ascii_digit()));
    for value in values.flat_map(str::split_whitespace) {
        let code = 255.0 * value.parse::<f64>().unwrap();
        // The printed number is the code over 255 to the last bit of a double.
        assert!((code - code.round()).abs() < 1e-12, "{value}");
    }
}

#[test]
fn fit_heeds_its_target() {
    let f = Fixture::with_readings();
    let said = f
        .done(&[
            "fit",
            "run.csv",
            "-o",
            "c.cube",
            "--nodes",
            "3",
            "--primaries",
            "p3-d65",
            "--transfer",
            "gamma:2.4",
            "--white",
            "0.30,0.31",
            "--peak",
            "80",
            "--scheme",
            "rbf-linear",
            "--smoothing",
            "0",
        ])
        .out;
    let target = "primaries p3-d65, transfer gamma:2.4, white x 0.3000 y 0.3100 at 80.00 cd/m²";
    assert!(said.contains(target), "{said}");
    assert!(
        said.contains("rbf-linear of") && said.contains("smoothing 0\n"),
        "{said}"
    );
}

#[test]
fn narrow_range_keeps_codes_below_black() {
    let f = Fixture::with_readings();
    f.done(&[
        "fit", "run.csv", "-o", "c.cube", "--nodes", "17", "--range", "narrow",
    ]);
    let lut = f.read("c.cube");
    let first = lut
        .lines()
        .find(|l| l.starts_with(|c: char| c.is_ascii_digit()))
        .unwrap();
    // Code 0 lies below black, 64 of 1023, and stays near where it is.
    for v in first.split_whitespace() {
        assert!(v.parse::<f64>().unwrap() < 64.0 / 1023.0, "{first}");
    }
    let audit = f.run(&["audit", "c.cube", "--range", "narrow"]);
    assert!(audit.out.contains("neutral        877 "), "{}", audit.out);
}

#[test]
fn curves_come_in_four_files() {
    let f = Fixture::with_readings();
    f.done(&[
        "fit",
        "run.csv",
        "-o",
        "c.cube",
        "--nodes",
        "3",
        "--base-only",
        "--curves",
        "curves",
    ]);
    for name in ["before.cube", "after.cube", "grey.cube"] {
        assert!(
            f.read(&format!("curves/{name}")).contains("LUT_1D_SIZE "),
            "{name}"
        );
    }
    let matrix: serde_json::Value = serde_json::from_str(&f.read("curves/matrix.json")).unwrap();
    assert_eq!(matrix["schema"], "evenstep/base-correction/1");
    assert_eq!(matrix["order"][1]["stage"], "matrix");
    // White goes to full light at most: the sum of each row with its offset.
    for row in 0..3 {
        let sum: f64 = (0..3)
            .map(|c| matrix["matrix"][row][c].as_f64().unwrap())
            .sum();
        let light = sum + matrix["offset"][row].as_f64().unwrap();
        assert!(light > 0.5 && light < 1.05, "row {row}: {light}");
    }
}

#[test]
fn ramps_alone_are_declined_and_fitted_with_base_only() {
    let f = Fixture::new();
    f.write("ramps.csv", &readings(&ramps(10), additive));
    let declined = f.run(&["fit", "ramps.csv", "-o", "c.cube"]);
    let error = declined.error();
    assert!(
        error.starts_with("ramps.csv: a 3D correction is declined: ramps only"),
        "{error}"
    );
    assert!(
        error.contains("--base-only") && !f.exists("c.cube"),
        "{error}"
    );
    let said = f
        .done(&[
            "fit",
            "ramps.csv",
            "-o",
            "c.cube",
            "--base-only",
            "--nodes",
            NODES,
        ])
        .out;
    assert!(said.starts_with("base correction"), "{said}");

    let audit = f.done(&["audit", "c.cube", "--panel", "ramps.csv"]);
    assert!(audit.err.contains("base model alone"), "{}", audit.err);
    assert!(!audit.out.starts_with("c.cube: load\n"), "{}", audit.out);
    assert!(
        audit.out.contains("patches inside the drive cube"),
        "{}",
        audit.out
    );
}

#[test]
fn a_base_that_suffices_is_recommended() {
    let f = Fixture::new();
    // An additive panel is all base. The mixtures make a 3D fit possible, not needed.
    let mut drives = ramps(10);
    let level = |i: usize| 0.25 + 0.25 * i as f64;
    drives.extend((0..27).map(|i| [level(i / 9), level(i / 3 % 3), level(i % 3)]));
    f.write("run.csv", &readings(&drives, additive));
    let fit = [
        "fit", "run.csv", "-o", "c.cube", "--nodes", "3", "--scheme", "nearest",
    ];
    let said = f.done(&[&fit[..], &["--json", "fit.json"]].concat()).out;
    let json: serde_json::Value = serde_json::from_str(&f.read("fit.json")).unwrap();
    assert_eq!(json["base_suffices"], true, "{said}");
    assert!(
        said.contains("Advice") && said.contains("--base-only"),
        "{said}"
    );
}

#[test]
fn a_second_pass_takes_readings_through_the_first_lut() {
    let f = Fixture::with_lut();
    // What the panel shows through the LUT, computed by hand for signals whose drive is known: the LUT's nodes.
    let lut = f.read("c.cube");
    let nodes: Vec<[f64; 3]> = lut
        .lines()
        .filter(|l| l.starts_with(|c: char| c.is_ascii_digit()))
        .map(|l| {
            let v: Vec<f64> = l.split_whitespace().map(|v| v.parse().unwrap()).collect();
            [v[0], v[1], v[2]]
        })
        .collect();
    let signals: Vec<[f64; 3]> = (0..729)
        .step_by(7)
        .map(|i| [i % 9, i / 9 % 9, i / 81].map(|v| v as f64 / 8.0))
        .collect();
    let at = |signal: [f64; 3]| {
        let [r, g, b] = signal.map(|v| (8.0 * v) as usize);
        nodes[r + 9 * (g + 9 * b)]
    };
    let mut drives = "r,g,b\n".to_owned();
    for &signal in &signals {
        drives += &at(signal).map(|v| v.to_string()).join(",");
        drives.push('\n');
    }
    f.write("drives.csv", &drives);
    f.done(&[
        "simulate",
        "--panel",
        "wrgb",
        "--at",
        "drives.csv",
        "-o",
        "shown.csv",
        "--noise",
        "0",
    ]);
    let shown = f.read("shown.csv");
    let mut through = "r,g,b,X,Y,Z\n".to_owned();
    for (signal, row) in signals.iter().zip(shown.lines().skip(1)) {
        let cells: Vec<&str> = row.split(',').collect();
        through += &format!(
            "{},{}\n",
            signal.map(|v| v.to_string()).join(","),
            cells[3..6].join(",")
        );
    }
    f.write("through.csv", &through);

    // The same knowledge, once as drives and once as signals in front of the LUT.
    let native = f.read("run.csv");
    let header = native.lines().next().unwrap();
    assert!(header.starts_with("r,g,b,X,Y,Z"), "{header}");
    f.write(
        "joined.csv",
        &format!("{native}{}", shown.split_once('\n').unwrap().1),
    );
    f.done(&["fit", "joined.csv", "-o", "direct.cube", "--nodes", "5"]);
    let second = [
        "fit",
        "through.csv",
        "-o",
        "second.cube",
        "--nodes",
        "5",
        "--through",
        "c.cube",
    ];
    f.done(&[&second[..], &["--native", "run.csv"]].concat());
    assert_eq!(f.read("second.cube"), f.read("direct.cube"));
    // On their own they hold no black of the panel.
    let alone = f.run(&[
        "fit",
        "through.csv",
        "-o",
        "alone.cube",
        "--through",
        "c.cube",
    ]);
    assert!(alone.error().contains("no black"), "{}", alone.err);
}

#[test]
fn predict_meets_the_readings_it_knows() {
    let f = Fixture::with_readings();
    f.done(&[
        "predict",
        "run.csv",
        "--at",
        "patches.csv",
        "-o",
        "p.csv",
        "--scheme",
        "rbf-cubic",
        "--smoothing",
        "0",
    ]);
    let (predicted, read) = (f.read("p.csv"), f.read("run.csv"));
    assert!(predicted.starts_with("r,g,b,X,Y,Z\n"));
    let row = |line: &str| -> Vec<f64> {
        line.split(',')
            .take(6)
            .map(|v| v.parse().unwrap())
            .collect()
    };
    let known: Vec<Vec<f64>> = read.lines().skip(1).map(row).collect();
    for line in predicted.lines().skip(1) {
        let own = row(line);
        let reading = known.iter().find(|k| k[..3] == own[..3]).unwrap();
        for (p, r) in own[3..].iter().zip(&reading[3..]) {
            // Without smoothing the model passes through its readings; solving it costs some digits.
            assert!(
                (p - r).abs() < 1e-4 * r.abs().max(1e-2),
                "{own:?} against {reading:?}"
            );
        }
    }
    let piped = f.done(&[
        "predict",
        "run.csv",
        "--at",
        "patches.csv",
        "-o",
        "-",
        "--scheme",
        "rbf-cubic",
        "--smoothing",
        "0",
    ]);
    assert_eq!(piped.out, predicted);
}

#[test]
fn predict_says_how_sure_it_is_where_the_scheme_knows() {
    let f = Fixture::with_readings();
    let run = [
        "predict",
        "run.csv",
        "--at",
        "patches.csv",
        "-o",
        "-",
        "--scheme",
        "kriging",
        "--smoothing",
        "1e-3",
    ];
    let predicted = f.done(&run).out;
    assert!(predicted.starts_with("r,g,b,X,Y,Z,sX,sY,sZ\n"));
    for line in predicted.lines().skip(1) {
        let row: Vec<f64> = line.split(',').map(|v| v.parse().unwrap()).collect();
        // Above 0, because the readings are noisy; and at a patch that was read, below a tenth of its light, or of
        // the floor of the noise at black.
        assert_eq!(row.len(), 9);
        assert!(row[6..].iter().all(|s| *s > 0.0), "{line}");
        assert!(row[7] < 0.1 * row[4] + 1e-3, "{line}");
    }
}

#[test]
fn audit_gives_verdict_reasons_ramps_and_lattice() {
    let f = Fixture::with_lut();
    let run = f.run(&[
        "audit",
        "c.cube",
        "--panel",
        "run.csv",
        "--ramp",
        "0,0,0:1,0.5,0.2",
    ]);
    assert_eq!(run.code, 0, "{}", run.err);
    let first = run.out.lines().next().unwrap();
    assert!(first.starts_with("c.cube: "), "{first}");
    for part in [
        "Gradation: ",
        "exact 12-bit floor",
        "\nneutral ",
        "\n  near black",
        "\nramp-1 ",
        "\nLattice",
        "\nTint",
    ] {
        assert!(run.out.contains(part), "{part}: {}", run.out);
    }
    assert!(
        run.out.lines().all(|l| l.chars().count() <= 100),
        "{}",
        run.out
    );
}

#[test]
fn audit_without_readings_says_the_panel_is_unknown() {
    let f = Fixture::with_lut();
    let run = f.done(&["audit", "c.cube"]);
    assert!(
        run.out
            .starts_with("c.cube: load with care: panel unknown\n"),
        "{}",
        run.out
    );
    assert!(run.out.contains("neutral       1024     -"), "{}", run.out);
}

#[test]
fn several_luts_give_a_summary_each() {
    let f = Fixture::with_lut();
    std::fs::copy(f.path("c.cube"), f.path("d.cube")).unwrap();
    let run = f.done(&["audit", "c.cube", "d.cube", "--json", "both.json"]);
    assert!(
        run.out.starts_with("LUT ")
            && run.out.contains("\nc.cube: ")
            && run.out.contains("\nd.cube: "),
        "{}",
        run.out
    );
    let json: serde_json::Value = serde_json::from_str(&f.read("both.json")).unwrap();
    assert_eq!(json["schema"], "evenstep/audits/1");
    assert_eq!(json["audits"][1]["lut"], "d.cube");
    assert_eq!(json["audits"][1]["audit"]["schema"], "evenstep/audit/1");
    assert_eq!(json["audits"][0]["audit"], json["audits"][1]["audit"]);
}

/// The patches that a fit asks for are a list that simulate reads; the count is as asked.
#[test]
fn patches_to_read_next_go_round() {
    let f = Fixture::with_readings();
    f.done(&[
        "fit",
        "run.csv",
        "-o",
        "c.cube",
        "--nodes",
        NODES,
        "--next",
        "4",
        "--next-patches",
        "next.csv",
    ]);
    assert_eq!(f.read("next.csv").lines().count(), 5);
    f.done(&[
        "simulate", "--panel", "wrgb", "--at", "next.csv", "-o", "more.csv",
    ]);
    assert_eq!(f.read("more.csv").lines().count(), 5);
}

/// The shaper and the lattice are written both or neither, and the summary says what the shaper gains.
#[test]
fn a_shaper_goes_with_its_lattice() {
    let f = Fixture::with_readings();
    let fit = [
        "fit", "run.csv", "-o", "c.cube", "--nodes", NODES, "--shaper", "s.cube",
    ];
    let said = f.done(&fit).out;
    assert!(said.contains("Shaper "), "{said}");
    assert!(f.read("s.cube").contains("LUT_1D_SIZE 1024"));
    std::fs::remove_file(f.path("c.cube")).unwrap();
    f.write("s.cube", "mine");
    f.run(&fit).error();
    assert!(!f.exists("c.cube") && f.read("s.cube") == "mine");
}
