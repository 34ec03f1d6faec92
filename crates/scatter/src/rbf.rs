//! Radial basis functions with a polynomial part and smoothing.

use faer::diag::Diag;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::lblt;
use faer::linalg::triangular_solve::solve_upper_triangular_in_place;
use faer::{Mat, MatRef};
use nalgebra::Matrix3;

use crate::cholesky::Cholesky;
use crate::kernel_sum::Centres;
use crate::polynomial::Basis;
use crate::projection::{Projected, factor, product, split};
use crate::sites::singular;
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
/// | `degree` | the kernel's least | [`Kernel::least_degree`] to 2, −1 is no polynomial |
/// | `shape` | from the mean spacing of the sites | above 0, in 1 / units of the sites |
/// | smoothing | – | ≥ 0, in units of the kernel |
///
/// Ill-posed when two sites coincide and λ = 0, or when the sites do not determine the polynomial.
/// Cost: n³/3 multiplications and two n × n matrices at the peak to fit; n kernels a point after.
///
/// # Source
/// Duchon (1977); Wahba (1990), section 2.4; Fasshauer (2007), chapters 6 and 19 (from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rbf {
    /// φ.
    pub kernel: Kernel,
    /// Degree of the polynomial part; `None` takes the kernel's least degree.
    pub degree: Option<i8>,
    /// ε; `None` takes it from the mean spacing of the sites. Only for kernels with [`Kernel::has_shape`].
    pub shape: Option<f64>,
}

impl Rbf {
    /// The kernel with its least degree.
    pub const fn new(kernel: Kernel) -> Self {
        Self {
            kernel,
            degree: None,
            shape: None,
        }
    }

    /// The same with a polynomial part of this degree.
    #[must_use]
    pub fn with_degree(self, degree: i8) -> Self {
        Self {
            degree: Some(degree),
            ..self
        }
    }

    /// The same with this ε.
    #[must_use]
    pub fn with_shape(self, shape: f64) -> Self {
        Self {
            shape: Some(shape),
            ..self
        }
    }

    /// Fits to n sites; three right sides are solved at once.
    ///
    /// # Errors
    /// Any [`FitError`] but those of leave-one-out.
    pub fn fit(&self, data: Sites<'_>, smoothing: f64) -> Result<RbfInterpolant, FitError> {
        let prepared = self.prepare(data, &[smoothing])?;
        // Without smoothing the variances have no effect on the solution, only on its rounding.
        let data = if smoothing > 0.0 {
            data
        } else {
            Sites {
                relative_variance: None,
                ..data
            }
        };
        let projected = prepared.project(whitening(data), data.sites)?;
        let m = projected.terms();
        let right = projected.right_side(data.values);
        let (top, bottom) = right.as_ref().split_at_row(m);

        let definite = projected.kernel().get(m.., m..);
        let solved =
            solve_definite(definite, smoothing, bottom).ok_or_else(|| singular(data.sites))?;

        let mut coefficients = top.to_owned();
        if m > 0 {
            coefficients -= product(projected.kernel().get(..m, m..), solved.as_ref());
            solve_upper_triangular_in_place(projected.upper(), coefficients.as_mut(), split(m));
        }
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
        let centres = Centres::new(self.kernel, &prepared.scaled, &weights);
        Ok(RbfInterpolant {
            centres,
            shape: prepared.shape,
            basis: prepared.basis,
            coefficients: rows(coefficients.as_ref()),
        })
    }

