//! Turns the conditionally definite kernel system into a definite one.
//!
//! With W = V^−½ the system (K + λV) w + P c = f, Pᵀw = 0 becomes, for u = W⁻¹w,
//!
//! ```text
//! (W K W + λI) u + (W P) c = W f,   (W P)ᵀ u = 0.
//! ```
//!
//! The QR factors of W P split space into the polynomials and the rest. In that basis the
//! lower-right block of Qᵀ(W K W)Q is positive definite, for every λ ≥ 0 at once.

use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::householder::{
    apply_block_householder_sequence_on_the_left_in_place_scratch,
    apply_block_householder_sequence_on_the_left_in_place_with_conj,
    apply_block_householder_sequence_on_the_right_in_place_scratch,
    apply_block_householder_sequence_on_the_right_in_place_with_conj,
    apply_block_householder_sequence_transpose_on_the_left_in_place_scratch,
    apply_block_householder_sequence_transpose_on_the_left_in_place_with_conj,
};
use faer::linalg::matmul::matmul;
use faer::linalg::qr::no_pivoting::factor::{
    qr_in_place, qr_in_place_scratch, recommended_block_size,
};
use faer::{Accum, Conj, Mat, MatMut, MatRef, Par};
use rayon::prelude::*;

use crate::kernel_sum::kernel_column;
use crate::polynomial::Basis;
use crate::{FitError, Kernel};

/// Rows below which one thread factors a matrix sooner than two share it (`docs/decisions`).
const SHARED_FROM: usize = 800;

/// How finely the dense algebra of matrices with so many rows is split. Decided by their size instead of the number of
/// threads, because the split decides the order of the sums and so the last bits of the result.
pub(crate) fn split(rows: usize) -> Par {
    if rows < SHARED_FROM {
        Par::Seq
    } else {
        Par::rayon(4)
    }
}

/// A B, split as everything here.
pub(crate) fn product(a: MatRef<'_, f64>, b: MatRef<'_, f64>) -> Mat<f64> {
    let mut c = Mat::zeros(a.nrows(), b.ncols());
    let rows = a.nrows().max(a.ncols());
    matmul(c.as_mut(), Accum::Replace, a, b, 1.0, split(rows));
    c
}

/// A column of the polynomial matrix that is shorter than this, relative to its length before the
/// others were projected out, counts as dependent on them. Rounding leaves about 1e-15; sites in a
/// slab a millionth as thick as wide still pass.
const DEPENDENT: f64 = 1e-11;

/// QR factors of W P, n × m: Householder vectors with R, and the block factor.
///
/// # Errors
/// [`FitError::Degenerate`] when the sites do not determine the polynomials.
pub(crate) fn factor(
    basis: &Basis,
    degree: i8,
    sites: &[[f64; 3]],
    whitening: &[f64],
) -> Result<(Mat<f64>, Mat<f64>), FitError> {
    let (n, m) = (sites.len(), basis.len());
    let mut reflectors = Mat::zeros(n, m);
    if m == 0 {
        // Nothing to project out: Q is the identity.
        return Ok((reflectors, Mat::zeros(0, 0)));
    }
    for (i, site) in sites.iter().enumerate() {
        for (j, value) in basis.values(*site).enumerate() {
            reflectors[(i, j)] = whitening[i] * value;
        }
    }
    let lengths: Vec<f64> = (0..m).map(|j| reflectors.col(j).norm_l2()).collect();
    let block = recommended_block_size::<f64>(n, m).min(m);
    let mut factor = Mat::zeros(block, m);
    let mut memory = MemBuffer::new(qr_in_place_scratch::<f64>(
        n,
        m,
        block,
        Par::Seq,
        Default::default(),
    ));
    qr_in_place(
        reflectors.as_mut(),
        factor.as_mut(),
        Par::Seq,
        MemStack::new(&mut memory),
        Default::default(),
    );
    if (0..m).any(|j| reflectors[(j, j)].abs() <= DEPENDENT * lengths[j]) {
        return Err(FitError::Degenerate { degree });
    }
    Ok((reflectors, factor))
}

/// X ← Qᵀ X.
fn rotate(reflectors: MatRef<'_, f64>, factor: MatRef<'_, f64>, x: MatMut<'_, f64>) {
    if reflectors.ncols() == 0 {
        return;
    }
    let scratch = apply_block_householder_sequence_transpose_on_the_left_in_place_scratch::<f64>(
        reflectors.nrows(),
        factor.nrows(),
        x.ncols(),
    );
    apply_block_householder_sequence_transpose_on_the_left_in_place_with_conj(
        reflectors,
        factor,
        Conj::No,
        x,
        split(reflectors.nrows()),
        MemStack::new(&mut MemBuffer::new(scratch)),
    );
}

