//! Radial basis functions with a polynomial part and smoothing.

use faer::diag::Diag;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::{lblt, llt};
use faer::linalg::triangular_solve::solve_upper_triangular_in_place;
use faer::{Mat, MatRef};
use nalgebra::Matrix3;

use crate::kernel_sum::Centres;
use crate::polynomial::Basis;
use crate::projection::{Projected, product, split};
use crate::sites::closest_pair;
use crate::{FitError, Interpolant, Kernel, Sites};

/// Residual of the solved system, relative to its right side, above which a factor that is not
/// positive definite is given up: half the digits of a double.
const ACCEPTED_RESIDUAL: f64 = 1e-8;

/// Radial basis functions: s(x) = Σ wᵢ φ(|x − xᵢ|) + p(x).
///
/// To choose when the values are smooth and noise is small or known; the method of choice between
/// a dozen and a few thousand sites.
///
/// Weights and polynomial solve (K + λV) w + P c = f, Pᵀw = 0, where λ is the smoothing and V holds
/// the relative variances of the sites. λ = 0 interpolates.
///
/// | parameter | default | range |
/// | --- | --- | --- |
/// | `kernel` | – | [`Kernel`] |
/// | `degree` | the kernel's least | [`Kernel::least_degree`] to 2 |
/// | smoothing | – | ≥ 0, in units of the kernel |
///
/// Ill-posed when two sites coincide and λ = 0, or when the sites do not determine the polynomial.
/// Cost: n³/3 multiplications and two n × n matrices at the peak to fit; n kernels a point after.
///
/// # Source
/// Duchon (1977); Wahba (1990), section 2.4; Fasshauer (2007), chapters 6 and 19 (from memory).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rbf {
    /// φ.
    pub kernel: Kernel,
    /// Degree of the polynomial part; `None` takes the kernel's least degree.
    pub degree: Option<u8>,
}

impl Rbf {
    /// The kernel with its least degree.
    pub fn new(kernel: Kernel) -> Self {
        Self {
            kernel,
            degree: None,
        }
    }

    /// The same with a polynomial part of this degree.
    #[must_use]
    pub fn with_degree(self, degree: u8) -> Self {
        Self {
            degree: Some(degree),
            ..self
        }
    }

    /// Fits to n sites; three right sides are solved at once.
    ///
    /// # Errors
    /// Any [`FitError`] but those of leave-one-out.
    pub fn fit(&self, data: Sites<'_>, smoothing: f64) -> Result<RbfInterpolant, FitError> {
        let (degree, basis) = self.prepare(data, &[smoothing])?;
        // Without smoothing the variances have no effect on the solution, only on its rounding.
        let data = if smoothing > 0.0 {
            data
        } else {
            Sites {
                relative_variance: None,
                ..data
            }
        };
        let projected = Projected::new(self.kernel, &basis, degree, data.sites, whitening(data))?;
        let m = projected.terms();
        let right = projected.right_side(data.values);
        let (top, bottom) = right.as_ref().split_at_row(m);

        let definite = projected.kernel().get(m.., m..);
        let solved = solve_definite(definite, smoothing, bottom).ok_or_else(|| {
            let (first, second, distance) = closest_pair(data.sites);
            FitError::Singular {
                first,
                second,
                distance,
            }
        })?;

        let mut coefficients = top - product(projected.kernel().get(..m, m..), solved.as_ref());
        solve_upper_triangular_in_place(projected.upper(), coefficients.as_mut(), split());
        let mut weights = Mat::zeros(data.len(), 3);
        weights.get_mut(m.., ..).copy_from(&solved);
        projected.backward(weights.as_mut());

        let rows = |mat: MatRef<'_, f64>| -> Vec<[f64; 3]> {
            (0..mat.nrows())
                .map(|i| std::array::from_fn(|k| mat[(i, k)]))
                .collect()
        };
        let weights: Vec<[f64; 3]> = rows(weights.as_ref())
            .iter()
            .zip(&projected.whitening)
            .map(|(u, w)| u.map(|u| u * w))
            .collect();
        let centres = Centres::new(self.kernel, data.sites, &weights);
        Ok(RbfInterpolant {
            centres,
            basis,
            coefficients: rows(coefficients.as_ref()),
        })
    }

    /// Checks shared by fitting and leave-one-out.
    pub(crate) fn prepare(
        &self,
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<(u8, Basis), FitError> {
        let degree = self.kernel.checked_degree(self.degree)?;
        if let Some(&found) = smoothings.iter().find(|s| !(s.is_finite() && **s >= 0.0)) {
            return Err(FitError::Smoothing { found });
        }
        data.check(Basis::terms(degree))?;
        if smoothings.contains(&0.0)
            && let Some((first, second)) = data.coincident()
        {
            return Err(FitError::Coincident { first, second });
        }
        Ok((degree, Basis::new(degree, data.sites)))
    }
}

