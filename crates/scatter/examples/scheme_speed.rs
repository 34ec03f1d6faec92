//! Times one fit and the evaluation of a whole lattice, for comparison with other programs.
//!
//! Usage: `scheme_speed SITES NODES SCHEME SMOOTHING`. SITES points of an additive sequence in the unit cube, NODES nodes
//! along each axis. Prints `fit,lattice` in seconds, and the sum of the results so that nothing is left out as unused.
//! Set RAYON_NUM_THREADS for the number of threads.
#![expect(clippy::print_stdout, reason = "an example prints its result")]

use std::error::Error;
use std::time::Instant;

use evenstep_scatter::{Scheme, Sites};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [sites, nodes, scheme, smoothing] = arguments.as_slice() else {
        return Err("usage: scheme_speed SITES NODES SCHEME SMOOTHING".into());
    };
    let (count, nodes): (u32, u32) = (sites.parse()?, nodes.parse()?);
    let (scheme, smoothing): (Scheme, f64) = (scheme.parse()?, smoothing.parse()?);
    // Powers of the inverse of the real root of x⁴ = x + 1.
    let step = [0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901];
    let sites: Vec<[f64; 3]> = (1..=count)
        .map(|i| step.map(|s| (s * f64::from(i)).fract()))
        .collect();
    let wave = |s: &[f64; 3]| [(5.0 * s[0]).sin() + s[1], s[1] * s[2], (s[0] - s[2]).exp()];
    let values: Vec<[f64; 3]> = sites.iter().map(wave).collect();
    let level = |i: u32| f64::from(i) / f64::from(nodes - 1);
    let axis: Vec<f64> = (0..nodes).map(level).collect();

    let start = Instant::now();
    let fitted = scheme.fit(Sites::new(&sites, &values), smoothing)?;
    let fit = start.elapsed().as_secs_f64();
    let mut out = vec![[0.0; 3]; nodes.pow(3) as usize];
    let start = Instant::now();
    fitted.eval_lattice([&axis, &axis, &axis], &mut out);
    let lattice = start.elapsed().as_secs_f64();
    println!("{fit},{lattice},{}", out.iter().flatten().sum::<f64>());
    Ok(())
}
