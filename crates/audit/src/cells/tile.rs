//! Figures of cells that lie side by side, as vector instructions.

#![allow(
    clippy::needless_range_loop,
    reason = "loops over the cells of a tile read several arrays at one index"
)]

use evenstep_lut::{TETRAHEDRON_CORNERS, tetrahedron_volumes};
use multiversion::multiversion;

/// Cells of a row that are measured together.
pub(super) const TILE: usize = 32;

/// Nodes around the cells of a tile, as `[channel][row][red]`: the rows of the cell at (green, blue), green first.
type Rows = [[[f64; TILE + 1]; 4]; 3];

/// What is found in each cell of a run along red.
pub(super) struct Tile {
    rows: Rows,
    /// Least of the six determinants, not yet in units of the cell.
    pub(super) least: [f64; TILE],
    /// Trilinear against tetrahedral.
    pub(super) trilinear: [f64; TILE],
    /// Longest path from the low corner to the high one.
    pub(super) steepest: [f64; TILE],
}

impl Default for Tile {
    fn default() -> Self {
        Self {
            rows: [[[0.0; TILE + 1]; 4]; 3],
            least: [0.0; TILE],
            trilinear: [0.0; TILE],
            steepest: [0.0; TILE],
        }
    }
}

impl Tile {
    /// Measures `count` cells from the one whose lowest node stands at `origin` on; what stands behind them means nothing.
    pub(super) fn measure(&mut self, nodes: &[[f64; 3]], n: usize, origin: usize, count: usize) {
        for (row, start) in [0, n, n * n, n * n + n].into_iter().enumerate() {
            for (i, node) in nodes[origin + start..][..=count].iter().enumerate() {
                for c in 0..3 {
                    self.rows[c][row][i] = node[c];
                }
            }
        }
        measure(self);
    }

    /// The corners of a cell, (r, g, b) at `r + 2·g + 4·b`.
    pub(super) fn corners(&self, cell: usize) -> [[f64; 3]; 8] {
        corners(&self.rows, cell)
    }
}

#[inline(always)]
fn corners(rows: &Rows, cell: usize) -> [[f64; 3]; 8] {
    // One by one, for the same reason as in `tetrahedron_volumes`.
    [
        corner(rows, cell, 0),
        corner(rows, cell, 1),
        corner(rows, cell, 2),
        corner(rows, cell, 3),
        corner(rows, cell, 4),
        corner(rows, cell, 5),
        corner(rows, cell, 6),
        corner(rows, cell, 7),
    ]
}

#[inline(always)]
fn corner(rows: &Rows, cell: usize, k: usize) -> [f64; 3] {
    let (row, at) = (k >> 1, cell + (k & 1));
    [rows[0][row][at], rows[1][row][at], rows[2][row][at]]
}

#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl", "x86_64+avx2"))]
fn measure(tile: &mut Tile) {
    let Tile {
        rows,
        least,
        trilinear,
        steepest,
    } = tile;
    for i in 0..TILE {
        least[i] = smallest(tetrahedron_volumes(&corners(rows, i)));
    }
    for i in 0..TILE {
        trilinear[i] = between_trilinear_and_tetrahedral(&corners(rows, i));
    }
    for i in 0..TILE {
        steepest[i] = steepest_path(&corners(rows, i));
    }
}

#[inline(always)]
fn smallest(values: [f64; 6]) -> f64 {
    let mut least = f64::INFINITY;
    for value in values {
        least = if value < least { value } else { least };
    }
    least
}

/// `f64::max` asks for more than a processor's own instruction gives.
#[inline(always)]
fn larger(a: f64, b: f64) -> f64 {
    if b > a { b } else { a }
}

/// Largest difference over the channels at the middle of the cell and of its six faces.
///
/// On a face the difference is `min(x, y)·(1 − max(x, y))` times its twist, largest in the middle, so that faces are
/// exact: tetrahedra split each along the diagonal from its low corner. Inside, the middle is a sample. Most faces
/// are looked at from both sides; only so are those at the far border looked at as well.
#[inline(always)]
fn between_trilinear_and_tetrahedral(c: &[[f64; 3]; 8]) -> f64 {
    let mut most = 0.0_f64;
    for channel in 0..3 {
        let at = |corner: usize| c[corner][channel];
        let face = |low: usize, a: usize, b: usize| {
            0.25 * (at(low | a) + at(low | b) - at(low) - at(low | a | b)).abs()
        };
        let (ends, others) = (at(0) + at(7), at(1) + at(2) + at(3) + at(4) + at(5) + at(6));
        let middle = (0.125 * (ends + others) - 0.5 * ends).abs();
        most = larger(most, middle);
        most = larger(larger(most, face(0, 1, 2)), face(4, 1, 2));
        most = larger(larger(most, face(0, 1, 4)), face(2, 1, 4));
        most = larger(larger(most, face(0, 2, 4)), face(1, 2, 4));
    }
    most
}

/// Over channels and tetrahedra, the largest sum of the magnitudes of the three steps from the low corner to the high one.
#[inline(always)]
fn steepest_path(c: &[[f64; 3]; 8]) -> f64 {
    let mut most = 0.0_f64;
    for path in 0..TETRAHEDRON_CORNERS.len() {
        let [a, b, d, e] = TETRAHEDRON_CORNERS[path];
        for channel in 0..3 {
            let at = |corner: usize| c[corner][channel];
            let steps = (at(b) - at(a)).abs() + (at(d) - at(b)).abs() + (at(e) - at(d)).abs();
            most = larger(most, steps);
        }
    }
    most
}
