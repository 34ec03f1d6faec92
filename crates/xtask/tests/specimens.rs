//! The sample LUTs are what the command makes, and the audit finds in each what `luts/expected.csv` says and nothing
//! graver.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::OnceLock;

use evenstep_audit::{AuditOptions, AuditReport, Load, Subject, VerdictReason, audit};
use evenstep_lut::Lut;
use evenstep_lut::format::cube;
use evenstep_readings::{FullScale, Readings, RgbScale, parse};
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use xtask::luts::table::{Bench, DEPTHS, KINDS, line};
use xtask::luts::{Sample, folder, samples};

/// Hexadecimal digits of a checksum that the README prints.
const PREFIX: usize = 16;

fn made() -> &'static [Sample] {
    static MADE: OnceLock<Vec<Sample>> = OnceLock::new();
    MADE.get_or_init(|| samples().unwrap())
}

fn readme() -> String {
    fs::read_to_string(folder().join("README.md")).unwrap()
}

/// Largest distance from the kept file of a value made on another machine, whose vector units and `powf` round
/// otherwise: one code of the 12 bits that nodes are stored at, and a hair.
const ONE_CODE: f64 = 1.01 / 4095.0;

#[test]
fn the_command_makes_the_kept_files() {
    for sample in made().iter().filter(|s| s.is_kept) {
        let kept = fs::read(folder().join(sample.name)).unwrap();
        if kept == sample.bytes {
            continue;
        }
        if !sample.name.ends_with(".cube") {
            let read = |bytes: &[u8]| {
                let at = Path::new(sample.name);
                parse(bytes, at, RgbScale::Given(FullScale::One)).unwrap().0
            };
            let (kept, made) = (read(&kept), read(&sample.bytes));
            let light =
                |r: &Readings| -> Vec<f64> { r.patches.iter().flat_map(|p| p.xyz().0).collect() };
            // Ten digits: a `powf` of another library.
            let alike = |(a, b): (f64, f64)| (a - b).abs() <= 1e-10 * b.abs();
            assert!(light(&kept).into_iter().zip(light(&made)).all(alike));
            assert_eq!(kept.patches.len(), made.patches.len());
            continue;
        }
        let nodes = |bytes: &[u8]| {
            let lut = cube::parse(bytes, Path::new(sample.name)).map(|(lut, _)| lut);
            lut.unwrap_or_else(|_| panic!("{}: run the command of luts/README.md", sample.name))
                .lattice
                .map(|l| l.nodes().to_vec())
                .unwrap_or_default()
        };
        let (kept, made) = (nodes(&kept), nodes(&sample.bytes));
        let apart = kept.iter().flatten().zip(made.iter().flatten());
        let most = apart.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(
            kept.len() == made.len() && most <= ONE_CODE,
            "{} differs by {most}: run the command of luts/README.md",
            sample.name
        );
    }
}

#[test]
fn the_readme_prints_every_checksum() {
    let readme = readme();
    for sample in made().iter().filter(|s| s.is_kept) {
        let kept = fs::read(folder().join(sample.name)).unwrap();
        let sum: String = Sha256::digest(&kept)
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect();
        let row = format!("| `{}` |", sample.name);
        let line = readme.lines().find(|l| l.starts_with(&row)).unwrap();
        assert!(
            line.contains(&sum[..PREFIX]),
            "{}: {}",
            sample.name,
            &sum[..PREFIX]
        );
    }
}

/// A row of `luts/expected.csv`: one figure of one LUT, with or without the panel's readings.
struct Expected {
    file: String,
    with_panel: bool,
    verdict: String,
    stops: Vec<String>,
    figure: String,
    place: String,
    least: String,
    most: String,
    derivation: String,
}

fn expected() -> Vec<Expected> {
    let mut table = csv::Reader::from_path(folder().join("expected.csv")).unwrap();
    let rows = table.records().map(|row| {
        let row = row.unwrap();
        let cell = |i: usize| row[i].to_owned();
        Expected {
            file: cell(0),
            with_panel: &row[1] == "yes",
            verdict: cell(2),
            stops: row[3].split_whitespace().map(str::to_owned).collect(),
            figure: cell(4),
            place: cell(5),
            least: cell(6),
            most: cell(7),
            derivation: cell(8),
        }
    });
    rows.collect()
}

/// The README's table of findings is the CSV, written for reading.
#[test]
fn the_readme_mirrors_the_table_of_findings() {
    let readme = readme();
    for e in expected() {
        let range = if e.least == e.most {
            e.least.clone()
        } else {
            format!("{} to {}", e.least, e.most)
        };
        let place = if e.place.is_empty() {
            "whole"
        } else {
            &e.place
        };
        let row = format!(
            "| `{}` | {} | {} | `{}` | {place} | {range} | {} |",
            e.file,
            if e.with_panel { "yes" } else { "no" },
            e.verdict,
            e.figure,
            e.derivation
        );
        assert!(
            readme.lines().any(|line| line == row),
            "luts/README.md lacks:\n{row}"
        );
    }
}

