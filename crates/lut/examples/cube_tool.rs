//! Reads a cube file for comparison with other programs.
//!
//! Usage: `cube_tool read IN` reads IN and prints its first and last row, which is what timing needs.
//! `cube_tool rewrite IN OUT` reads IN and writes it again. `cube_tool sample IN POINTS HOW` prints one line
//! `r,g,b` with 17 significant digits for each row of POINTS, a CSV with the header `r,g,b`; HOW is tetrahedral,
//! trilinear or `weights:BITS`.
#![expect(clippy::print_stdout, reason = "an example prints its result")]

use std::error::Error;
use std::path::Path;

use evenstep_lut::Evaluation;
use evenstep_lut::format::cube;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words.as_slice() {
        ["read", from] => {
            let (lut, _) = cube::read(Path::new(from))?;
            let rows = lut.lattice.as_ref().map(evenstep_lut::Lut3d::nodes);
            println!(
                "{:?} {:?}",
                rows.and_then(|r| r.first()),
                rows.and_then(|r| r.last())
            );
        }
        ["rewrite", from, to] => {
            let (lut, _) = cube::read(Path::new(from))?;
            cube::write(&lut, Path::new(to), true)?;
        }
        ["sample", from, points, how] => {
            let (lut, _) = cube::read(Path::new(from))?;
            let how: Evaluation = how.parse()?;
            for row in csv::Reader::from_path(points)?.deserialize() {
                let (r, g, b): (f64, f64, f64) = row?;
                let [r, g, b] = lut.sample([r, g, b], how);
                println!("{r:.16e},{g:.16e},{b:.16e}");
            }
        }
        _ => return Err("usage: cube_tool read IN | rewrite IN OUT | sample IN POINTS HOW".into()),
    }
    Ok(())
}