    /// Checks shared by fitting and leave-one-out.
    pub(crate) fn prepare(
        &self,
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<Prepared, FitError> {
        let degree = self.kernel.checked_degree(self.degree)?;
        if let Some(&found) = smoothings.iter().find(|s| !(s.is_finite() && **s >= 0.0)) {
            return Err(FitError::Smoothing { found });
        }
        data.check(Basis::terms(degree).max(1))?;
        if smoothings.contains(&0.0)
            && let Some((first, second)) = data.coincident()
        {
            return Err(FitError::Coincident { first, second });
        }
        let shape = self.shape_for(data.sites)?;
        Ok(Prepared {
            kernel: self.kernel,
            degree,
            basis: Basis::new(degree, data.sites),
            shape,
            scaled: data.sites.iter().map(|s| s.map(|v| v * shape)).collect(),
        })
    }

    /// The checks of a fit that cost nothing.
    pub(crate) fn check(&self, data: Sites<'_>, smoothings: &[f64]) -> Result<(), FitError> {
        self.prepare(data, smoothings).map(|_| ())
    }

    /// Coefficients of the polynomial part; 0 for a degree that does not fit the kernel.
    pub(crate) fn terms(&self) -> usize {
        self.kernel
            .checked_degree(self.degree)
            .map_or(0, Basis::terms)
    }

    /// Everything that a fit refuses but a singular kernel matrix: n m² operations.
    pub(crate) fn check_polynomials(
        &self,
        data: Sites<'_>,
        smoothing: f64,
    ) -> Result<(), FitError> {
        let prepared = self.prepare(data, &[smoothing])?;
        factor(
            &prepared.basis,
            prepared.degree,
            data.sites,
            &vec![1.0; data.len()],
        )
        .map(|_| ())
    }

    /// ε for these sites: 1 for kernels without a scale.
    ///
    /// # Errors
    /// [`FitError::Shape`].
    pub fn shape_for(&self, sites: &[[f64; 3]]) -> Result<f64, FitError> {
        let refuse = |found, need| FitError::Shape {
            kernel: self.kernel,
            found,
            need,
        };
        match (self.kernel.spacings(), self.shape) {
            (None, None) => Ok(1.0),
            (None, Some(found)) => Err(refuse(found, "it has no shape, leave it out")),
            (Some(_), Some(found)) if found.is_finite() && found > 0.0 => Ok(found),
            (Some(_), Some(found)) => Err(refuse(found, "give a finite number above 0")),
            (Some(spacings), None) => Ok(1.0 / (spacings * mean_spacing(sites))),
        }
    }
}

/// Edge of the cube that each site has to itself: the largest side of the bounding box over the cube root of their
/// number.
pub(crate) fn mean_spacing(sites: &[[f64; 3]]) -> f64 {
    largest_side(sites) / (sites.len() as f64).cbrt()
}

/// Largest side of the bounding box; 1 where all sites coincide, so that there is a scale.
pub(crate) fn largest_side(sites: &[[f64; 3]]) -> f64 {
    let side = (0..3)
        .map(|c| {
            let axis = || sites.iter().map(|s| s[c]);
            axis().fold(f64::NEG_INFINITY, f64::max) - axis().fold(f64::INFINITY, f64::min)
        })
        .fold(0.0, f64::max);
    if side > 0.0 { side } else { 1.0 }
}

/// What a fit and a leave-one-out start from.
pub(crate) struct Prepared {
    kernel: Kernel,
    degree: i8,
    basis: Basis,
    /// ε.
    shape: f64,
    /// Sites times ε, where the kernels live.
    scaled: Vec<[f64; 3]>,
}

impl Prepared {
    /// The whitened system with the polynomials projected out.
    pub(crate) fn project(
        &self,
        whitening: Vec<f64>,
        sites: &[[f64; 3]],
    ) -> Result<Projected, FitError> {
        Projected::new(
            self.kernel,
            &self.scaled,
            &self.basis,
            self.degree,
            sites,
            whitening,
        )
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
    let x = match Cholesky::new(shifted(a, smoothing)) {
        Some(factor) => factor.solve(b),
        None => solve_indefinite(shifted(a, smoothing), b),
    };
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
        split(n),
        Default::default(),
    ));
    let (_, permutation) = lblt::factor::cholesky_in_place(
        a.as_mut(),
        below.as_mut(),
        &mut forward,
        &mut inverse,
        split(n),
        MemStack::new(&mut memory),
        Default::default(),
    );
    let mut diagonal = Diag::zeros(n);
    diagonal.copy_from(a.diagonal());
    let mut x = b.to_owned();
    let mut memory = MemBuffer::new(lblt::solve::solve_in_place_scratch::<usize, f64>(
        n,
        3,
        split(n),
    ));
    lblt::solve::solve_in_place(
        a.as_ref(),
        diagonal.as_ref(),
        below.as_ref(),
        permutation,
        x.as_mut(),
        split(n),
        MemStack::new(&mut memory),
    );
    x
}

/// A fitted [`Rbf`].
#[derive(Clone, Debug)]
pub struct RbfInterpolant {
    /// Around the sites times ε.
    centres: Centres,
    /// ε.
    shape: f64,
    basis: Basis,
    coefficients: Vec<[f64; 3]>,
}

impl RbfInterpolant {
    fn add_polynomial(&self, at: [f64; 3], value: &mut [f64; 3]) {
        for (p, c) in self.basis.values(at).zip(&self.coefficients) {
            for k in 0..3 {
                value[k] += p * c[k];
            }
        }
    }
}

impl Interpolant for RbfInterpolant {
    fn eval(&self, at: [f64; 3]) -> [f64; 3] {
        let mut value = self.centres.sum(at.map(|v| v * self.shape));
        self.add_polynomial(at, &mut value);
        value
    }

    fn eval_into(&self, at: &[[f64; 3]], out: &mut [[f64; 3]]) {
        self.centres.sum_into(self.shape, at, out);
        for (at, value) in at.iter().zip(out) {
            self.add_polynomial(*at, value);
        }
    }

    fn eval_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        let scaled = at.map(|v| v * self.shape);
        let (mut value, slope) = self.centres.sum_with_gradient(scaled);
        let mut slope = slope.map(|row| row.map(|v| v * self.shape));
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
