#![allow(
    clippy::needless_range_loop,
    reason = "loops over the pixels of a tile read several arrays at one index"
)]

use multiversion::multiversion;

use super::Code;
use super::cell::{Lane, PackedLattice, WHOLE, larger, smaller};
use super::codes::CodeLut;

/// Pixels that are worked on together, and after which offsets repeat.
pub const TILE: usize = 64;

#[multiversion(targets(
    "x86_64+avx512f+avx512dq+avx512vl+avx512bw+avx2+fma",
    "x86_64+avx2+fma"
))]
pub(super) fn floats(lattice: &PackedLattice, pixels: &mut [[f32; 3]]) {
    let mut signals = [[0.0; TILE]; 3];
    let mut drives = [[0.0; 4]; TILE];
    for part in pixels.chunks_mut(TILE) {
        for (i, pixel) in part.iter().enumerate() {
            for c in 0..3 {
                signals[c][i] = pixel[c];
            }
        }
        lattice.tile(&signals, &mut drives);
        for (pixel, drive) in part.iter_mut().zip(&drives) {
            *pixel = [drive[0], drive[1], drive[2]];
        }
    }
}

#[multiversion(targets(
    "x86_64+avx512f+avx512dq+avx512vl+avx512bw+avx2+fma",
    "x86_64+avx2+fma"
))]
pub(super) fn codes<I: Code, O: Code, const N: usize>(
    lut: &CodeLut<I>,
    row: &[[I; N]],
    offsets: &Lane<[f32; 4]>,
    out: &mut [[O; N]],
) {
    let unit = f32::from(I::LARGEST).recip();
    let largest = f32::from(O::LARGEST);
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
        match &lut.lattice {
            Some(lattice) => lattice.tile(&signals, &mut drives),
            None => {
                for (i, drive) in drives.iter_mut().enumerate() {
                    *drive = [signals[0][i], signals[1][i], signals[2][i], 0.0];
                }
            }
        }
        for i in 0..into.len() {
            for c in 0..3 {
                let code = larger(drives[i][c] * largest + offsets[i][c], 0.0);
                let whole = smaller(code, largest) + WHOLE;
                into[i][c] = O::from_bits(whole.to_bits());
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