/// V^−½.
pub(crate) fn whitening(data: Sites<'_>) -> Vec<f64> {
    match data.relative_variance {
        Some(variance) => variance.iter().map(|v| 1.0 / v.sqrt()).collect(),
        None => vec![1.0; data.len()],
    }
}

/// Solves (A + λI) X = B for a symmetric A that is positive definite up to rounding.
///
/// Cholesky where it works. Where rounding has pushed an eigenvalue below 0, Bunch–Kaufman factors
/// of the same matrix, kept only if they solve it. `None` if neither does.
fn solve_definite(a: MatRef<'_, f64>, smoothing: f64, b: MatRef<'_, f64>) -> Option<Mat<f64>> {
    let n = a.nrows();
    let mut factor = shifted(a, smoothing);
    let mut memory = MemBuffer::new(llt::factor::cholesky_in_place_scratch::<f64>(
        n,
        split(),
        Default::default(),
    ));
    let stack = MemStack::new(&mut memory);
    let outcome = llt::factor::cholesky_in_place(
        factor.as_mut(),
        Default::default(),
        split(),
        stack,
        Default::default(),
    );
    let mut x = b.to_owned();
    if outcome.is_ok() {
        let mut memory = MemBuffer::new(llt::solve::solve_in_place_scratch::<f64>(n, 3, split()));
        llt::solve::solve_in_place(
            factor.as_ref(),
            x.as_mut(),
            split(),
            MemStack::new(&mut memory),
        );
    } else {
        x = solve_indefinite(shifted(a, smoothing), b);
    }
    let residual = (product(a, x.as_ref()) + faer::Scale(smoothing) * &x - b).norm_max();
    // Also false for NaN.
    (residual <= ACCEPTED_RESIDUAL * b.norm_max()).then_some(x)
}

fn shifted(a: MatRef<'_, f64>, smoothing: f64) -> Mat<f64> {
    let mut sum = a.to_owned();
    for i in 0..a.nrows() {
        sum[(i, i)] += smoothing;
    }
    sum
}

fn solve_indefinite(mut a: Mat<f64>, b: MatRef<'_, f64>) -> Mat<f64> {
    let n = a.nrows();
    let (mut forward, mut inverse) = (vec![0_usize; n], vec![0_usize; n]);
    let mut below = Diag::zeros(n);
    let mut memory = MemBuffer::new(lblt::factor::cholesky_in_place_scratch::<usize, f64>(
        n,
        split(),
        Default::default(),
    ));
    let (_, permutation) = lblt::factor::cholesky_in_place(
        a.as_mut(),
        below.as_mut(),
        &mut forward,
        &mut inverse,
        split(),
        MemStack::new(&mut memory),
        Default::default(),
    );
    let mut diagonal = Diag::zeros(n);
    diagonal.copy_from(a.diagonal());
    let mut x = b.to_owned();
    let mut memory = MemBuffer::new(lblt::solve::solve_in_place_scratch::<usize, f64>(
        n,
        3,
        split(),
    ));
    lblt::solve::solve_in_place(
        a.as_ref(),
        diagonal.as_ref(),
        below.as_ref(),
        permutation,
        x.as_mut(),
        split(),
        MemStack::new(&mut memory),
    );
    x
}

/// A fitted [`Rbf`].
#[derive(Clone, Debug)]
pub struct RbfInterpolant {
    centres: Centres,
    basis: Basis,
    coefficients: Vec<[f64; 3]>,
}

impl Interpolant for RbfInterpolant {
    fn eval(&self, at: [f64; 3]) -> [f64; 3] {
        let mut value = self.centres.sum(at);
        for (p, c) in self.basis.values(at).zip(&self.coefficients) {
            for k in 0..3 {
                value[k] += p * c[k];
            }
        }
        value
    }

    fn eval_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        let (mut value, mut slope) = self.centres.sum_with_gradient(at);
        let terms = self.basis.values(at).zip(self.basis.gradients(at));
        for ((p, dp), c) in terms.zip(&self.coefficients) {
            for k in 0..3 {
                value[k] += p * c[k];
                for axis in 0..3 {
                    slope[k][axis] += dp[axis] * c[k];
                }
            }
        }
        (
            value,
            Matrix3::from_fn(|output, input| slope[output][input]),
        )
    }
}
