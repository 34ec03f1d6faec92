//! A Gaussian process with a polynomial trend, its parameters given.

use faer::{Mat, MatRef};
use rayon::prelude::*;

use super::correlation::{Correlation, PARAMETERS};
use crate::cholesky::Cholesky;
use crate::polynomial::Basis;
use crate::projection::product;
use crate::{FitError, Sites};

/// A site is indispensable where the share of its own variance that the trend leaves is below this: rounding leaves
/// about 1e-15 of an exact 0.
const INDISPENSABLE: f64 = 1e-12;

/// The solved system of n sites: C = K + λV, trend P c, α = C⁻¹(f − P c).
pub(super) struct Process {
    pub(super) covariance: Cholesky,
    /// C⁻¹P, n × m.
    pub(super) solved: Mat<f64>,
    /// PᵀC⁻¹P; `None` without a trend.
    pub(super) trend: Option<Cholesky>,
    /// α, n × 3.
    pub(super) weights: Mat<f64>,
    /// c, m × 3.
    pub(super) coefficients: Mat<f64>,
    /// (f − P c)ᵀ α of each output: n − m times the restricted estimate of its signal variance.
    pub(super) quadratic: [f64; 3],
}

/// Values of the trend's monomials, n × m.
pub(super) fn monomials(basis: &Basis, sites: &[[f64; 3]]) -> Mat<f64> {
    let mut p = Mat::zeros(sites.len(), basis.len());
    for (i, site) in sites.iter().enumerate() {
        for (j, value) in basis.values(*site).enumerate() {
            p[(i, j)] = value;
        }
    }
    p
}

fn variance(data: Sites<'_>, i: usize) -> f64 {
    data.relative_variance.map_or(1.0, |v| v[i])
}

impl Process {
    /// Solves; `None` where the covariance is not positive definite to double precision.
    pub(super) fn new(
        correlation: &Correlation,
        data: Sites<'_>,
        smoothing: f64,
        monomials: MatRef<'_, f64>,
    ) -> Option<Self> {
        let n = data.len();
        let mut columns = vec![0.0; n * n];
        columns
            .par_chunks_mut(n)
            .enumerate()
            .for_each(|(j, column)| {
                correlation.column(data.sites[j], &data.sites[j..], &mut column[j..]);
                column[j] += smoothing * variance(data, j);
            });
        let matrix = MatRef::from_column_major_slice(&columns, n, n).to_owned();
        drop(columns);
        let covariance = Cholesky::new(matrix)?;
        let values = Mat::from_fn(n, 3, |i, k| data.values[i][k]);
        let solved = covariance.solve(monomials);
        let (mut rest, mut coefficients, mut trend) = (values.clone(), Mat::zeros(0, 3), None);
        if monomials.ncols() > 0 {
            let factor = Cholesky::new(product(monomials.transpose(), solved.as_ref()))?;
            coefficients = factor.solve(product(solved.transpose(), values.as_ref()).as_ref());
            rest -= product(monomials, coefficients.as_ref());
            trend = Some(factor);
        }
        let weights = covariance.solve(rest.as_ref());
        let quadratic =
            std::array::from_fn(|k| (0..n).map(|i| rest[(i, k)] * weights[(i, k)]).sum());
        Some(Self {
            covariance,
            solved,
            trend,
            weights,
            coefficients,
            quadratic,
        })
    }

    fn sites(&self) -> usize {
        self.weights.nrows()
    }

    /// n − m.
    pub(super) fn freedom(&self) -> f64 {
        (self.sites() - self.solved.ncols()) as f64
    }

    /// Π = C⁻¹ − C⁻¹P (PᵀC⁻¹P)⁻¹ PᵀC⁻¹.
    pub(super) fn precision(&self) -> Mat<f64> {
        let mut precision = self.covariance.inverse();
        if let Some(trend) = &self.trend {
            let inner = trend.solve(self.solved.transpose());
            precision -= product(self.solved.as_ref(), inner.as_ref());
        }
        precision
    }

    /// −2 ln of the restricted likelihood up to a constant, the signal variance of each output profiled out, with
    /// S = d / dC; outputs that the trend explains are left out.
    pub(super) fn likelihood(&self, outputs: &[usize]) -> (f64, Mat<f64>) {
        let (freedom, count) = (self.freedom(), outputs.len() as f64);
        let trend = self.trend.as_ref().map_or(0.0, Cholesky::log_determinant);
        let volume = self.covariance.log_determinant() + trend;
        let fit: f64 = outputs
            .iter()
            .map(|k| freedom * self.quadratic[*k].ln())
            .sum();
        let mut slope = self.precision();
        let gain: Vec<f64> = outputs
            .iter()
            .map(|k| freedom / self.quadratic[*k])
            .collect();
        columns_mut(&mut slope, |j, column| {
            for (i, entry) in column.iter_mut().enumerate() {
                *entry *= count;
                for (k, gain) in outputs.iter().zip(&gain) {
                    *entry -= gain * self.weights[(i, *k)] * self.weights[(j, *k)];
                }
            }
        });
        (fit + count * volume, slope)
    }

