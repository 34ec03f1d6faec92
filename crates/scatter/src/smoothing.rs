//! Choosing the smoothing of a radial scheme from the data.

use crate::spectrum::Spectrum;
use crate::{FitError, LeaveOneOut, Rbf, Sites};

/// What a smoothing is chosen by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rule {
    /// Nothing: the value given.
    Given(f64),
    /// The known noise: RSS / tr(I − H), the noise variance that the fit implies, is to equal it.
    NoiseMatched {
        /// Noise variance of a site of relative variance 1, in the units of the values, squared; the mean of the
        /// three outputs.
        variance: f64,
    },
    /// Generalised cross-validation: least n · RSS / tr(I − H)².
    GeneralisedCrossValidation,
    /// Leave-one-out: least Σ eᵢ² / vᵢ over sites and outputs.
    LeaveOneOut,
    /// Restricted marginal likelihood of the Gaussian process the kernel stands for, its variance profiled out.
    MarginalLikelihood,
}

/// A smoothing and how the candidates scored.
#[derive(Clone, Debug, PartialEq)]
pub struct Selected {
    /// The candidate of the least score; of equals the first.
    pub smoothing: f64,
    /// (smoothing, score) in the order of the candidates: smaller is better. For [`Rule::NoiseMatched`] the score is
    /// |ln(implied ÷ known variance)|; infinite where the system is singular to double precision; empty for
    /// [`Rule::Given`].
    pub scores: Vec<(f64, f64)>,
    /// Whether the least score is that of the smallest or largest candidate, so that a better one may lie beyond.
    pub at_edge: bool,
}

impl Selected {
    /// A smoothing that nothing had to be asked about.
    pub(crate) fn unscored(smoothing: f64) -> Self {
        Self {
            smoothing,
            scores: Vec::new(),
            at_edge: false,
        }
    }

    /// The best of scored candidates.
    pub(crate) fn best(scores: Vec<(f64, f64)>) -> Result<Self, FitError> {
        let finite = scores.iter().filter(|s| s.1.is_finite());
        let best = finite.min_by(|a, b| a.1.total_cmp(&b.1)).copied();
        let Some((smoothing, _)) = best else {
            return Err(FitError::NoSmoothing);
        };
        let at_edge =
            scores.iter().all(|s| s.0 <= smoothing) || scores.iter().all(|s| s.0 >= smoothing);
        Ok(Self {
            smoothing,
            scores,
            at_edge,
        })
    }
}

/// Σ eᵢ² / vᵢ over sites and outputs.
pub(crate) fn left_out_square(data: Sites<'_>, left_out: &LeaveOneOut) -> f64 {
    let squares = left_out.residual.iter().enumerate().map(|(i, e)| {
        let variance = data.relative_variance.map_or(1.0, |v| v[i]);
        e.iter().map(|e| e * e).sum::<f64>() / variance
    });
    squares.sum()
}

impl Rbf {
    /// Chooses the smoothing among candidates; one eigendecomposition serves them all.
    ///
    /// # Errors
    /// Those of [`Rbf::leave_one_out`], and [`FitError::NoSmoothing`] where no candidate has a finite score.
    ///
    /// # Source
    /// Generalised cross-validation: Craven & Wahba (1979). Likelihood: Wahba (1985). Noise known: the unbiased
    /// estimate of the variance of a linear smoother, RSS / tr(I − H), set equal to it: Wahba (1990), chapter 4
    /// (titles and chapter from memory).
    pub fn select(
        &self,
        data: Sites<'_>,
        rule: Rule,
        candidates: &[f64],
    ) -> Result<Selected, FitError> {
        if let Rule::Given(smoothing) = rule {
            return Ok(Selected::unscored(smoothing));
        }
        let spectrum = Spectrum::new(self, data, candidates)?;
        let scores: Vec<(f64, f64)> = match rule {
            Rule::Given(_) | Rule::LeaveOneOut => spectrum
                .leave_one_out(candidates)?
                .iter()
                .map(|one| (one.smoothing, left_out_square(data, one)))
                .collect(),
            _ => candidates
                .iter()
                .map(|&smoothing| {
                    let score = match rule {
                        Rule::NoiseMatched { variance } => {
                            (spectrum.implied_noise_variance(smoothing) / variance)
                                .ln()
                                .abs()
                        }
                        Rule::MarginalLikelihood => spectrum.restricted_likelihood(smoothing),
                        _ => spectrum.generalised_cross_validation(smoothing),
                    };
                    (smoothing, score)
                })
                .collect(),
        };
        // A singular system scores by its rounding, and could not be fitted.
        let definite = |(smoothing, score)| {
            let usable = spectrum.is_definite(smoothing);
            (smoothing, if usable { score } else { f64::INFINITY })
        };
        Selected::best(scores.into_iter().map(definite).collect())
    }
}
