//! Prints the banding index of a picture, for comparison with other programs.
//!
//! Usage: `banding_values PICTURE WIDTH`. PICTURE holds the luma of rows of WIDTH pixels without a header, codes of 10 bits in two bytes,
//! the lower first.
#![expect(clippy::print_stdout, reason = "an example prints its result")]

use std::error::Error;

use evenstep_audit::{Luma, banding_index};

fn main() -> Result<(), Box<dyn Error>> {
    let usage = "usage: banding_values PICTURE WIDTH";
    let mut arguments = std::env::args().skip(1);
    let picture = std::fs::read(arguments.next().ok_or(usage)?)?;
    let width = arguments.next().ok_or(usage)?.parse()?;
    let codes = picture
        .as_chunks()
        .0
        .iter()
        .map(|b| u16::from_le_bytes(*b))
        .collect();
    let luma = Luma::new(width, codes).ok_or("the picture has no whole rows")?;
    println!("{}", banding_index(&luma));
    Ok(())
}
