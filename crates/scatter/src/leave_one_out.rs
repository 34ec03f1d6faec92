//! Every site predicted from the others, without refitting.

use faer::Mat;
use faer::diag::Diag;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::evd::{ComputeEigenvectors, self_adjoint_evd, self_adjoint_evd_scratch};
use rayon::prelude::*;

use crate::projection::{Projected, product, split};
use crate::rbf::whitening;
use crate::{FitError, Rbf, Sites};

/// A site whose share outside the polynomials, Σ_k B²ᵢₖ = 1 − leverage, is below this determines a
/// coefficient of the polynomial by itself: rounding leaves about 1e-15 of an exact 0.
const INDISPENSABLE: f64 = 1e-12;

/// Leave-one-out residuals for one value of the smoothing.
#[derive(Clone, Debug, PartialEq)]
pub struct LeaveOneOut {
    /// λ.
    pub smoothing: f64,
    /// `values[i]` − prediction at site i from all other sites, in the units of the values.
    pub residual: Vec<[f64; 3]>,
}

impl Rbf {
    /// Leave-one-out residuals for a list of smoothing values, in its order.
    ///
    /// For the fit of all sites, with A the whole system matrix, the residual without site i is
    ///
    /// ```text
    /// eᵢ = wᵢ / (A⁻¹)ᵢᵢ = uᵢ / (Wᵢ Dᵢᵢ),   D = B (Σ + λI)⁻¹ Bᵀ,   u = D W f,
    /// ```
    ///
    /// where B Σ Bᵀ is the eigendecomposition of the projected kernel matrix, W = V^−½. One
    /// decomposition serves every λ.
    ///
    /// Cost: about 9 n³ operations and four n × n matrices, then n² for each λ. Above some 1500
    /// sites the caller should hand in a subset.
    ///
    /// # Errors
    /// Those of [`Rbf::fit`], [`FitError::Eigenvalues`] and [`FitError::Indispensable`].
    ///
    /// # Source
    /// Rippa (1999), equation for eᵢ (from memory; verified against refits in the tests). That it
    /// holds for the system with polynomials and a diagonal: block inversion of A.
    pub fn leave_one_out(
        &self,
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<Vec<LeaveOneOut>, FitError> {
        let (degree, basis) = self.prepare(data, smoothings)?;
        let projected = Projected::new(self.kernel, &basis, degree, data.sites, whitening(data))?;
        let (n, m) = (data.len(), projected.terms());
        if n == m {
            return Err(FitError::Indispensable { site: 0 });
        }
        let right = projected.right_side(data.values);

        let rest = n - m;
        let mut eigenvalues = Diag::zeros(rest);
        let mut vectors = Mat::zeros(rest, rest);
        let mut memory = MemBuffer::new(self_adjoint_evd_scratch::<f64>(
            rest,
            ComputeEigenvectors::Yes,
            split(),
            Default::default(),
        ));
        self_adjoint_evd(
            projected.kernel().get(m.., m..),
            eigenvalues.as_mut(),
            Some(vectors.as_mut()),
            split(),
            MemStack::new(&mut memory),
            Default::default(),
        )
        .map_err(|_| FitError::Eigenvalues)?;

        // g = Uᵀ Zᵀ W f: the values by eigenvector. B = Z U, stored by rows of sites.
        let spectrum = product(vectors.transpose(), right.get(m.., ..));
        let mut basis_of_rest = Mat::zeros(n, rest);
        basis_of_rest.get_mut(m.., ..).copy_from(&vectors);
        drop(vectors);
        projected.backward(basis_of_rest.as_mut());
        let rows = basis_of_rest.transpose().to_owned();
        drop(basis_of_rest);

        let eigenvalues: Vec<f64> = eigenvalues.column_vector().iter().copied().collect();
        smoothings
            .iter()
            .map(|&smoothing| {
                let gain: Vec<f64> = eigenvalues.iter().map(|e| 1.0 / (e + smoothing)).collect();
                let residual = (0..n)
                    .into_par_iter()
                    .map(|i| {
                        let (mut share, mut diagonal, mut u) = (0.0, 0.0, [0.0; 3]);
                        for (k, b) in rows.col(i).iter().enumerate() {
                            share += b * b;
                            diagonal += b * b * gain[k];
                            for output in 0..3 {
                                u[output] += b * gain[k] * spectrum[(k, output)];
                            }
                        }
                        if share < INDISPENSABLE {
                            return Err(FitError::Indispensable { site: i });
                        }
                        Ok(u.map(|u| u / (projected.whitening[i] * diagonal)))
                    })
                    .collect::<Vec<Result<[f64; 3], FitError>>>() // lowest index first, always
                    .into_iter()
                    .collect::<Result<_, _>>()?;
                Ok(LeaveOneOut {
                    smoothing,
                    residual,
                })
            })
            .collect()
    }
}
