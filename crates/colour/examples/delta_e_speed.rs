//! Seconds that CIEDE2000 of pairs takes in one thread, for comparison with other programs.
//!
//! Usage: `delta_e_speed FILE REPEATS`. FILE is a CSV with a header line and columns L1, a1, b1, L2, a2, b2; printed are the
//! seconds of the fastest of REPEATS runs over all rows, and the mean difference, which shows that the work was done.
#![expect(clippy::print_stdout, reason = "an example prints its result")]

use std::error::Error;
use std::hint::black_box;
use std::time::Instant;

use evenstep_colour::{Lab, delta_e_2000_of_pairs};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [path, repeats] = arguments.as_slice() else {
        return Err("usage: delta_e_speed FILE REPEATS".into());
    };
    let (mut first, mut second) = (Vec::new(), Vec::new());
    for row in csv::Reader::from_path(path)?.deserialize() {
        let [l1, a1, b1, l2, a2, b2]: [f64; 6] = row?;
        first.push(Lab::new(l1, a1, b1));
        second.push(Lab::new(l2, a2, b2));
    }
    let (mut best, mut mean) = (f64::INFINITY, 0.0);
    for _ in 0..repeats.parse::<usize>()?.max(1) {
        let start = Instant::now();
        let differences = black_box(delta_e_2000_of_pairs(black_box(&first), black_box(&second)));
        best = start.elapsed().as_secs_f64().min(best);
        mean = differences.iter().sum::<f64>() / differences.len() as f64;
    }
    println!("{best:.6},{mean:.12}");
    Ok(())
}