    /// Residual of every site predicted from the others, the parameters held: αᵢ / Πᵢᵢ.
    pub(super) fn left_out(&self, precision: &Mat<f64>) -> Result<Vec<[f64; 3]>, FitError> {
        let inner = self
            .trend
            .as_ref()
            .map(|t| t.solve(self.solved.transpose()));
        (0..self.sites())
            .map(|i| {
                let own = precision[(i, i)];
                // What the trend takes of (C⁻¹)ᵢᵢ.
                let taken = inner.as_ref().map_or(0.0, |inner| {
                    (0..inner.nrows())
                        .map(|j| self.solved[(i, j)] * inner[(j, i)])
                        .sum()
                });
                if own <= INDISPENSABLE * (own + taken) {
                    return Err(FitError::Indispensable { site: i });
                }
                Ok(std::array::from_fn(|k| self.weights[(i, k)] / own))
            })
            .collect()
    }

    /// ln Σ eᵢ²/vᵢ of the left-out residuals, with S = d / dC (not symmetric).
    ///
    /// dΠ = −Π dC Π, so with g = 2eᵢ/(vᵢΠᵢᵢ) and h = Σ_k 2 eᵢ αᵢ/(vᵢΠᵢᵢ²): S = Π diag(h) Π − Σ_k (Π g_k) α_kᵀ.
    pub(super) fn leave_one_out(&self, data: Sites<'_>) -> Option<(f64, Mat<f64>)> {
        let precision = self.precision();
        let left_out = self.left_out(&precision).ok()?;
        let n = self.sites();
        let (mut total, mut g, mut h) = (0.0, Mat::zeros(n, 3), vec![0.0; n]);
        for (i, residual) in left_out.iter().enumerate() {
            let (v, own) = (variance(data, i), precision[(i, i)]);
            for (k, e) in residual.iter().enumerate() {
                total += e * e / v;
                g[(i, k)] = 2.0 * e / (v * own);
                h[i] += 2.0 * e * self.weights[(i, k)] / (v * own * own);
            }
        }
        let pushed = product(precision.as_ref(), g.as_ref());
        let mut weighed = precision.clone();
        columns_mut(&mut weighed, |_, column| {
            for (entry, h) in column.iter_mut().zip(&h) {
                *entry *= h;
            }
        });
        let mut slope = product(precision.as_ref(), weighed.as_ref());
        slope -= product(pushed.as_ref(), self.weights.transpose());
        columns_mut(&mut slope, |_, column| {
            for entry in column {
                *entry /= total;
            }
        });
        Some((total.ln(), slope))
    }

    /// RSS ÷ λ² and tr(I − H) ÷ λ of the smoother, weighted by 1/v: Σ vα² over the outputs, and Σ vΠᵢᵢ.
    pub(super) fn smoother(&self, data: Sites<'_>) -> (f64, f64) {
        let precision = self.precision();
        let (mut square, mut trace) = (0.0, 0.0);
        for i in 0..self.sites() {
            let v = variance(data, i);
            trace += v * precision[(i, i)];
            square += (0..3)
                .map(|k| v * self.weights[(i, k)].powi(2))
                .sum::<f64>();
        }
        (square, trace)
    }
}

/// Each column of a matrix in parallel; no sums cross columns.
fn columns_mut(matrix: &mut Mat<f64>, edit: impl Fn(usize, &mut [f64]) + Sync) {
    matrix
        .as_mut()
        .par_col_iter_mut()
        .enumerate()
        .for_each(|(j, column)| {
            if let Some(contiguous) = column.try_as_col_major_mut() {
                edit(j, contiguous.as_slice_mut());
            }
        });
}

/// Σ S ∂C by the correlation's parameters, then by ln λ.
pub(super) fn contract(
    slope: &Mat<f64>,
    correlation: &Correlation,
    data: Sites<'_>,
    smoothing: f64,
) -> ([f64; PARAMETERS], f64) {
    let n = data.len();
    // A sum for each column, added up in their order.
    let columns: Vec<[f64; PARAMETERS]> = (0..n)
        .into_par_iter()
        .map(|j| {
            let pair = |i: usize| slope[(i, j)] + slope[(j, i)];
            correlation.slopes(data.sites[j], &data.sites[..j], pair)
        })
        .collect();
    let mut total = [0.0; PARAMETERS];
    for column in columns {
        for (total, c) in total.iter_mut().zip(column) {
            *total += c;
        }
    }
    let noise = (0..n).map(|i| slope[(i, i)] * smoothing * variance(data, i));
    (total, noise.sum())
}
