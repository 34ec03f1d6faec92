#![allow(
    clippy::needless_range_loop,
    reason = "loops over the pixels of a tile read several arrays at one index"
)]

use multiversion::multiversion;

use super::cell::{Lane, PackedLattice, WHOLE, larger, smaller};
use super::codes::CodeLut;
use super::{Code, PackedLut};

/// Pixels that are worked on together, and after which offsets repeat.
pub const TILE: usize = 64;

#[multiversion(targets(
    "x86_64+avx512f+avx512dq+avx512vl+avx512bw+avx2+fma",
    "x86_64+avx2+fma"
))]
pub(super) fn floats(lut: &PackedLut, row: &[[f32; 3]], out: &mut [[f32; 3]]) {
    let mut signals = [[0.0; TILE]; 3];
    let mut drives = [[0.0; 4]; TILE];
    for (part, into) in row.chunks(TILE).zip(out.chunks_mut(TILE)) {
        match &lut.curves {
            None => {
                for (i, pixel) in part.iter().enumerate() {
                    for c in 0..3 {
                        signals[c][i] = pixel[c];
                    }
                }
            }
            Some(curves) => {
                for (i, pixel) in part.iter().enumerate() {
                    let shaped = curves.sample(pixel.map(f64::from));
                    for c in 0..3 {
                        signals[c][i] = shaped[c] as f32;
                    }
                }
            }
        }
        drives_of(lut.lattice.as_ref(), &signals, &mut drives);
        for (pixel, drive) in into.iter_mut().zip(&drives) {
            *pixel = [drive[0], drive[1], drive[2]];
        }
    }
}

/// Drives for the signals of a tile; without a lattice the signals.
#[inline(always)]
fn drives_of(
    lattice: Option<&PackedLattice>,
    signals: &[Lane<f32>; 3],
    drives: &mut Lane<[f32; 4]>,
) {
    match lattice {
        Some(lattice) => lattice.tile(signals, drives),
        None => {
            for (i, drive) in drives.iter_mut().enumerate() {
                *drive = [signals[0][i], signals[1][i], signals[2][i], 0.0];
            }
        }
    }
}

/// A drive this close to a code is that code, and no offset moves it: the signal, its place, its weights, their sum and
/// the code are each rounded by up to 2⁻²⁴ of 1, which together is less than this. At 8 bits it is less than the smallest
/// offset and changes nothing.
const BLUR: f32 = 1.0 / 4_194_304.0;

#[multiversion(targets(
    "x86_64+avx512f+avx512dq+avx512vl+avx512bw+avx2+fma",
    "x86_64+avx2+fma"
))]
pub(super) fn codes<I: Code, O: Code, const N: usize>(
    lut: &CodeLut<'_, I>,
    row: &[[I; N]],
    offsets: &Lane<[f32; 4]>,
    out: &mut [[O; N]],
) {
    let unit = f32::from(I::LARGEST).recip();
    let largest = f32::from(O::LARGEST);
    let blur = largest * BLUR;
    let mut signals = [[0.0; TILE]; 3];
    let mut drives = [[0.0; 4]; TILE];
    for (part, into) in row.chunks(TILE).zip(out.chunks_mut(TILE)) {
        match &lut.curves {
            None => {
                for (i, pixel) in part.iter().enumerate() {
                    for c in 0..3 {
                        signals[c][i] = f32::from(pixel[c].number()) * unit;
                    }
                }
            }
            Some(curves) => {
                for (i, pixel) in part.iter().enumerate() {
                    for c in 0..3 {
                        signals[c][i] = curves[usize::from(pixel[c].number())][c];
                    }
                }
            }
        }
        drives_of(lut.lattice, &signals, &mut drives);
        for i in 0..into.len() {
            for c in 0..3 {
                let code = smaller(larger(drives[i][c] * largest, 0.0), largest);
                let whole = code + WHOLE;
                // The offset is added to what is left of the code, not to the code: from 32768 on, numbers are 2⁻⁸ apart,
                // and an offset just below a half would become one.
                let rest = code - (whole - WHOLE);
                let rest = if rest.abs() > blur { rest } else { 0.0 };
                let rest = rest + offsets[i][c];
                let near = whole.to_bits() + u32::from(rest > 0.5) - u32::from(rest < -0.5);
                into[i][c] = O::from_bits(near);
            }
        }
        if N == 4 {
            for (pixel, from) in into.iter_mut().zip(part) {
                // How much a pixel covers goes through no LUT.
                pixel[3] = from[3].scaled();
            }
        }
    }
}
