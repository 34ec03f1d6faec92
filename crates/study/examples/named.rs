//! Counts the gross outliers of rough readings that a fit names, and what it names falsely:
//!
//! ```text
//! cargo run --release -p evenstep-study --example named -- --seeds 3
//! ```
#![allow(clippy::print_stdout, reason = "prints its table")]

use std::error::Error;

use evenstep_display::SimulatedPanel;
use evenstep_study::gradation::{Condition, named_outliers};

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let at = args.iter().position(|a| a == "--seeds");
    let seeds: u64 = match at.and_then(|i| args.get(i + 1)) {
        Some(text) => text.parse()?,
        None => 3,
    };
    println!("panel       patches condition  off named falsely of");
    for name in ["wrgb", "lcd", "wide-gamut", "twist", "hdr-wrgb"] {
        let panel = SimulatedPanel::by_name(name).ok_or("no such panel")?;
        for count in [101, 343] {
            for (condition, label) in [
                (Condition::Ordinary, "ordinary"),
                (Condition::Rough, "rough"),
            ] {
                let (mut off, mut named, mut falsely, mut of) = (0, 0, 0, 0);
                for seed in 1..=seeds {
                    let found = named_outliers(&panel, count, condition, seed)?;
                    off += found.off;
                    named += found.named;
                    falsely += found.falsely;
                    of += found.patches;
                }
                println!("{name:<11} {count:>7} {label:<9} {off:>4} {named:>5} {falsely:>7} {of}");
            }
        }
    }
    Ok(())
}