#[test]
fn the_audit_finds_every_fault_and_nothing_graver() {
    let reports = reports();
    let rows = expected();
    for sample in made().iter().skip(1) {
        for with_panel in [false, true] {
            let named = |e: &&Expected| e.file == sample.name && e.with_panel == with_panel;
            assert!(rows.iter().any(|e| named(&e)), "{}: no row", sample.name);
        }
    }
    for e in &rows {
        let report = &reports[&(e.file.as_str(), e.with_panel)];
        let which = format!("{}, panel {}", e.file, e.with_panel);
        assert_eq!(report.verdict.to_string(), e.verdict, "{which}");
        assert_eq!(stops(report), e.stops, "{which}");
        let value = figure(report, &e.place, &e.figure);
        if e.least == "null" {
            assert!(value.is_null(), "{which}: {} is {value}", e.figure);
            continue;
        }
        let value = value.as_f64().unwrap();
        let [least, most] = [&e.least, &e.most].map(|v| v.parse::<f64>().unwrap());
        assert!(
            (least..=most).contains(&value),
            "{which}: {} {} is {value}, not {least} to {most}",
            e.place,
            e.figure
        );
    }
}

/// Sound corrections raise no alarm at all; without readings the only reason is that the panel is unknown.
#[test]
fn sound_corrections_raise_no_false_alarm() {
    for ((file, with_panel), report) in reports() {
        if !file.starts_with("good") && !file.starts_with("identity") {
            continue;
        }
        let labels: Vec<&str> = report.verdict.reasons.iter().map(|r| r.label).collect();
        let allowed: &[&str] = if with_panel { &[] } else { &["panel unknown"] };
        assert_eq!(labels, allowed, "{file}, panel {with_panel}");
    }
}

/// Every line of the table of sizes and depths is right, and what is cheap to make again is still
/// what the table says: every kind at 17 nodes and every third at 33, depths in turn. At 65 none is made again.
#[test]
fn faults_are_found_and_sound_luts_left_alone_at_every_size_and_depth() {
    let kept = fs::read_to_string(folder().join("table.csv")).unwrap();
    assert_eq!(kept.lines().count(), 1 + KINDS.len() * 3 * DEPTHS.len());
    let rows = || kept.lines().skip(1);
    assert!(rows().all(|row| row.ends_with(",yes")), "{kept}");
    let bench = Bench::new(&xtask::luts::readings()).unwrap();
    bench.with(|context| {
        let coarse = KINDS.iter().zip(DEPTHS.iter().cycle()).map(|of| (17, of));
        let finer = KINDS.iter().step_by(3).zip(&DEPTHS).map(|of| (33, of));
        for (nodes, (kind, depth)) in coarse.chain(finer) {
            let lut = bench.specimen(kind, nodes);
            let row = line(kind, &lut, *depth, context).to_string();
            assert!(
                kept.lines().any(|kept| kept == row),
                "luts/table.csv lacks {row}"
            );
        }
    });
}

/// Every LUT audited with the default options, without the panel and with it.
fn reports() -> BTreeMap<(&'static str, bool), AuditReport> {
    let samples = made();
    let scale = RgbScale::Given(FullScale::One);
    let (readings, _) = parse(&samples[0].bytes, Path::new(samples[0].name), scale).unwrap();
    let bench = Bench::new(&readings).unwrap();
    let options = AuditOptions::default();
    let mut reports = BTreeMap::new();
    bench.with(|context| {
        for sample in &samples[1..] {
            let (lut, _): (Lut, _) = cube::parse(&sample.bytes, Path::new(sample.name)).unwrap();
            let correction = lut.evaluated(options.evaluation);
            let subject = Subject::of_lut(&correction, &lut);
            for with_panel in [false, true] {
                let report = audit(&subject, &options, with_panel.then_some(context));
                reports.insert((sample.name, with_panel), report);
            }
        }
    });
    reports
}

/// Reasons not to load, as `figure@ramp`, sorted.
fn stops(report: &AuditReport) -> Vec<String> {
    let place = |r: &VerdictReason| {
        r.ramp
            .as_ref()
            .map_or_else(String::new, |ramp| format!("@{ramp}"))
    };
    let reasons = report.verdict.reasons.iter();
    let mut stops: Vec<String> = reasons
        .filter(|r| r.severity == Load::DoNotLoad)
        .map(|r| format!("{}{}", r.figure, place(r)))
        .collect();
    stops.sort();
    stops
}

/// A figure of the report's JSON by its path, of a ramp where one is named.
fn figure(report: &AuditReport, ramp: &str, path: &str) -> Value {
    let json = serde_json::to_value(report).unwrap();
    let root = if ramp.is_empty() {
        &json
    } else {
        let mut ramps = json["ramps"].as_array().unwrap().iter();
        ramps.find(|r| r["name"] == ramp).unwrap()
    };
    let at = root.pointer(&format!("/{}", path.replace('.', "/")));
    at.unwrap_or_else(|| panic!("no figure {path} on ramp {ramp:?}"))
        .clone()
}
