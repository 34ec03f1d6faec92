use faer::Mat;
use rayon::prelude::*;

use super::KrigingInterpolant;
use super::correlation::{Correlation, Smoothness};
use super::estimate::{Estimate, Estimation};
use super::process::{Process, monomials};
use crate::polynomial::Basis;
use crate::rbf::{largest_side, mean_spacing};
use crate::sites::singular;
use crate::{FitError, Kernel, LeaveOneOut, Rbf, Rule, Selected, Sites};

/// An output counts as explained by the trend where the trend leaves less than this part of its spread: rounding.
const EXPLAINED: f64 = 1e-11;
/// Sites the correlation is estimated from where there are more, evenly picked in the order of their coordinates: each
/// step costs the cube of their number, and 300 with three outputs each pin down a handful of parameters.
const ESTIMATION_SITES: usize = 300;
/// Length the search starts from, in mean spacings.
const FIRST_SPACINGS: f64 = 4.0;

/// Kriging, or regression by a Gaussian process: best linear unbiased prediction, and how sure it is.
///
/// To choose where the error between the sites has to be known, or where the data should say by themselves how smooth
/// they are. The process of each output has the same correlation and a variance of its own.
///
/// Smoothing λ is noise variance ÷ signal variance, times the relative variance of each site; 0 interpolates.
///
/// | parameter | default | range |
/// | --- | --- | --- |
/// | `smoothness` | Matérn 5/2 | [`Smoothness`] |
/// | `anova` | no | main effects, pairs and all three axes, each with a share of its own, and a length for each axis |
/// | `degree` | 0, a constant unknown mean | −1 (mean 0) to 2 |
/// | `length` | estimated | above 0, in units of the sites; for `anova` that of every axis |
/// | `by` | likelihood | [`Estimate`] |
///
/// Given a `length`, nothing is estimated but the signal variance: the shares of `anova` are then one third each.
/// Ill-posed when sites nearly coincide and λ = 0. Cost: some 8 (isotropic) to 100 (ANOVA) systems of 2n³ operations
/// each to estimate, with at most 300 of the sites, then n³/3 and two n × n matrices; n correlations a point after, n²
/// for a standard error.
///
/// # Source
/// Rasmussen & Williams (2006), sections 2.2, 2.7, 5.4; sums over orders of interaction: Duvenaud, Nickisch &
/// Rasmussen (2011) and Durrande, Ginsbourger & Roustant (2012) (from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kriging {
    /// Of the correlation along a direction, or along each axis.
    pub smoothness: Smoothness,
    /// Whether the correlation is summed over orders of interaction.
    pub anova: bool,
    /// Degree of the trend.
    pub degree: i8,
    /// Length of the correlation; `None` estimates it.
    pub length: Option<f64>,
    /// How it is estimated.
    pub by: Estimate,
}

impl Kriging {
    /// Isotropic, Matérn 5/2.
    pub const DEFAULT: Self = Self {
        smoothness: Smoothness::Matern52,
        anova: false,
        degree: 0,
        length: None,
        by: Estimate::Likelihood,
    };
    /// The same with an ANOVA correlation.
    pub const ANOVA: Self = Self {
        anova: true,
        ..Self::DEFAULT
    };

    /// Fits to n sites.
    ///
    /// # Errors
    /// Any [`FitError`] but those of leave-one-out and of the choice of smoothing.
    pub fn fit(&self, data: Sites<'_>, smoothing: f64) -> Result<KrigingInterpolant, FitError> {
        let prepared = self.prepare(data, &[smoothing])?;
        let correlation = self.correlation_of(&prepared, data, smoothing);
        let process = prepared.solve(&correlation, data, smoothing)?;
        let freedom = process.freedom().max(1.0);
        let variance = process.quadratic.map(|q| q.max(0.0) / freedom);
        Ok(KrigingInterpolant::new(
            correlation,
            data.sites,
            prepared.basis,
            process,
            variance,
        ))
    }

