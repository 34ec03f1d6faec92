//! Options of `audit`: thresholds by file, viewing conditions, pictures.

use std::fs::File;

use evenstep::picture::{Depth, Format, Header, Picture, Samples};

use crate::support::Fixture;

/// A linear ramp of two nodes as cube text.
const IDENTITY: &str = "LUT_3D_SIZE 2\n0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n1 1 1\n";

fn fixture() -> Fixture {
    let f = Fixture::new();
    std::fs::write(f.path("c.cube"), IDENTITY).unwrap();
    f
}

#[test]
fn printed_thresholds_are_read_back_and_a_changed_one_is_told() {
    let f = fixture();
    let printed = f.done(&["audit", "--print-thresholds"]).out;
    std::fs::write(f.path("t.toml"), &printed).unwrap();
    f.done(&["audit", "c.cube", "--thresholds", "t.toml"]);
    let changed =
        "schema = \"evenstep/thresholds/1\"\n[plateau_codes]\nvalue = 9\nreason = \"a test\"\n";
    std::fs::write(f.path("t.toml"), changed).unwrap();
    let json = f
        .done(&["audit", "c.cube", "--thresholds", "t.toml", "--json", "-"])
        .out;
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["thresholds"]["plateau_codes"], 9);
    let reasons = serde_json::json!({"plateau_codes": "a test"});
    assert_eq!(json["threshold_reasons"], reasons);
    let text = f.done(&["audit", "c.cube", "--thresholds", "t.toml"]).out;
    assert!(
        text.contains("Own limit: plateau_codes 9 (codes): a test"),
        "{text}"
    );
}

#[test]
fn a_threshold_without_a_reason_is_refused_in_one_line() {
    let f = fixture();
    let changed = "schema = \"evenstep/thresholds/1\"\n[wobble_itp]\nvalue = 9\n";
    std::fs::write(f.path("t.toml"), changed).unwrap();
    let run = f.run(&["audit", "c.cube", "--thresholds", "t.toml"]);
    assert_eq!(run.code, 2);
    assert!(
        run.error().contains("wobble_itp has no reason"),
        "{}",
        run.err
    );
}

#[test]
fn bands_of_a_picture_are_told_before_and_after() {
    let f = fixture();
    let (width, height) = (128, 64);
    let pixel = |i: usize| [30 + (i % width / 16) as u8; 3];
    let codes = (0..width * height).flat_map(pixel).collect();
    let header = Header::rgb(width as u32, height as u32, Depth::Eight);
    let picture = Picture::new(header, Samples::Eight(codes)).unwrap();
    let file = File::create(f.path("sky.png")).unwrap();
    picture.write(file, Format::Png).unwrap();
    let args = [
        "audit",
        "c.cube",
        "--image",
        "sky.png",
        "--image-noise",
        "50",
        "--json",
        "-",
    ];
    let json: serde_json::Value = serde_json::from_str(&f.done(&args).out).unwrap();
    let image = &json["image"];
    assert_eq!(
        (&image["width"], &image["height"]),
        (&width.into(), &height.into())
    );
    assert!(image["before"].as_f64().unwrap() > 0.0);
    // The identity changes nothing.
    assert_eq!(image["before"], image["after"]);
    assert_eq!(image["compressed"]["quality"], 50);
}

#[test]
fn viewing_conditions_are_named_in_the_report() {
    let f = fixture();
    let json = f
        .done(&[
            "audit",
            "c.cube",
            "--viewing",
            "srgb-typical",
            "--json",
            "-",
        ])
        .out;
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert!(json["viewing"].as_str().unwrap().contains("IEC 61966-2-1"));
    assert!(json["barten"].as_str().unwrap().contains("5 % of white"));
    assert_eq!(f.run(&["audit", "c.cube", "--viewing", "home"]).code, 2);
}
