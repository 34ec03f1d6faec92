//! Radial basis functions on the nearest sites only.

use nalgebra::Matrix3;
use rayon::prelude::*;

use crate::neighbours::Neighbours;
use crate::{FitError, Interpolant, Kernel, LeaveOneOut, Rbf, RbfInterpolant, Sites};

/// Points per task of [`LocalRbfInterpolant::eval_into`]; points of one task share fits where their neighbours agree.
const CHUNK: usize = 64;

/// An [`Rbf`] fitted anew to the k nearest sites of every point.
///
/// To choose above some thousand sites, where one system of all sites costs too much. Nearest sites change from point
/// to point, so the map has small steps where they do: it is less smooth than the global scheme.
///
/// | parameter | default | range |
/// | --- | --- | --- |
/// | `kernel` | thin plate | the kernels without a shape |
/// | `degree` | the kernel's least | [`Kernel::least_degree`] to 2 |
/// | `neighbours` | 50 | at least the coefficients of the polynomial; all sites where there are fewer |
///
/// Where the nearest k do not determine the fit, as on a ramp, their number is doubled until they do; where even all
/// sites give a singular system, the value of the nearest site is taken.
///
/// Cost: a search and k³/3 multiplications a point; memory grows with n only.
///
/// # Source
/// The neighbours option of general radial interpolators; equations of [`Rbf`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LocalRbf {
    /// φ.
    pub kernel: Kernel,
    /// Degree of the polynomial part; `None` takes the kernel's least degree.
    pub degree: Option<i8>,
    /// k.
    pub neighbours: usize,
}

impl LocalRbf {
    /// Thin plate on 50 neighbours.
    pub const DEFAULT: Self = Self {
        kernel: Kernel::ThinPlate,
        degree: None,
        neighbours: 50,
    };

    /// Keeps a copy of the sites and builds the search tree.
    ///
    /// # Errors
    /// Those of [`Rbf::fit`] that can be told from the sites: too few, coincident without smoothing, on one plane.
    pub fn fit(&self, data: Sites<'_>, smoothing: f64) -> Result<LocalRbfInterpolant, FitError> {
        let rbf = Rbf {
            degree: self.degree,
            ..Rbf::new(self.kernel)
        };
        if self.kernel.has_shape() {
            return Err(FitError::Shape {
                kernel: self.kernel,
                found: f64::NAN,
                need: "a local scheme takes linear, thin-plate, cubic or quintic",
            });
        }
        rbf.check_polynomials(data, smoothing)?;
        let variance = data
            .relative_variance
            .map_or_else(|| vec![1.0; data.len()], <[f64]>::to_vec);
        Ok(LocalRbfInterpolant {
            rbf,
            smoothing,
            least: self.neighbours.max(rbf.terms()).max(1),
            neighbours: Neighbours::new(data.sites)?,
            sites: data.sites.to_vec(),
            values: data.values.to_vec(),
            variance,
        })
    }

    /// Each site predicted from its nearest others: n fits of k sites for each smoothing.
    ///
    /// # Errors
    /// Those of [`LocalRbf::fit`]; one site more than the polynomial has coefficients is needed.
    pub fn leave_one_out(
        &self,
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<Vec<LeaveOneOut>, FitError> {
        smoothings
            .iter()
            .map(|&smoothing| {
                let fitted = self.fit(data, smoothing)?;
                data.check(fitted.rbf.terms() + 1)?;
                let residual = (0..data.len())
                    .into_par_iter()
                    .map(|i| {
                        let at = data.sites[i];
                        let predicted = fitted.value(at, Some(i), &mut None);
                        std::array::from_fn(|k| data.values[i][k] - predicted[k])
                    })
                    .collect();
                Ok(LeaveOneOut {
                    smoothing,
                    residual,
                })
            })
            .collect()
    }
}

/// A fitted [`LocalRbf`].
pub struct LocalRbfInterpolant {
    rbf: Rbf,
    smoothing: f64,
    /// Neighbours to begin with.
    least: usize,
    neighbours: Neighbours,
    sites: Vec<[f64; 3]>,
    values: Vec<[f64; 3]>,
    variance: Vec<f64>,
}

/// The k nearest sites of a point, by index, and their fit.
type Kept = Option<(Vec<usize>, RbfInterpolant)>;

impl LocalRbfInterpolant {
    /// Hands a point's fit to `take`, or the nearest value to `constant` where no number of neighbours gives a system
    /// that can be solved.
    ///
    /// `kept` holds the last fit of k sites for points with the same k. A widened neighbourhood depends on the point
    /// and not only on its k nearest, so it is never kept.
    fn with_fit<T>(
        &self,
        at: [f64; 3],
        without: Option<usize>,
        kept: &mut Kept,
        take: impl Fn(&RbfInterpolant) -> T,
        constant: impl Fn([f64; 3]) -> T,
    ) -> T {
        let mut sites = self.neighbours.nearest(at, self.least, without);
        let first = sites.first().copied();
        // In the order of the sites, so that equal sets give equal systems.
        sites.sort_unstable();
        if kept.as_ref().is_none_or(|(last, _)| *last != sites) {
            *kept = self.fit_to(&sites).map(|fitted| (sites.clone(), fitted));
        }
        if let Some((_, fitted)) = kept {
            return take(fitted);
        }
        let others = self.sites.len() - usize::from(without.is_some());
        while !sites.is_empty() && sites.len() < others {
            sites = self.neighbours.nearest(at, 2 * sites.len(), without);
            sites.sort_unstable();
            if let Some(fitted) = self.fit_to(&sites) {
                return take(&fitted);
            }
        }
        constant(first.map_or([f64::NAN; 3], |i| self.values[i]))
    }

    fn fit_to(&self, chosen: &[usize]) -> Option<RbfInterpolant> {
        let pick =
            |from: &[[f64; 3]]| -> Vec<[f64; 3]> { chosen.iter().map(|&i| from[i]).collect() };
        let (sites, values) = (pick(&self.sites), pick(&self.values));
        let variance: Vec<f64> = chosen.iter().map(|&i| self.variance[i]).collect();
        let data = Sites::new(&sites, &values).with_relative_variance(&variance);
        self.rbf.fit(data, self.smoothing).ok()
    }

    fn value(&self, at: [f64; 3], without: Option<usize>, kept: &mut Kept) -> [f64; 3] {
        self.with_fit(at, without, kept, |fitted| fitted.eval(at), |value| value)
    }
}

impl Interpolant for LocalRbfInterpolant {
    fn eval(&self, at: [f64; 3]) -> [f64; 3] {
        self.value(at, None, &mut None)
    }

    /// The neighbours are held: the steps where they change have no derivative.
    fn eval_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        self.with_fit(
            at,
            None,
            &mut None,
            |fitted| fitted.eval_with_gradient(at),
            |value| (value, Matrix3::zeros()),
        )
    }

    fn eval_into(&self, at: &[[f64; 3]], out: &mut [[f64; 3]]) {
        assert_eq!(at.len(), out.len(), "eval_into: one output for each point");
        at.par_chunks(CHUNK)
            .zip(out.par_chunks_mut(CHUNK))
            .for_each(|(at, out)| {
                let mut kept = None;
                for (at, out) in at.iter().zip(out) {
                    *out = self.value(*at, None, &mut kept);
                }
            });
    }
}