    /// Leave-one-out residuals for each smoothing: the correlation is estimated once for each, the site among
    /// those it is estimated from, and held while it is left out.
    ///
    /// # Errors
    /// Those of [`Kriging::fit`], and [`FitError::Indispensable`].
    ///
    /// # Source
    /// Closed form: Dubrule (1983), Rasmussen & Williams (2006), section 5.4.2 (from memory).
    pub fn leave_one_out(
        &self,
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<Vec<LeaveOneOut>, FitError> {
        let prepared = self.prepare(data, smoothings)?;
        let all: Vec<Result<LeaveOneOut, FitError>> = smoothings
            .par_iter()
            .map(|&smoothing| {
                let correlation = self.correlation_of(&prepared, data, smoothing);
                let process = prepared.solve(&correlation, data, smoothing)?;
                Ok(LeaveOneOut {
                    smoothing,
                    residual: process.left_out(&process.precision())?,
                })
            })
            .collect();
        all.into_iter().collect()
    }

    /// Chooses the smoothing. Every candidate is scored with the correlation estimated for it; up to 300 sites, likelihood
    /// and leave-one-out then go on from the best of them, between its neighbours, with gradients by all parameters.
    ///
    /// # Errors
    /// Those of [`Kriging::leave_one_out`], and [`FitError::NoSmoothing`].
    pub fn select(
        &self,
        data: Sites<'_>,
        rule: Rule,
        candidates: &[f64],
    ) -> Result<Selected, FitError> {
        if let Rule::Given(smoothing) = rule {
            return Ok(Selected::unscored(smoothing));
        }
        let prepared = self.prepare(data, candidates)?;
        // In an order of their own, as in `correlation_of`.
        let ordered = Picked::new(data, data.len());
        let own = self.prepare(ordered.sites(), candidates)?;
        let mut estimation = own.estimation(self, ordered.sites());
        let scores: Vec<(f64, f64)> = candidates
            .par_iter()
            .map(|&smoothing| {
                let correlation = self.correlation_of(&prepared, data, smoothing);
                let score =
                    Process::new(&correlation, data, smoothing, prepared.monomials.as_ref())
                        .map_or(f64::INFINITY, |process| {
                            score(&process, data, rule, smoothing, &estimation.outputs)
                        });
                (smoothing, score)
            })
            .collect();
        let mut selected = Selected::best(scores)?;
        estimation.by = match rule {
            Rule::MarginalLikelihood => Estimate::Likelihood,
            Rule::LeaveOneOut => Estimate::LeaveOneOut,
            _ => return Ok(selected),
        };
        // Where the parameters follow another rule, or are given, there is nothing to go on with.
        let best = selected.smoothing;
        if estimation.by != self.by
            || self.length.is_some()
            || estimation.outputs.is_empty()
            || best <= 0.0
            // The search goes on with the sites the correlation is estimated from: all of them.
            || data.len() > ESTIMATION_SITES
        {
            return Ok(selected);
        }
        let below = candidates.iter().copied().filter(|c| *c > 0.0 && *c < best);
        let above = candidates.iter().copied().filter(|c| *c > best);
        let range = (
            below.fold(0.0, f64::max).max(best * LEAST_SHARE),
            above.fold(f64::INFINITY, f64::min).min(best / LEAST_SHARE),
        );
        let from = self.correlation(&estimation, best).parameters();
        if let Some((smoothing, score)) = estimation.with_smoothing(&from, best, range) {
            let score = match rule {
                Rule::LeaveOneOut => score.exp(),
                _ => score,
            };
            selected.scores.push((smoothing, score));
            return Selected::best(selected.scores);
        }
        Ok(selected)
    }

    fn prepare(&self, data: Sites<'_>, smoothings: &[f64]) -> Result<Prepared, FitError> {
        // Any kernel without a least degree: only the checks are used.
        let kernel = Kernel::Matern52;
        if let Some(found) = self.length.filter(|l| !(l.is_finite() && *l > 0.0)) {
            return Err(FitError::CorrelationLength { found });
        }
        Rbf::new(kernel)
            .with_degree(self.degree)
            .check(data, smoothings)?;
        let basis = Basis::new(self.degree, data.sites);
        // One site more than the trend has coefficients, or there is no variance to estimate.
        data.check(basis.len() + 1)?;
        let rest = crate::projection::beyond(&basis, self.degree, data.sites, data.values)?;
        let outputs = (0..3)
            .filter(|&k| rest[k] > EXPLAINED * data.values.iter().map(|v| v[k].abs()).sum::<f64>())
            .collect();
        Ok(Prepared {
            monomials: monomials(&basis, data.sites),
            basis,
            outputs,
        })
    }

    /// The correlation for one λ, from all sites or from some of many, in an order of their own: where the score is flat
    /// the search ends somewhere else for another order of the same sums.
    fn correlation_of(&self, prepared: &Prepared, data: Sites<'_>, smoothing: f64) -> Correlation {
        let picked = Picked::new(data, ESTIMATION_SITES);
        match self.prepare(picked.sites(), &[smoothing]) {
            Ok(theirs) => self.correlation(&theirs.estimation(self, picked.sites()), smoothing),
            // The trend needs the sites left out: the first guess.
            Err(_) => prepared.estimation(self, data).form,
        }
    }

    /// The correlation estimated for one λ; the first guess where nothing can be or has to be estimated.
    fn correlation(&self, estimation: &Estimation<'_>, smoothing: f64) -> Correlation {
        if self.length.is_some() || estimation.outputs.is_empty() {
            return estimation.form;
        }
        match estimation.at(smoothing) {
            Some(found) => estimation.form.with_parameters(&found.at),
            None => estimation.form,
        }
    }
}

/// How far λ may leave the outermost candidate in the search with gradients.
const LEAST_SHARE: f64 = 0.1;

/// Smaller is better.
fn score(process: &Process, data: Sites<'_>, rule: Rule, smoothing: f64, outputs: &[usize]) -> f64 {
    match rule {
        Rule::NoiseMatched { variance } => {
            let (square, trace) = process.smoother(data);
            (smoothing * square / (3.0 * trace) / variance).ln().abs()
        }
        Rule::GeneralisedCrossValidation => {
            let (square, trace) = process.smoother(data);
            data.len() as f64 * square / (trace * trace)
        }
        Rule::MarginalLikelihood => process.likelihood(outputs).0,
        Rule::Given(_) | Rule::LeaveOneOut => process
            .leave_one_out(data)
            .map_or(f64::INFINITY, |(log, _)| log.exp()),
    }
}

fn by_coordinates(a: [f64; 3], b: [f64; 3]) -> std::cmp::Ordering {
    (a[0].total_cmp(&b[0]))
        .then(a[1].total_cmp(&b[1]))
        .then(a[2].total_cmp(&b[2]))
}

/// The sites, or some of them, whatever order they came in.
struct Picked {
    sites: Vec<[f64; 3]>,
    values: Vec<[f64; 3]>,
    variance: Vec<f64>,
}

impl Picked {
    fn new(data: Sites<'_>, most: usize) -> Self {
        let n = data.len();
        let count = n.min(most);
        let mut order: Vec<usize> = (0..n).collect();
        order.sort_by(|&a, &b| {
            // Coincident sites by their values, so that the order they came in decides nothing.
            by_coordinates(data.sites[a], data.sites[b])
                .then(by_coordinates(data.values[a], data.values[b]))
        });
        let picked: Vec<usize> = (0..count).map(|i| order[i * n / count]).collect();
        Self {
            sites: picked.iter().map(|&i| data.sites[i]).collect(),
            values: picked.iter().map(|&i| data.values[i]).collect(),
            variance: (picked.iter())
                .map(|&i| data.relative_variance.map_or(1.0, |v| v[i]))
                .collect(),
        }
    }

