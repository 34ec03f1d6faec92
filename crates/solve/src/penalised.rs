use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

use crate::roughness::{add_roughness, diagonal};
use crate::{Grid, conjugate};

/// Steps it takes at most; a solve of a well-set problem takes a few dozen.
const MOST_STEPS: usize = 400;

/// Penalised least squares for the values of a lattice.
///
/// Minimises `Σ (v − aim)ᵀ W (v − aim) + λ · ‖R v‖²` over one triple v for each node, with W a symmetric positive
/// semi-definite weight of the node and R the second differences along the axes and the neutral diagonal.
#[derive(Clone, Debug)]
pub struct Penalised {
    grid: Grid,
    weights: Vec<Matrix3<f64>>,
    aim: Vec<[f64; 3]>,
}

/// What a solve found.
#[derive(Clone, Debug)]
pub struct Solved {
    /// One triple for each node.
    pub values: Vec<[f64; 3]>,
    /// See [`Penalised::misfit`].
    pub misfit: f64,
    /// Steps of conjugate gradients.
    pub steps: usize,
}

impl Penalised {
    /// A problem; `weights` and `aim` have one entry for each node.
    ///
    /// # Panics
    /// When they do not.
    #[must_use]
    pub fn new(grid: Grid, weights: Vec<Matrix3<f64>>, aim: Vec<[f64; 3]>) -> Self {
        assert!(
            weights.len() == grid.count() && aim.len() == grid.count(),
            "one weight and one aim for each node"
        );
        Self { grid, weights, aim }
    }

    /// Root mean square of `√((v − aim)ᵀ W (v − aim))` over the nodes.
    #[must_use]
    pub fn misfit(&self, values: &[[f64; 3]]) -> f64 {
        let away: Vec<[f64; 3]> = values
            .iter()
            .zip(&self.aim)
            .map(|(v, a)| std::array::from_fn(|c| v[c] - a[c]))
            .collect();
        let weighted: Vec<[f64; 3]> = self.weighted(&away);
        (conjugate::dot(&away, &weighted) / self.grid.count() as f64).sqrt()
    }

    /// Solves for a λ, from `start` (the aim is a good one), until the residual is `tolerance` times that of zero.
    #[must_use]
    pub fn solve(&self, lambda: f64, start: Vec<[f64; 3]>, tolerance: f64) -> Solved {
        let right = self.weighted(&self.aim);
        let blocks: Vec<Matrix3<f64>> = self
            .weights
            .par_iter()
            .enumerate()
            .map(|(i, w)| {
                let d = lambda * diagonal(self.grid, self.grid.at(i));
                // A node that nothing pulls at stays where the start put it.
                (w + Matrix3::from_diagonal_element(d + f64::MIN_POSITIVE.sqrt()))
                    .try_inverse()
                    .unwrap_or_else(Matrix3::identity)
            })
            .collect();
        let apply = |v: &[[f64; 3]]| {
            let mut out = self.weighted(v);
            add_roughness(self.grid, lambda, v, &mut out);
            out
        };
        let (values, steps) =
            conjugate::solve(apply, &blocks, &right, start, tolerance, MOST_STEPS);
        Solved {
            misfit: self.misfit(&values),
            values,
            steps,
        }
    }

    fn weighted(&self, v: &[[f64; 3]]) -> Vec<[f64; 3]> {
        self.weights
            .par_iter()
            .zip(v)
            .map(|(w, v)| (w * Vector3::from(*v)).into())
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};
    use proptest::prelude::*;

    const TOLERANCE: f64 = 1e-7;

    fn random(seed: u64, count: usize) -> Vec<[f64; 3]> {
        // Weyl sequences: any numbers that do not repeat will do.
        (0..count)
            .map(|i| {
                [0.618, 0.755, 0.569].map(|step| ((i as f64 + seed as f64 * 7.3) * step).fract())
            })
            .collect()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(16))]
        /// The same as a dense solve of the normal equations by nalgebra.
        #[test]
        fn agrees_with_a_dense_solve(seed in 0_u64..1000, power in -3..2_i32) {
            let (grid, lambda) = (Grid::new(4), 10_f64.powi(power));
            let aim = random(seed, grid.count());
            let weights: Vec<Matrix3<f64>> = random(seed + 1, grid.count())
                .iter()
                .map(|v| {
                    let v = Vector3::from(*v);
                    v * v.transpose() + Matrix3::from_diagonal_element(0.2)
                })
                .collect();
            let problem = Penalised::new(grid, weights.clone(), aim.clone());
            let got = problem.solve(lambda, aim.clone(), TOLERANCE);
            let n = 3 * grid.count();
            let mut a = DMatrix::<f64>::zeros(n, n);
            for i in 0..n {
                let mut unit = vec![[0.0; 3]; grid.count()];
                unit[i / 3][i % 3] = 1.0;
                let mut column = vec![[0.0; 3]; grid.count()];
                add_roughness(grid, lambda, &unit, &mut column);
                for (k, v) in column.iter().flatten().enumerate() {
                    a[(k, i)] += v;
                }
                for c in 0..3 {
                    a[(i / 3 * 3 + c, i)] += weights[i / 3][(c, i % 3)];
                }
            }
            let b: Vec<f64> = weights.iter().zip(&aim).flat_map(|(w, v)| {
                let v: [f64; 3] = (w * Vector3::from(*v)).into();
                v
            }).collect();
            let want = a.cholesky().unwrap().solve(&DVector::from_vec(b));
            for (got, want) in got.values.iter().flatten().zip(want.iter()) {
                // A hundred times the tolerance of the residual: the condition of these systems.
                prop_assert!((got - want).abs() < 100.0 * TOLERANCE, "{got} {want}");
            }
        }
    }

    /// What has no second difference is left as it is, whatever λ.
    #[test]
    fn a_plane_stays() {
        let grid = Grid::new(9);
        let plane: Vec<[f64; 3]> = (0..grid.count())
            .map(|i| grid.at(i).map(|k| k as f64 / 8.0))
            .collect();
        let problem = Penalised::new(grid, vec![Matrix3::identity(); grid.count()], plane.clone());
        let solved = problem.solve(100.0, vec![[0.5; 3]; grid.count()], TOLERANCE);
        assert!(solved.misfit < 1e-4, "{}", solved.misfit);
    }
}
