//! The JSON documents: strict parsing, reasons for what is not known, equal bytes for any number of threads, and
//! golden values.

use std::collections::BTreeSet;

use crate::documents::{Audit, FIGURES, Fit, Why};
use crate::support::{Fixture, NODES};
use serde_json::Value;

/// Figures of the bumps of a ramp.
const BUMPS: [&str; 4] = [
    "bump_between",
    "bump_drive",
    "bump_drive_between",
    "bump_itp",
];

/// Every member that is `null` has its reason in the `why` beside it, and `why` names nothing else.
fn reasons_are_complete(value: &Value, at: &str) {
    match value {
        Value::Object(members) => {
            // Reasons and their spans are told by what is there: they are not figures.
            if at.ends_with("reasons") {
                return;
            }
            let given: Why = members
                .get("why")
                .map(|why| serde_json::from_value(why.clone()).unwrap())
                .unwrap_or_default();
            let unknown = |name: &str| members.get(name).is_some_and(Value::is_null);
            for name in members.keys().filter(|name| unknown(name)) {
                assert!(
                    given.contains_key(name),
                    "{at}.{name} is null without a reason"
                );
            }
            for name in given.keys().filter(|name| !name.contains('.')) {
                assert!(unknown(name), "{at}.{name} has a reason and is known");
            }
            for (name, member) in members.iter().filter(|(name, _)| *name != "why") {
                reasons_are_complete(member, &format!("{at}.{name}"));
            }
        }
        Value::Array(items) if !at.ends_with("reasons") => {
            for item in items {
                reasons_are_complete(item, at);
            }
        }
        _ => {}
    }
}

fn value(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

#[test]
fn the_fit_parses_strictly_from_the_standard_output() {
    let f = Fixture::with_readings();
    let text = f
        .done(&[
            "fit", "run.csv", "-o", "c.cube", "--nodes", NODES, "--json", "-",
        ])
        .out;
    let fit: Fit = serde_json::from_str(&text).unwrap();
    assert_eq!(
        (fit.schema.as_str(), fit.nodes, fit.node_bits),
        ("evenstep/fit/1", 9, 12)
    );
    assert_eq!((fit.patches.used, fit.patches.averaged), (101, 113));
    assert_eq!(fit.noise.source, "repeats");
    assert!(fit.leave_one_out.unwrap().de2000_mean < fit.base_error.unwrap().de2000_mean);
    assert!(fit.target.white_cd_m2 < fit.target.reach_cd_m2);
    reasons_are_complete(&value(&text), "fit");
}

/// The simulated panel gives 60 % of what its channels share to a white sub-pixel, and half of the peak is the most that
/// one of them gives.
#[test]
fn a_panel_that_does_not_add_is_told_to_people_and_machines() {
    let f = Fixture::with_readings();
    let simulate = ["simulate", "--panel", "hdr-wrgb", "--at", "patches.csv"];
    f.done(&[&simulate[..], &["-o", "hdr.csv"]].concat());
    let fit = ["fit", "hdr.csv", "-o", "h.cube", "--nodes", "3"];
    let words = f.done(&[&fit[..], &["--json", "told.json"]].concat()).out;
    let told = std::fs::read_to_string(f.path("told.json")).unwrap();
    let told: Fit = serde_json::from_str(&told).unwrap();
    let sharing = told.sharing.unwrap();
    assert!((sharing.share - 0.6).abs() < 0.05, "{sharing:?}");
    let ends = sharing.most.map(|most| (most - 0.5).abs() < 0.02);
    assert_eq!(ends, [true; 3], "{sharing:?}");
    assert!(!told.why.contains_key("sharing"));
    let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("have in common to a white sub-pixel"),
        "{words}"
    );
}

/// Below its floor an instrument says 0, or says figures that are none and are told by `--floor`: the same fit, which
/// names what it takes for bounds.
#[test]
fn what_the_instrument_does_not_see_is_a_bound() {
    const FLOOR_CD_M2: f64 = 0.05;
    let f = Fixture::with_readings();
    let simulate = ["simulate", "--panel", "hdr-wrgb", "--at", "patches.csv"];
    f.done(&[&simulate[..], &["-o", "seen.csv"]].concat());
    let clipped: Vec<String> = f
        .read("seen.csv")
        .lines()
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            // r,g,b,X,Y,Z,id
            let y: Result<f64, _> = cells[4].parse();
            let black = cells[..3].iter().all(|v| v.parse() == Ok(0.0));
            if y.is_ok_and(|y| y <= FLOOR_CD_M2) && !black {
                format!("{},0,0,0,{}", cells[..3].join(","), cells[6])
            } else {
                line.to_owned()
            }
        })
        .collect();
    f.write("zeros.csv", &clipped.join("\n"));
    let fit = |readings: &str, lut: &str, more: &[&str]| -> (String, Fit) {
        let fit = [
            "fit",
            readings,
            "-o",
            lut,
            "--nodes",
            "3",
            "--base-only",
            "--json",
            "told.json",
        ];
        let words = f.done(&[&fit[..], more].concat()).out;
        std::fs::rename(f.path("told.json"), f.path("told")).unwrap();
        let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
        (words, serde_json::from_str(&f.read("told")).unwrap())
    };
    let (words, zeros) = fit("zeros.csv", "zeros.cube", &[]);
    let bound = zeros.patches.at_floor.unwrap();
    assert!(
        bound.left_out.len() > 2 && bound.at_most_cd_m2 > FLOOR_CD_M2,
        "{bound:?}"
    );
    let said = format!("{} patches read 0", bound.left_out.len() + bound.held.len());
    assert!(words.contains(&said), "{words}");
    let (_, told) = fit("seen.csv", "told.cube", &["--floor", "0.05"]);
    let told_bound = told.patches.at_floor.unwrap();
    assert_eq!(
        (told_bound.left_out, told_bound.held),
        (bound.left_out, bound.held)
    );
    assert_eq!((bound.as_read.len(), told.notes), (0, zeros.notes));
    assert_eq!(f.read("zeros.cube"), f.read("told.cube"));
    let (words, seen) = fit("seen.csv", "seen.cube", &[]);
    assert!(seen.patches.at_floor.is_none() && !words.contains("read 0"));
}

