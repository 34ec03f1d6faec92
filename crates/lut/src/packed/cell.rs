#![allow(
    clippy::needless_range_loop,
    reason = "loops over the pixels of a tile read several arrays at one index"
)]

use super::rows::TILE;
use crate::evaluation::MOST_WEIGHT_BITS;
use crate::{Evaluation, Lut3d};

/// One number of each pixel of a tile.
pub(super) type Lane<T> = [T; TILE];

/// A lattice in single precision.
#[derive(Clone, Debug)]
pub(super) struct PackedLattice {
    size: u32,
    /// Red fastest; the fourth lane is idle, so that a node is one load.
    nodes: Vec<[f32; 4]>,
    /// Position in cells is `signal · scale + offset`.
    scale: [f32; 3],
    offset: [f32; 3],
    reading: Reading,
}

#[derive(Clone, Copy, Debug)]
enum Reading {
    Trilinear,
    Tetrahedral,
    /// With positions rounded to this many parts of a cell.
    Parts(f32),
}

/// Larger node values would overflow in sums and say nothing more to a drive of 0 to 1.
const MOST: f64 = 1e30;

/// From here on positions are rounded by their own precision, not by the weights.
const ROUNDED_ANYWAY: u8 = 22;

impl PackedLattice {
    pub(super) fn new(lattice: &Lut3d, how: Evaluation) -> Self {
        let (min, max) = (lattice.domain_min(), lattice.domain_max());
        let cells = (lattice.size() - 1) as f64;
        let scale = [0, 1, 2].map(|c| cells / (max[c] - min[c]));
        let wide = |[r, g, b]: [f64; 3]| [r, g, b, 0.0].map(|v| v.clamp(-MOST, MOST) as f32);
        Self {
            // At most 256.
            size: lattice.size() as u32,
            nodes: lattice.nodes().iter().copied().map(wide).collect(),
            scale: scale.map(|v| v as f32),
            offset: [0, 1, 2].map(|c| (-min[c] * scale[c]) as f32),
            reading: match how {
                Evaluation::Trilinear => Reading::Trilinear,
                Evaluation::Weights { bits } if bits.min(MOST_WEIGHT_BITS) < ROUNDED_ANYWAY => {
                    Reading::Parts((1_u32 << bits) as f32)
                }
                Evaluation::Tetrahedral | Evaluation::Weights { .. } => Reading::Tetrahedral,
            },
        }
    }

    /// Drives for the signals of a tile.
    #[inline(always)]
    pub(super) fn tile(&self, signals: &[Lane<f32>; 3], out: &mut Lane<[f32; 4]>) {
        match self.reading {
            Reading::Trilinear => self.trilinear(signals, out),
            Reading::Tetrahedral => self.tetrahedral(signals, |f| f, out),
            Reading::Parts(parts) => {
                let part = parts.recip();
                self.tetrahedral(signals, |f| whole_below(f * parts + 0.5) * part, out);
            }
        }
    }

    /// The cell of each signal along one axis, and the position inside it, 0 to 1.
    #[inline(always)]
    fn locate(&self, channel: usize, signals: &Lane<f32>) -> (Lane<u32>, Lane<f32>) {
        let (scale, offset) = (self.scale[channel], self.offset[channel]);
        let cells = (self.size - 1) as f32;
        let (mut cell, mut inside) = ([0; TILE], [0.0; TILE]);
        for i in 0..TILE {
            // NaN fails the comparison and is the low end.
            let position = larger(signals[i] * scale + offset, 0.0);
            let position = smaller(position, cells);
            // A position on a node may belong to either cell: both give the node's value.
            let low = smaller(larger(position - 0.5, 0.0), cells - 1.0) + WHOLE;
            cell[i] = low.to_bits() - WHOLE.to_bits();
            inside[i] = position - (low - WHOLE);
        }
        (cell, inside)
    }

