//! Every site predicted from the others, without refitting.

use rayon::prelude::*;

use crate::spectrum::Spectrum;
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

impl LeaveOneOut {
    /// The same residuals for every smoothing, of a scheme that has none.
    pub(crate) fn for_any(smoothings: &[f64], residual: &[[f64; 3]]) -> Vec<Self> {
        let one = |&smoothing: &f64| Self {
            smoothing,
            residual: residual.to_vec(),
        };
        smoothings.iter().map(one).collect()
    }
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
        Spectrum::new(self, data, smoothings)?.leave_one_out(smoothings)
    }
}

impl Spectrum {
    /// Leave-one-out residuals for a list of smoothing values.
    pub(crate) fn leave_one_out(&self, smoothings: &[f64]) -> Result<Vec<LeaveOneOut>, FitError> {
        smoothings
            .iter()
            .map(|&smoothing| {
                let gain = self.gain(smoothing);
                let residual = (0..self.rows.ncols())
                    .into_par_iter()
                    .map(|i| {
                        let (mut share, mut diagonal, mut u) = (0.0, 0.0, [0.0; 3]);
                        for (k, b) in self.rows.col(i).iter().enumerate() {
                            share += b * b;
                            diagonal += b * b * gain[k];
                            for (output, u) in u.iter_mut().enumerate() {
                                *u += b * gain[k] * self.right[(k, output)];
                            }
                        }
                        if share < INDISPENSABLE {
                            return Err(FitError::Indispensable { site: i });
                        }
                        Ok(u.map(|u| u / (self.whitening[i] * diagonal)))
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