/// Length of each output's part that no polynomial of the basis explains.
///
/// # Errors
/// As [`factor`].
pub(crate) fn beyond(
    basis: &Basis,
    degree: i8,
    sites: &[[f64; 3]],
    values: &[[f64; 3]],
) -> Result<[f64; 3], FitError> {
    let (reflectors, blocks) = factor(basis, degree, sites, &vec![1.0; sites.len()])?;
    let mut rotated = Mat::from_fn(values.len(), 3, |i, k| values[i][k]);
    rotate(reflectors.as_ref(), blocks.as_ref(), rotated.as_mut());
    let rest = rotated.get(basis.len().., ..);
    Ok(std::array::from_fn(|k| rest.col(k).norm_l2()))
}

/// The whitened system in the basis given by the polynomials.
pub(crate) struct Projected {
    /// Qᵀ W K W Q by columns, n × n; symmetric up to rounding.
    kernel: Vec<f64>,
    n: usize,
    /// Householder vectors below the diagonal, R on and above it: n × m.
    reflectors: Mat<f64>,
    factor: Mat<f64>,
    /// V^−½, n.
    pub(crate) whitening: Vec<f64>,
}

impl Projected {
    /// Builds and projects the kernel matrix: O(n² m) time, one n × n matrix. The kernel acts on the scaled sites,
    /// the polynomials on the sites.
    pub(crate) fn new(
        kernel: Kernel,
        scaled: &[[f64; 3]],
        basis: &Basis,
        degree: i8,
        sites: &[[f64; 3]],
        whitening: Vec<f64>,
    ) -> Result<Self, FitError> {
        let n = sites.len();
        let (reflectors, factor) = factor(basis, degree, sites, &whitening)?;
        let mut projected = Self::whitened(kernel, scaled, whitening, reflectors, factor);
        let mut matrix = std::mem::take(&mut projected.kernel);
        let mut view = MatMut::from_column_major_slice_mut(&mut matrix, n, n);
        projected.forward(view.as_mut());
        projected.forward_right(view);
        projected.kernel = matrix;
        Ok(projected)
    }

    /// W K W, not projected yet.
    fn whitened(
        kernel: Kernel,
        scaled: &[[f64; 3]],
        whitening: Vec<f64>,
        reflectors: Mat<f64>,
        factor: Mat<f64>,
    ) -> Self {
        let n = scaled.len();
        let mut matrix = vec![0.0; n * n];
        matrix
            .par_chunks_mut(n)
            .enumerate()
            .for_each(|(j, column)| {
                kernel_column(kernel, scaled, scaled[j], column);
                for (entry, w) in column.iter_mut().zip(&whitening) {
                    *entry *= w * whitening[j];
                }
            });
        Self {
            n,
            kernel: matrix,
            reflectors,
            factor,
            whitening,
        }
    }

    /// Qᵀ W K W Q.
    pub(crate) fn kernel(&self) -> MatRef<'_, f64> {
        MatRef::from_column_major_slice(&self.kernel, self.n, self.n)
    }

    /// Number of polynomials.
    pub(crate) fn terms(&self) -> usize {
        self.reflectors.ncols()
    }

    /// The upper triangular factor, m × m.
    pub(crate) fn upper(&self) -> MatRef<'_, f64> {
        self.reflectors.get(..self.terms(), ..)
    }

    /// X ← Qᵀ X.
    pub(crate) fn forward(&self, x: MatMut<'_, f64>) {
        rotate(self.reflectors.as_ref(), self.factor.as_ref(), x);
    }

    /// X ← Q X.
    pub(crate) fn backward(&self, x: MatMut<'_, f64>) {
        if self.terms() == 0 {
            return;
        }
        let (n, block) = (self.reflectors.nrows(), self.factor.nrows());
        let scratch = apply_block_householder_sequence_on_the_left_in_place_scratch::<f64>(
            n,
            block,
            x.ncols(),
        );
        apply_block_householder_sequence_on_the_left_in_place_with_conj(
            self.reflectors.as_ref(),
            self.factor.as_ref(),
            Conj::No,
            x,
            split(n),
            MemStack::new(&mut MemBuffer::new(scratch)),
        );
    }

    /// X ← X Q.
    fn forward_right(&self, x: MatMut<'_, f64>) {
        if self.terms() == 0 {
            return;
        }
        let (n, block) = (self.reflectors.nrows(), self.factor.nrows());
        let scratch = apply_block_householder_sequence_on_the_right_in_place_scratch::<f64>(
            n,
            block,
            x.nrows(),
        );
        apply_block_householder_sequence_on_the_right_in_place_with_conj(
            self.reflectors.as_ref(),
            self.factor.as_ref(),
            Conj::No,
            x,
            split(n),
            MemStack::new(&mut MemBuffer::new(scratch)),
        );
    }

    /// Whitened values in the projected basis: Qᵀ W f, n × 3.
    pub(crate) fn right_side(&self, values: &[[f64; 3]]) -> Mat<f64> {
        let mut g = Mat::from_fn(values.len(), 3, |i, k| self.whitening[i] * values[i][k]);
        self.forward(g.as_mut());
        g
    }
}