    #[inline(always)]
    fn tetrahedral(
        &self,
        signals: &[Lane<f32>; 3],
        rounded: impl Fn(f32) -> f32,
        out: &mut Lane<[f32; 4]>,
    ) {
        let row = self.size;
        let plane = row * row;
        let (r, fr) = self.locate(0, &signals[0]);
        let (g, fg) = self.locate(1, &signals[1]);
        let (b, fb) = self.locate(2, &signals[2]);
        let (mut first, mut second, mut third) = ([0; TILE], [0; TILE], [0; TILE]);
        let mut weights = [[0.0; TILE]; 4];
        for i in 0..TILE {
            let f = [rounded(fr[i]), rounded(fg[i]), rounded(fb[i])];
            first[i] = r[i] + g[i] * row + b[i] * plane;
            // A sorting network of three.
            let (f1, s1, f2, s2) = larger_first(f[0], 1, f[1], row);
            let (f2, s2, f3, s3) = larger_first(f2, s2, f[2], plane);
            let (f1, s1, f2, _) = larger_first(f1, s1, f2, s2);
            second[i] = first[i] + s1;
            // One step short of the far corner.
            third[i] = first[i] + (1 + row + plane) - s3;
            weights[0][i] = 1.0 - f1;
            weights[1][i] = f1 - f2;
            weights[2][i] = f2 - f3;
            weights[3][i] = f3;
        }
        let [w0, w1, w2, w3] = &weights;
        let nodes = self.nodes.as_slice();
        let far = (1 + row + plane) as usize;
        for i in 0..TILE {
            let at = first[i] as usize;
            let v0 = nodes[at];
            let v1 = nodes[second[i] as usize];
            let v2 = nodes[third[i] as usize];
            let v3 = nodes[at + far];
            let mut sum = [0.0; 4];
            for c in 0..4 {
                // Not fused, here and everywhere: the bits must not depend on the processor.
                sum[c] = v0[c] * w0[i] + v1[c] * w1[i] + v2[c] * w2[i] + v3[c] * w3[i];
            }
            out[i] = sum;
        }
    }

    #[inline(always)]
    fn trilinear(&self, signals: &[Lane<f32>; 3], out: &mut Lane<[f32; 4]>) {
        let row = self.size;
        let plane = row * row;
        let (r, fr) = self.locate(0, &signals[0]);
        let (g, fg) = self.locate(1, &signals[1]);
        let (b, fb) = self.locate(2, &signals[2]);
        let mut first = [0; TILE];
        for i in 0..TILE {
            first[i] = r[i] + g[i] * row + b[i] * plane;
        }
        let (row, plane) = (row as usize, plane as usize);
        for i in 0..TILE {
            let at = first[i] as usize;
            let along_red = |at: usize| mix(self.nodes[at], self.nodes[at + 1], fr[i]);
            let low = mix(along_red(at), along_red(at + row), fg[i]);
            let above = at + plane;
            let high = mix(along_red(above), along_red(above + row), fg[i]);
            out[i] = mix(low, high, fb[i]);
        }
    }
}

/// Added to a number of 0 to 2²², it leaves the nearest whole number in the low bits: the last place of 2²³ is 1.
pub(super) const WHOLE: f32 = 8_388_608.0;

/// The largest whole number up to a number of 0 to 2²².
#[inline(always)]
fn whole_below(v: f32) -> f32 {
    let near = (v + WHOLE) - WHOLE;
    if near > v { near - 1.0 } else { near }
}

/// `a`, or `b` where `a` is smaller or NaN: one instruction, unlike `f32::max`.
#[inline(always)]
pub(super) fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// `a`, or `b` where `a` is larger or NaN.
#[inline(always)]
pub(super) fn smaller(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

#[inline(always)]
fn larger_first(fa: f32, sa: u32, fb: f32, sb: u32) -> (f32, u32, f32, u32) {
    let swap = fa < fb;
    let (large, small) = if swap { (fb, fa) } else { (fa, fb) };
    let (first, second) = if swap { (sb, sa) } else { (sa, sb) };
    (large, first, small, second)
}

#[inline(always)]
fn mix(a: [f32; 4], b: [f32; 4], at: f32) -> [f32; 4] {
    let mut out = [0.0; 4];
    for c in 0..4 {
        out[c] = a[c] * (1.0 - at) + b[c] * at;
    }
    out
}