#[test]
fn a_base_says_why_it_has_no_model() {
    let f = Fixture::with_readings();
    let fit = [
        "fit",
        "run.csv",
        "-o",
        "c.cube",
        "--nodes",
        "3",
        "--base-only",
        "--peak",
        "100",
        "--json",
        "-",
    ];
    let text = f.done(&fit).out;
    let fit: Fit = serde_json::from_str(&text).unwrap();
    assert_eq!((fit.scheme.as_str(), fit.form), ("base", None));
    assert!(fit.leave_one_out.is_none() && fit.base_error.is_some());
    assert!(fit.why.contains_key("leave_one_out") && fit.target.reach_cd_m2 > 0.0);
    reasons_are_complete(&value(&text), "fit");
}

#[test]
fn audits_parse_strictly() {
    let f = Fixture::with_lut();
    for (arguments, measured_on) in [
        (&["audit", "c.cube", "--json", "-"][..], "drive"),
        (
            &["audit", "c.cube", "--panel", "run.csv", "--json", "-"],
            "panel",
        ),
    ] {
        let text = f.done(arguments).out;
        let audit: Audit = serde_json::from_str(&text).unwrap();
        assert_eq!(
            (audit.schema.as_str(), audit.measured_on.as_str()),
            ("evenstep/audit/1", measured_on)
        );
        assert_eq!(audit.ramps.len(), 10);
        assert_eq!(audit.lattice.unwrap().nodes, 9);
        assert_eq!(audit.verdict.against_base.is_some(), measured_on == "panel");
        for ramp in &audit.ramps {
            let parts = [
                ramp,
                &ramp["rounded"],
                &ramp["near_black"],
                &ramp["near_black"]["rounded"],
            ];
            for part in parts {
                let names: BTreeSet<&str> = part
                    .as_object()
                    .unwrap()
                    .keys()
                    .map(String::as_str)
                    .filter(|n| {
                        ![
                            "name",
                            "from",
                            "to",
                            "rounded",
                            "near_black",
                            "floor",
                            "why",
                        ]
                        .contains(n)
                    })
                    .collect();
                // Bumps are those of the whole ramp, before rounding.
                let mut expected = BTreeSet::from(FIGURES);
                if std::ptr::eq(part, ramp) {
                    expected.extend(BUMPS);
                }
                assert_eq!(names, expected, "{}", ramp["name"]);
            }
        }
        reasons_are_complete(&value(&text), "audit");
    }
}

#[test]
fn results_are_the_same_on_any_number_of_threads() {
    let f = Fixture::with_readings();
    f.done(&[
        "simulate",
        "--panel",
        "wrgb",
        "--at",
        "patches.csv",
        "-o",
        "noisy.csv",
        "--seed",
        "3",
    ]);
    let outputs = ["1", "2"].map(|threads| {
        let with = |arguments: &[&str]| {
            f.done(&[arguments, &["--threads", threads, "--force"]].concat())
                .out
        };
        let fit = with(&[
            "fit",
            "noisy.csv",
            "-o",
            "c.cube",
            "--nodes",
            NODES,
            "--json",
            "-",
        ]);
        let audit = with(&["audit", "c.cube", "--panel", "noisy.csv", "--json", "-"]);
        let predicted = with(&["predict", "noisy.csv", "--at", "patches.csv", "-o", "-"]);
        [fit, audit, predicted, f.read("c.cube")]
    });
    assert!(outputs[0] == outputs[1]);
}

/// Numbers with fractions to four decimals; insta's own rounding does not reach into a `Value`.
fn rounded(value: Value) -> Value {
    match value {
        Value::Number(number) if number.is_f64() => {
            let v = number.as_f64().unwrap();
            // Adding zero gives both zeros the same sign.
            serde_json::json!((v * 1e4).round() / 1e4 + 0.0)
        }
        Value::Array(items) => items.into_iter().map(rounded).collect(),
        Value::Object(members) => members
            .into_iter()
            .map(|(name, member)| (name, rounded(member)))
            .collect(),
        other => other,
    }
}

/// Undisturbed readings, so that nothing depends on random numbers. Four decimals hold on any processor.
#[test]
fn golden_values() {
    let f = Fixture::with_readings();
    let fit = f
        .done(&[
            "fit", "run.csv", "-o", "c.cube", "--nodes", NODES, "--json", "-",
        ])
        .out;
    insta::assert_json_snapshot!("fit", rounded(value(&fit)));

    let audit = f
        .done(&["audit", "c.cube", "--panel", "run.csv", "--json", "-"])
        .out;
    let audit = value(&audit);
    let excerpt = serde_json::json!({
        "verdict": audit["verdict"],
        "lattice": audit["lattice"],
        "neutral": audit["ramps"][0],
        "neutral_wobble_itp": audit["neutral_wobble_itp"],
    });
    insta::assert_json_snapshot!("audit", rounded(excerpt));
}
