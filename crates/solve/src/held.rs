use std::cell::RefCell;

use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

use crate::roughness::{diagonal, roughness_at};
use crate::{Grid, conjugate};

/// Residual at which the solve ends, relative: far below a 16-bit code.
const TOLERANCE: f64 = 1e-6;
/// Steps it takes at most; where little holds the nodes, a wide stretch takes a few hundred.
const MOST_STEPS: usize = 600;

/// A node that may move, and what holds it to its value.
#[derive(Clone, Copy, Debug)]
pub struct Moving {
    /// Index of the node.
    pub node: usize,
    /// Symmetric positive definite weight of its change.
    pub weight: Matrix3<f64>,
}

/// The changes that smooth some nodes of a lattice while all others are held.
///
/// Minimises `Σ δᵀ W δ + ‖R (shape + δ)‖²` over the changes δ of the nodes of `moving`, with R the second differences
/// along the axes and the neutral diagonal. Gives one change for each entry of `moving`; all 0 where a lattice has fewer
/// than 3 nodes along an axis and so no second difference.
///
/// # Panics
/// When `shape` does not hold one triple for each node.
#[must_use]
pub fn smooth_held(grid: Grid, shape: &[[f64; 3]], moving: &[Moving]) -> Vec<[f64; 3]> {
    assert_eq!(shape.len(), grid.count(), "one triple for each node");
    let still = vec![[0.0; 3]; moving.len()];
    if grid.size() < 3 || moving.is_empty() {
        return still;
    }
    let right: Vec<[f64; 3]> = moving
        .par_iter()
        .map(|m| roughness_at(grid, shape, m.node).map(|v| -v))
        .collect();
    let blocks: Vec<Matrix3<f64>> = moving
        .par_iter()
        .map(|m| {
            let smoothing = Matrix3::from_diagonal_element(diagonal(grid, grid.at(m.node)));
            (m.weight + smoothing)
                .try_inverse()
                .unwrap_or_else(Matrix3::identity)
        })
        .collect();
    // Changes of the whole lattice; those of held nodes stay 0.
    let whole = RefCell::new(vec![[0.0; 3]; grid.count()]);
    let apply = |changes: &[[f64; 3]]| -> Vec<[f64; 3]> {
        let mut whole = whole.borrow_mut();
        for (m, change) in moving.iter().zip(changes) {
            whole[m.node] = *change;
        }
        let whole = whole.as_slice();
        moving
            .par_iter()
            .map(|m| {
                let rough = Vector3::from(roughness_at(grid, whole, m.node));
                (m.weight * Vector3::from(whole[m.node]) + rough).into()
            })
            .collect()
    };
    conjugate::solve(apply, &blocks, &right, still, TOLERANCE, MOST_STEPS).0
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Without a pull to stay, a spoiled node of a plane goes back to the plane, wherever it is.
        #[test]
        fn a_plane_is_found_again(node in 0_usize..125, off in -0.3..0.3_f64) {
            let grid = Grid::new(5);
            let mut shape: Vec<[f64; 3]> = (0..grid.count())
                .map(|i| grid.at(i).map(|k| k as f64 / 4.0))
                .collect();
            shape[node][1] += off;
            let weight = Matrix3::from_diagonal_element(1e-9);
            let change = smooth_held(grid, &shape, &[Moving { node, weight }]);
            // The tolerance of the solve, a hundredfold.
            prop_assert!((change[0][1] + off).abs() < 100.0 * TOLERANCE);
            prop_assert!(change[0][0].abs() < 100.0 * TOLERANCE);
        }
    }

    /// A node as heavy as its smoothing goes half way: with weight `d` (its own entry of RᵀR) δ = −off/2.
    #[test]
    fn weight_holds_a_node_back() {
        let grid = Grid::new(5);
        let mut shape = vec![[0.0; 3]; grid.count()];
        let node = grid.index([1, 2, 3]);
        shape[node] = [0.2; 3];
        let weight = Matrix3::from_diagonal_element(diagonal(grid, [1, 2, 3]));
        let change = smooth_held(grid, &shape, &[Moving { node, weight }]);
        assert!((change[0][2] + 0.1).abs() < 1e-9, "{:?}", change[0]);
    }
}
