//! Prints how well readings of displays are predicted where they were not read: the model that a fit chooses, then every
//! scheme, as a table in Markdown.
//!
//! ```text
//! cargo run --release -p evenstep-study --example left_out -- READINGS ...
//! ```
//!
//! Files joined with `+` are taken as one session of one display, the first read first.
#![allow(clippy::print_stdout, reason = "prints its table")]

use std::error::Error;
use std::path::Path;

use evenstep_readings::{Reading, Readings, RgbScale, merged, read};
use evenstep_scatter::Scheme;
use evenstep_study::gradation::left_out_de2000;

fn main() -> Result<(), Box<dyn Error>> {
    for paths in std::env::args().skip(1) {
        let mut rows: Vec<Reading> = Vec::new();
        let mut stems = Vec::new();
        for path in paths.split('+').map(Path::new) {
            let (readings, _) = read(path, RgbScale::Detect)?;
            rows.extend(in_order(&readings));
            stems.push(path.file_stem().unwrap_or_default().to_string_lossy());
        }
        let readings = merged(rows);
        println!(
            "## {}\n\n{} patches, a fifth left out five times over.\n\n| model | mean CIEDE2000 |\n| --- | ---: |",
            stems.join(" and "),
            readings.patches.len()
        );
        let chosen = left_out_de2000(&readings, None)?;
        println!("| chosen by the fit | {chosen:.3} |");
        let mut best = f64::INFINITY;
        for scheme in Scheme::all() {
            match left_out_de2000(&readings, Some(scheme)) {
                Ok(error) => {
                    best = best.min(error);
                    println!("| {scheme} | {error:.3} |");
                }
                Err(refusal) => println!("| {scheme} | refused: {refusal} |"),
            }
        }
        println!(
            "\nThe best scheme errs {best:.3}; the fit's choice {:.2} times as much.\n",
            chosen / best
        );
    }
    Ok(())
}

/// The readings one by one, as they were taken.
fn in_order(readings: &Readings) -> Vec<Reading> {
    let mut all: Vec<(usize, Reading)> = Vec::new();
    for patch in &readings.patches {
        for (order, xyz) in patch.orders().zip(&patch.repeats) {
            let reading = Reading {
                id: patch.id.clone(),
                drive: patch.drive,
                xyz: *xyz,
                seconds: None,
            };
            all.push((order, reading));
        }
    }
    all.sort_by_key(|(order, _)| *order);
    all.into_iter().map(|(_, reading)| reading).collect()
}
