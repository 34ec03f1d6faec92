/// Half-bandwidth of a cubic B-spline's normal matrix.
const HALF: usize = 3;

/// A symmetric positive definite matrix with three diagonals on either side of the main one.
///
/// Row `i` holds the entries of columns `i − 3 ..= i`; the upper half follows by symmetry.
#[derive(Clone, Debug)]
pub(crate) struct Banded {
    rows: Vec<[f64; HALF + 1]>,
}

impl Banded {
    pub(crate) fn zeros(size: usize) -> Self {
        Self {
            rows: vec![[0.0; HALF + 1]; size],
        }
    }

    /// Adds to entry (i, j) of the lower half, `j ≤ i ≤ j + 3`.
    pub(crate) fn add(&mut self, i: usize, j: usize, value: f64) {
        self.rows[i][HALF + j - i] += value;
    }

    /// Lower factor of the matrix, or `None` when it is not positive definite.
    pub(crate) fn cholesky(mut self) -> Option<Factor> {
        for i in 0..self.rows.len() {
            for j in i.saturating_sub(HALF)..=i {
                let first = i.saturating_sub(HALF).max(j.saturating_sub(HALF));
                let dot: f64 = (first..j)
                    .map(|k| self.rows[i][HALF + k - i] * self.rows[j][HALF + k - j])
                    .sum();
                let rest = self.rows[i][HALF + j - i] - dot;
                self.rows[i][HALF + j - i] = if i == j {
                    if rest <= 0.0 || !rest.is_finite() {
                        return None;
                    }
                    rest.sqrt()
                } else {
                    rest / self.rows[j][HALF]
                };
            }
        }
        Some(Factor { rows: self.rows })
    }
}

/// Cholesky factor of a [`Banded`] matrix.
pub(crate) struct Factor {
    rows: Vec<[f64; HALF + 1]>,
}

impl Factor {
    /// Solves in place.
    pub(crate) fn solve(&self, right: &mut [f64]) {
        let n = self.rows.len();
        for i in 0..n {
            let dot: f64 = (i.saturating_sub(HALF)..i)
                .map(|k| self.rows[i][HALF + k - i] * right[k])
                .sum();
            right[i] = (right[i] - dot) / self.rows[i][HALF];
        }
        for i in (0..n).rev() {
            let dot: f64 = (i + 1..n.min(i + HALF + 1))
                .map(|k| self.rows[k][HALF + i - k] * right[k])
                .sum();
            right[i] = (right[i] - dot) / self.rows[i][HALF];
        }
    }

    /// The inverse of the matrix within the band, laid out as the matrix; linear in the size.
    ///
    /// # Source
    /// M. F. Hutchinson & F. R. de Hoog, "Smoothing noisy data with spline functions", Numerische Mathematik 47, 1985
    /// (title from memory).
    pub(crate) fn inverse_band(&self) -> InverseBand {
        let n = self.rows.len();
        let mut inverse = InverseBand(vec![[0.0; HALF + 1]; n]);
        for i in (0..n).rev() {
            let below = i + 1..n.min(i + HALF + 1);
            let own = self.rows[i][HALF];
            let share = |k: usize| self.rows[k][HALF + i - k] / own;
            for j in below.clone() {
                let value: f64 = below.clone().map(|k| share(k) * inverse.at(k, j)).sum();
                inverse.0[j][HALF + i - j] = -value;
            }
            let rest: f64 = below.map(|k| share(k) * inverse.at(k, i)).sum();
            inverse.0[i][HALF] = 1.0 / (own * own) - rest;
        }
        inverse
    }
}

/// Entries of an inverse no further from the diagonal than the band of its [`Banded`] matrix.
pub(crate) struct InverseBand(Vec<[f64; HALF + 1]>);

impl InverseBand {
    /// Entry (i, j), `|i − j| ≤ 3`.
    pub(crate) fn at(&self, i: usize, j: usize) -> f64 {
        let (high, low) = (i.max(j), i.min(j));
        self.0[high][HALF + low - high]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};
    use proptest::prelude::*;

    proptest! {
        /// The same solution as a dense solve, to roundoff of a well-conditioned matrix.
        #[test]
        fn agrees_with_a_dense_solve(
            values in prop::collection::vec(-1.0..1.0_f64, 60), right in prop::collection::vec(-1.0..1.0_f64, 15),
        ) {
            let mut banded = Banded::zeros(15);
            let mut dense = DMatrix::zeros(15, 15);
            for i in 0..15_usize {
                for j in i.saturating_sub(HALF)..=i {
                    // Diagonally dominant, so positive definite.
                    let v = if i == j { 8.0 } else { values[4 * i + i - j] };
                    banded.add(i, j, v);
                    dense[(i, j)] = v;
                    dense[(j, i)] = v;
                }
            }
            let mut mine = right.clone();
            let factor = banded.cholesky().unwrap();
            factor.solve(&mut mine);
            let dense = dense.cholesky().unwrap();
            let theirs = dense.solve(&DVector::from_vec(right));
            let (band, inverse) = (factor.inverse_band(), dense.inverse());
            for i in 0..15_usize {
                for j in i.saturating_sub(HALF)..=i {
                    prop_assert!((band.at(i, j) - inverse[(i, j)]).abs() < 1e-12);
                }
            }
            for (a, b) in mine.iter().zip(theirs.iter()) {
                prop_assert!((a - b).abs() < 1e-12);
            }
        }
    }
}
