//! Cholesky factors of dense symmetric matrices, split the same way on any number of threads.

use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::llt;
use faer::linalg::triangular_inverse;
use faer::{Mat, MatRef};

use crate::projection::split;

/// L of A = L Lᵀ, in the lower triangle.
pub struct Cholesky(Mat<f64>);

impl Cholesky {
    /// Factors in place; `None` where A is not positive definite to double precision. Only the lower triangle is read.
    pub fn new(mut a: Mat<f64>) -> Option<Self> {
        let rows = a.nrows();
        let scratch = llt::factor::cholesky_in_place_scratch::<f64>(
            a.nrows(),
            split(a.nrows()),
            Default::default(),
        );
        llt::factor::cholesky_in_place(
            a.as_mut(),
            Default::default(),
            split(rows),
            MemStack::new(&mut MemBuffer::new(scratch)),
            Default::default(),
        )
        .ok()?;
        Some(Self(a))
    }

    /// A⁻¹ B.
    pub fn solve(&self, b: MatRef<'_, f64>) -> Mat<f64> {
        let mut x = b.to_owned();
        let scratch =
            llt::solve::solve_in_place_scratch::<f64>(b.nrows(), b.ncols(), split(b.nrows()));
        llt::solve::solve_in_place(
            self.0.as_ref(),
            x.as_mut(),
            split(b.nrows()),
            MemStack::new(&mut MemBuffer::new(scratch)),
        );
        x
    }

    /// A⁻¹, both triangles.
    pub fn inverse(&self) -> Mat<f64> {
        let n = self.0.nrows();
        let mut inverse = Mat::zeros(n, n);
        let scratch = llt::inverse::inverse_scratch::<f64>(n, split(n));
        llt::inverse::inverse(
            inverse.as_mut(),
            self.0.as_ref(),
            split(n),
            MemStack::new(&mut MemBuffer::new(scratch)),
        );
        for j in 0..n {
            for i in 0..j {
                inverse[(i, j)] = inverse[(j, i)];
            }
        }
        inverse
    }

    /// The diagonal of A⁻¹: squared lengths of the columns of L⁻¹, half of the work of the whole.
    pub fn inverse_diagonal(&self) -> Vec<f64> {
        let n = self.0.nrows();
        let mut inverse = Mat::zeros(n, n);
        triangular_inverse::invert_lower_triangular(inverse.as_mut(), self.0.as_ref(), split(n));
        let square = |j: usize| inverse.col_as_slice(j)[j..].iter().map(|v| v * v).sum();
        (0..n).map(square).collect()
    }

    /// ln |A|.
    pub fn log_determinant(&self) -> f64 {
        let diagonal = (0..self.0.nrows()).map(|i| self.0[(i, i)].ln());
        2.0 * diagonal.sum::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of a matrix with a condition of some hundreds, small, and large enough for blocks.
    #[test]
    fn the_diagonal_is_that_of_the_inverse() {
        for n in [1, 7, 150] {
            let away = |i: usize, j: usize| (i as f64 - j as f64).abs() / 5.0;
            let a = Mat::from_fn(n, n, |i, j| {
                (-away(i, j)).exp() + if i == j { 0.1 } else { 0.0 }
            });
            let factor = Cholesky::new(a).unwrap();
            let whole = factor.inverse();
            for (i, own) in factor.inverse_diagonal().into_iter().enumerate() {
                assert!((own / whole[(i, i)] - 1.0).abs() < 1e-12, "{n}, {i}");
            }
        }
    }
}