    fn sites(&self) -> Sites<'_> {
        Sites::new(&self.sites, &self.values).with_relative_variance(&self.variance)
    }
}

struct Prepared {
    basis: Basis,
    monomials: Mat<f64>,
    outputs: Vec<usize>,
}

impl Prepared {
    fn estimation<'a>(&'a self, scheme: &Kriging, data: Sites<'a>) -> Estimation<'a> {
        let spacing = mean_spacing(data.sites);
        let length = scheme.length.unwrap_or(FIRST_SPACINGS * spacing);
        let smoothness = scheme.smoothness;
        let form = if scheme.anova {
            Correlation::Anova {
                smoothness,
                lengths: [length; 3],
                weights: [1.0 / 3.0; 3],
            }
        } else {
            Correlation::Isotropic { smoothness, length }
        };
        Estimation {
            data,
            monomials: self.monomials.as_ref(),
            form,
            by: scheme.by,
            outputs: self.outputs.clone(),
            spacing,
            side: largest_side(data.sites),
        }
    }

    fn solve(
        &self,
        correlation: &Correlation,
        data: Sites<'_>,
        smoothing: f64,
    ) -> Result<Process, FitError> {
        Process::new(correlation, data, smoothing, self.monomials.as_ref())
            .ok_or_else(|| singular(data.sites))
    }
}
