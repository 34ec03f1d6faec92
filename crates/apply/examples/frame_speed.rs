//! Passes a frame through a LUT again and again, for timing from outside.
//!
//! Usage: `frame_speed LUT FRAME KIND HOW TIMES [THREADS]`, one thread unless told. FRAME holds pixels of three samples without a header: KIND `f32`
//! (little-endian floating point), `u16` (little-endian) or `u8`. HOW is tetrahedral or trilinear. With 0 TIMES
//! everything is read and nothing passed through, so that the difference of two runs is the work alone.
#![expect(clippy::print_stdout, reason = "an example prints its result")]

use std::error::Error;
use std::path::Path;

use evenstep_lut::format::cube;
use evenstep_lut::{Code, PackedLut, TILE};
use rayon::prelude::*;

/// Pixels that are passed at a time, as a row is.
const RUN: usize = 3840;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let (words, threads) = match words[..] {
        [ref words @ .., threads] if words.len() == 5 => (words, threads.parse()?),
        _ => (&words[..], 1),
    };
    let [lut, frame, kind, how, times] = *words else {
        return Err("usage: frame_speed LUT FRAME f32|u16|u8 HOW TIMES [THREADS]".into());
    };
    rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build_global()?;
    let (lut, _) = cube::read(Path::new(lut))?;
    let packed = PackedLut::new(&lut, how.parse()?);
    let bytes = std::fs::read(frame)?;
    let times: usize = times.parse()?;
    let sum = match kind {
        "f32" => {
            let samples = bytes.as_chunks().0.iter().map(|b| f32::from_le_bytes(*b));
            floats(&packed, &samples.collect::<Vec<_>>(), times)
        }
        "u16" => {
            let samples = bytes.as_chunks().0.iter().map(|b| u16::from_le_bytes(*b));
            codes::<u16>(&packed, &samples.collect::<Vec<_>>(), times)
        }
        "u8" => codes::<u8>(&packed, &bytes, times),
        _ => return Err("KIND is f32, u16 or u8".into()),
    };
    println!("{sum}");
    Ok(())
}

/// Some number that needs the result.
fn floats(packed: &PackedLut, frame: &[f32], times: usize) -> f64 {
    let frame = frame.as_chunks::<3>().0;
    let mut out = frame.to_vec();
    for _ in 0..times {
        let rows = frame.par_chunks(RUN).zip(out.par_chunks_mut(RUN));
        rows.for_each(|(row, out)| {
            packed.apply(row, out);
        });
    }
    out.iter().map(|p| f64::from(p[0])).sum()
}

fn codes<T: Code>(packed: &PackedLut, frame: &[T], times: usize) -> f64 {
    let frame = frame.as_chunks::<3>().0;
    let mut out = frame.to_vec();
    let lut = packed.codes::<T>();
    for _ in 0..times {
        let rows = frame.par_chunks(RUN).zip(out.par_chunks_mut(RUN));
        rows.for_each(|(row, out)| lut.row(row, &[[0.0; 4]; TILE], out));
    }
    out.iter().map(|p| f64::from(p[0].number())).sum()
}
