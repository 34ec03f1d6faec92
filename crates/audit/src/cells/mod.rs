//! One walk over the cells of a lattice: folds, and how far ways to read a cell differ inside it.

mod tile;

use evenstep_lut::{Lut3d, tetrahedron_volumes};
use rayon::prelude::*;

use crate::folds::{BadCell, COLLAPSED};
use tile::{TILE, Tile};

/// The largest difference found, with the cell where it was, by its lowest node; the first of equals.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct InCell {
    pub(crate) drive: f64,
    pub(crate) cell: [usize; 3],
}

impl InCell {
    fn keep_larger(&mut self, other: Self) {
        if other.drive > self.drive {
            *self = other;
        }
    }

    /// Keeps the largest of a run of cells of one row, which starts at `first`.
    fn keep_largest(&mut self, drives: &[f64], [r, g, b]: [usize; 3]) {
        let most = drives
            .iter()
            .fold(self.drive, |most, &d| if d > most { d } else { most });
        if most > self.drive
            && let Some(i) = drives.iter().position(|&d| d == most)
        {
            (self.drive, self.cell) = (most, [r + i, g, b]);
        }
    }
}

/// What the walk found.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Cells {
    /// Cells with a folded or collapsed tetrahedron, blue slowest.
    pub(crate) bad: Vec<BadCell>,
    /// Trilinear against tetrahedral at the middles of cells and of their faces.
    pub(crate) trilinear: InCell,
    /// Tetrahedral with the position rounded to `weight_bits` against exact tetrahedral: the least upper bound.
    pub(crate) weights: InCell,
}

/// Walks all cells once.
pub(crate) fn walk(lattice: &Lut3d, weight_bits: u8) -> Cells {
    let n = lattice.size();
    let nodes = lattice.nodes();
    let widths: [f64; 3] = [0, 1, 2].map(|c| lattice.domain_max()[c] - lattice.domain_min()[c]);
    let scale = ((n - 1) as f64).powi(3) / widths.iter().product::<f64>();
    let slab = |b: usize| {
        let mut found = Cells::default();
        let mut tile = Tile::default();
        for g in 0..n - 1 {
            for r in (0..n - 1).step_by(TILE) {
                let count = TILE.min(n - 1 - r);
                tile.measure(nodes, n, lattice.index(r, g, b), count);
                let at = [r, g, b];
                found.trilinear.keep_largest(&tile.trilinear[..count], at);
                found.weights.keep_largest(&tile.steepest[..count], at);
                for (i, &least) in tile.least[..count].iter().enumerate() {
                    // Sound cells, nearly all there are, need no counting.
                    if scale * least <= COLLAPSED {
                        let corners = tile.corners(i);
                        found.bad.extend(bad(&corners, [r + i, g, b], scale));
                    }
                }
            }
        }
        // The rounding of a position is at most half of the last place.
        found.weights.drive *= 0.5 / (1_u64 << weight_bits.min(52)) as f64;
        found
    };
    let slabs: Vec<Cells> = (0..n - 1).into_par_iter().map(slab).collect();
    let mut all = Cells::default();
    for slab in slabs {
        all.bad.extend(slab.bad);
        all.trilinear.keep_larger(slab.trilinear);
        all.weights.keep_larger(slab.weights);
    }
    all
}

fn bad(corners: &[[f64; 3]; 8], cell: [usize; 3], scale: f64) -> Option<BadCell> {
    let volumes = tetrahedron_volumes(corners).map(|v| scale * v);
    let least = volumes.into_iter().fold(f64::INFINITY, f64::min);
    let folded = volumes.iter().filter(|&&v| v < -COLLAPSED).count() as u8;
    let low = volumes.iter().filter(|&&v| v <= COLLAPSED).count() as u8;
    (low > 0).then_some(BadCell {
        cell,
        folded,
        collapsed: low - folded,
        least,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstep_lut::Evaluation;
    use proptest::prelude::*;

    /// Few operations on numbers about 1.
    const ROUNDOFF: f64 = 1e-12;

    /// A lattice of 3 nodes with any values.
    fn any_lattice() -> impl Strategy<Value = Lut3d> {
        proptest::collection::vec(proptest::array::uniform3(0.0_f64..1.0), 27)
            .prop_map(|nodes| Lut3d::new(3, nodes).unwrap_or_else(|e| panic!("{e}")))
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        /// No position shows more from the rounding of weights than the bound, and none on a face of a cell, those of the
        /// cube among them, more from the choice between trilinear and tetrahedral.
        #[test]
        fn nothing_exceeds_the_bounds(
            lattice in any_lattice(), at in proptest::array::uniform3(0.0_f64..1.0), bits in 1_u8..10, axis in 0_usize..3,
            plane in 0_usize..3,
        ) {
            let found = walk(&lattice, bits);
            let apart = |at: [f64; 3], a: Evaluation, b: Evaluation| {
                let (a, b) = (lattice.sample(at, a), lattice.sample(at, b));
                (0..3).map(|c| (a[c] - b[c]).abs()).fold(0.0, f64::max)
            };
            let rounded = apart(at, Evaluation::Tetrahedral, Evaluation::Weights { bits });
            prop_assert!(rounded <= found.weights.drive + ROUNDOFF, "{} {}", rounded, found.weights.drive);
            let mut on_face = at;
            on_face[axis] = plane as f64 / 2.0;
            let chosen = apart(on_face, Evaluation::Tetrahedral, Evaluation::Trilinear);
            prop_assert!(chosen <= found.trilinear.drive + ROUNDOFF, "{} {}", chosen, found.trilinear.drive);
        }
    }

    /// One cell whose far face across each axis is twisted most, and whose middle is read alike.
    #[test]
    fn the_far_faces_of_the_cube_are_looked_at() {
        for (across, [a, b]) in [[1, 2], [0, 2], [0, 1]].into_iter().enumerate() {
            let lattice = Lut3d::from_fn(2, |s| {
                let value = match (s[across] > 0.5, s[a] + s[b]) {
                    (true, sum) if sum < 0.5 => 0.25,
                    (true, sum) if sum < 1.5 => 0.625,
                    _ => 0.5,
                };
                [value; 3]
            });
            // A quarter of 0.625 + 0.625 − 0.25 − 0.5; on the faces beside it a quarter of 0.625 − 0.25.
            let found = walk(&lattice, 8).trilinear.drive;
            assert!((found - 0.125).abs() < ROUNDOFF, "{across}: {found}");
        }
    }

    #[test]
    fn a_plane_is_read_alike_and_rounds_by_its_slope() {
        let plane = Lut3d::from_fn(5, |[r, g, b]| [0.5 * r + 0.25 * g + 0.125 * b; 3]);
        let found = walk(&plane, 8);
        assert!(found.trilinear.drive < ROUNDOFF);
        // A cell is a quarter wide: 0.25 · 0.875 of output over it, half of 1/256 of that.
        assert!((found.weights.drive - 0.25 * 0.875 / 512.0).abs() < ROUNDOFF);
    }
}
