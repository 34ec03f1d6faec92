//! Inverse-distance weighting.

use nalgebra::Matrix3;
use rayon::prelude::*;

use crate::sites::squared_distance;
use crate::{FitError, Interpolant, LeaveOneOut, Sites};

/// Inverse-distance weighting over all sites: s(x) = Σ fᵢ / |x − xᵢ|² ÷ Σ 1 / |x − xᵢ|².
///
/// To choose as a simple reference that stays within the range of the values. It is exact at a
/// site (the mean where several coincide) but flat there, so a map with a slope turns into steps.
///
/// Never ill-posed. Cost: nothing to fit, n divisions a point. Smoothing and variances have no
/// meaning here and are ignored.
///
/// # Source
/// Shepard (1968), the basic method with exponent 2; without his cut-off, direction and slope
/// refinements.
#[derive(Clone, Debug)]
pub struct Shepard {
    sites: Vec<[f64; 3]>,
    values: Vec<[f64; 3]>,
}

impl Shepard {
    /// Keeps a copy of the sites.
    ///
    /// # Errors
    /// [`FitError::Length`], [`FitError::NotFinite`], [`FitError::TooFewSites`] without any site.
    pub fn fit(data: Sites<'_>) -> Result<Self, FitError> {
        data.check(1)?;
        Ok(Self {
            sites: data.sites.to_vec(),
            values: data.values.to_vec(),
        })
    }

    /// Each site predicted from all others: n² divisions.
    ///
    /// # Errors
    /// Those of [`Shepard::fit`]; two sites are needed.
    pub fn leave_one_out(
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<Vec<LeaveOneOut>, FitError> {
        data.check(2)?;
        let residual: Vec<[f64; 3]> = (0..data.len())
            .into_par_iter()
            .map(|i| {
                let sum = Sum::new(data.sites, data.values, data.sites[i], Some(i));
                let predicted = sum.value();
                std::array::from_fn(|k| data.values[i][k] - predicted[k])
            })
            .collect();
        Ok(LeaveOneOut::for_any(smoothings, &residual))
    }
}

/// Weighted sums relative to the nearest site.
///
/// All weights are multiplied by the nearest squared distance, so none overflows, and values are
/// taken as differences from the nearest one, so that nothing cancels close to a site.
struct Sum {
    nearest: [f64; 3],
    /// Σ q (fᵢ − nearest) / Σ q with q = s_min / sᵢ.
    offset: [f64; 3],
    weight: f64,
    least: f64,
}

impl Sum {
    fn new(sites: &[[f64; 3]], values: &[[f64; 3]], at: [f64; 3], without: Option<usize>) -> Self {
        let others = || (0..sites.len()).filter(|i| Some(*i) != without);
        let (mut least, mut nearest) = (f64::INFINITY, [f64::NAN; 3]);
        for i in others() {
            let s = squared_distance(at, sites[i]);
            if s < least {
                (least, nearest) = (s, values[i]);
            }
        }
        let (mut weight, mut offset) = (0.0, [0.0; 3]);
        for i in others() {
            let q = ratio(least, squared_distance(at, sites[i]));
            weight += q;
            for k in 0..3 {
                offset[k] += q * (values[i][k] - nearest[k]);
            }
        }
        Self {
            nearest,
            offset: offset.map(|o| o / weight),
            weight,
            least,
        }
    }

    fn value(&self) -> [f64; 3] {
        std::array::from_fn(|k| self.nearest[k] + self.offset[k])
    }
}

/// s_min / s, with 0 / 0 = 1: at a site, the coincident sites share the weight.
fn ratio(least: f64, s: f64) -> f64 {
    if s == 0.0 { 1.0 } else { least / s }
}

impl Interpolant for Shepard {
    fn eval(&self, at: [f64; 3]) -> [f64; 3] {
        Sum::new(&self.sites, &self.values, at, None).value()
    }

    fn eval_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        let sum = Sum::new(&self.sites, &self.values, at, None);
        let mut slope = Matrix3::zeros();
        // At a site the weights have a double pole and the map is flat.
        if sum.least > 0.0 {
            for (site, value) in self.sites.iter().zip(&self.values) {
                let s = squared_distance(at, *site);
                // ∇(1/s) = −2 (x − xᵢ) / s², times s_min as everywhere here.
                let pull = -2.0 * (sum.least / s) / s / sum.weight;
                for output in 0..3 {
                    let excess = (value[output] - sum.nearest[output]) - sum.offset[output];
                    for input in 0..3 {
                        slope[(output, input)] += pull * excess * (at[input] - site[input]);
                    }
                }
            }
        }
        (sum.value(), slope)
    }
}
