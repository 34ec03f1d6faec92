//! Prints how well readings of displays are predicted where they were not read: the model that a fit chooses, then every
//! scheme, as a table in Markdown.
//!
//! ```text
//! cargo run --release -p evenstep-study --example left_out -- READINGS ...
//! ```
#![allow(clippy::print_stdout, reason = "prints its table")]

use std::error::Error;
use std::path::Path;

use evenstep_readings::{RgbScale, read};
use evenstep_scatter::Scheme;
use evenstep_study::gradation::left_out_de2000;

fn main() -> Result<(), Box<dyn Error>> {
    for path in std::env::args().skip(1) {
        let (readings, _) = read(Path::new(&path), RgbScale::Detect)?;
        let stem = Path::new(&path).file_stem().unwrap_or_default();
        println!(
            "## {}\n\n{} patches, a fifth left out five times over.\n\n| model | mean CIEDE2000 |\n| --- | ---: |",
            stem.to_string_lossy(),
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
