//! The eigendecomposition of a radial system, from which every value of the smoothing is judged.

use faer::Mat;
use faer::diag::Diag;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::evd::{ComputeEigenvectors, self_adjoint_evd, self_adjoint_evd_scratch};

use crate::projection::{product, split};
use crate::rbf::whitening;
use crate::{FitError, Rbf, Sites};

/// Zᵀ(WKW)Z = U Σ Uᵀ of the whitened and projected kernel matrix, with what follows from it.
///
/// Cost: about 9 n³ operations and four n × n matrices.
pub(crate) struct Spectrum {
    /// Σ, n − m values.
    eigenvalues: Vec<f64>,
    /// g = Uᵀ Zᵀ W f: the values by eigenvector, (n − m) × 3.
    pub(crate) right: Mat<f64>,
    /// (Z U)ᵀ: a column for each site, (n − m) × n.
    pub(crate) rows: Mat<f64>,
    /// V^−½, n.
    pub(crate) whitening: Vec<f64>,
}

impl Spectrum {
    /// Decomposes; the smoothings are those to be judged, so that 0 can be refused where sites coincide.
    pub(crate) fn new(rbf: &Rbf, data: Sites<'_>, smoothings: &[f64]) -> Result<Self, FitError> {
        let prepared = rbf.prepare(data, smoothings)?;
        let projected = prepared.project(whitening(data), data.sites)?;
        let (n, m) = (data.len(), projected.terms());
        if n == m {
            return Err(FitError::Indispensable { site: 0 });
        }
        let values = projected.right_side(data.values);

        let rest = n - m;
        let mut eigenvalues = Diag::zeros(rest);
        let mut vectors = Mat::zeros(rest, rest);
        let mut memory = MemBuffer::new(self_adjoint_evd_scratch::<f64>(
            rest,
            ComputeEigenvectors::Yes,
            split(rest),
            Default::default(),
        ));
        self_adjoint_evd(
            projected.kernel().get(m.., m..),
            eigenvalues.as_mut(),
            Some(vectors.as_mut()),
            split(rest),
            MemStack::new(&mut memory),
            Default::default(),
        )
        .map_err(|_| FitError::Eigenvalues)?;

        // g = Uᵀ Zᵀ W f: the values by eigenvector. B = Z U, stored by rows of sites.
        let right = product(vectors.transpose(), values.get(m.., ..));
        let mut basis_of_rest = Mat::zeros(n, rest);
        basis_of_rest.get_mut(m.., ..).copy_from(&vectors);
        drop(vectors);
        projected.backward(basis_of_rest.as_mut());
        let rows = basis_of_rest.transpose().to_owned();
        drop(basis_of_rest);

        Ok(Self {
            eigenvalues: eigenvalues.column_vector().iter().copied().collect(),
            right,
            rows,
            whitening: projected.whitening,
        })
    }

    /// Whether the system is positive definite to double precision with this smoothing: the least σ + λ stands clear
    /// of the rounding of the largest.
    pub(crate) fn is_definite(&self, smoothing: f64) -> bool {
        let largest = self.eigenvalues.iter().copied().fold(0.0, f64::max);
        let least = self
            .eigenvalues
            .iter()
            .copied()
            .fold(f64::INFINITY, f64::min);
        least + smoothing > self.eigenvalues.len() as f64 * f64::EPSILON * (largest + smoothing)
    }

    /// 1 / (σ + λ) for every eigenvalue.
    pub(crate) fn gain(&self, smoothing: f64) -> Vec<f64> {
        let gain = |e: &f64| 1.0 / (e + smoothing);
        self.eigenvalues.iter().map(gain).collect()
    }

    /// Σ_k g²ₖ (σₖ + λ)^−power for each output.
    fn weighed(&self, gain: &[f64], power: i32) -> [f64; 3] {
        std::array::from_fn(|output| {
            gain.iter()
                .enumerate()
                .map(|(k, gain)| self.right[(k, output)].powi(2) * gain.powi(power))
                .sum()
        })
    }

    /// n · RSS / tr(I − H)², the residual sum of squares weighted by 1/v and summed over the outputs.
    ///
    /// RSS = λ² Σ g²/(σ + λ)² and tr(I − H) = λ Σ 1/(σ + λ), so λ cancels and 0 is an ordinary value.
    pub(crate) fn generalised_cross_validation(&self, smoothing: f64) -> f64 {
        let gain = self.gain(smoothing);
        let trace: f64 = gain.iter().sum();
        let sites = self.rows.ncols() as f64;
        sites * self.weighed(&gain, 2).iter().sum::<f64>() / (trace * trace)
    }

    /// RSS / tr(I − H), averaged over the outputs: the noise variance that a fit with this smoothing implies for a
    /// site of relative variance 1.
    pub(crate) fn implied_noise_variance(&self, smoothing: f64) -> f64 {
        let gain = self.gain(smoothing);
        let trace: f64 = gain.iter().sum();
        smoothing * self.weighed(&gain, 2).iter().sum::<f64>() / (3.0 * trace)
    }

    /// −2 ln of the restricted likelihood, up to a constant, the signal variance of each output profiled out.
    pub(crate) fn restricted_likelihood(&self, smoothing: f64) -> f64 {
        let gain = self.gain(smoothing);
        let freedom = gain.len() as f64;
        let fit: f64 = self
            .weighed(&gain, 1)
            .map(|q| freedom * q.ln())
            .iter()
            .sum();
        let volume: f64 = gain.iter().map(|g| -g.ln()).sum();
        fit + 3.0 * volume
    }
}
