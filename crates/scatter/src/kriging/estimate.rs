//! Parameters of the correlation from the data.

use faer::MatRef;

use super::correlation::Correlation;
use super::process::{Process, contract};
use crate::Sites;
use crate::descent::{Least, least};

/// What the parameters of a correlation are estimated by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Estimate {
    /// Restricted marginal likelihood, the signal variance of each output profiled out.
    Likelihood,
    /// Least Σ eᵢ²/vᵢ of the left-out sites.
    LeaveOneOut,
}

/// Lengths between this many mean spacings …
const SHORTEST_SPACINGS: f64 = 0.25;
/// … and this many times the extent of the sites, beyond which any process looks like a polynomial. Our choice.
const LONGEST_SIDES: f64 = 20.0;
/// Range of w₂/w₁ and w₃/w₁: beyond it an order is as good as absent, or alone. Our choice.
const RATIO: (f64, f64) = (1e-4, 1e4);

/// The data and the form of the process, for any parameters.
pub(super) struct Estimation<'a> {
    pub(super) data: Sites<'a>,
    pub(super) monomials: MatRef<'a, f64>,
    pub(super) form: Correlation,
    pub(super) by: Estimate,
    /// Outputs that the trend does not explain.
    pub(super) outputs: Vec<usize>,
    pub(super) spacing: f64,
    pub(super) side: f64,
}

impl Estimation<'_> {
    fn bounds(&self) -> Vec<(f64, f64)> {
        let length = (
            (SHORTEST_SPACINGS * self.spacing).ln(),
            (LONGEST_SIDES * self.side).ln(),
        );
        let ratio = (RATIO.0.ln(), RATIO.1.ln());
        match self.form {
            Correlation::Isotropic { .. } => vec![length],
            Correlation::Anova { .. } => vec![length, length, length, ratio, ratio],
        }
    }

    /// Score and gradient by the correlation's parameters, and by ln λ.
    fn score(&self, logs: &[f64], smoothing: f64) -> Option<(f64, Vec<f64>, f64)> {
        let correlation = self.form.with_parameters(logs);
        let process = Process::new(&correlation, self.data, smoothing, self.monomials)?;
        let (value, slope) = match self.by {
            Estimate::Likelihood => process.likelihood(&self.outputs),
            Estimate::LeaveOneOut => process.leave_one_out(self.data)?,
        };
        let (gradient, noise) = contract(&slope, &correlation, self.data, smoothing);
        value
            .is_finite()
            .then(|| (value, gradient[..logs.len()].to_vec(), noise))
    }

    /// The parameters of least score for one λ, from those of the form.
    pub(super) fn at(&self, smoothing: f64) -> Option<Least> {
        least(&self.form.parameters(), &self.bounds(), |logs| {
            let (value, gradient, _) = self.score(logs, smoothing)?;
            Some((value, gradient))
        })
    }

    /// The parameters and λ within a range of least score, from those given: λ and the score.
    pub(super) fn with_smoothing(
        &self,
        from: &[f64],
        smoothing: f64,
        range: (f64, f64),
    ) -> Option<(f64, f64)> {
        let mut bounds = self.bounds();
        bounds.push((range.0.ln(), range.1.ln()));
        let mut start = from.to_vec();
        start.push(smoothing.ln());
        let found = least(&start, &bounds, |all| {
            let (noise, logs) = all.split_last()?;
            let (value, mut gradient, by_noise) = self.score(logs, noise.exp())?;
            gradient.push(by_noise);
            Some((value, gradient))
        })?;
        found.at.last().map(|noise| (noise.exp(), found.value))
    }
}

#[cfg(test)]
mod tests {
    use faer::Mat;

    use super::*;
    use crate::Smoothness;
    use crate::kriging::process::monomials;
    use crate::polynomial::Basis;

    /// Both scores, both forms: the gradient is that of central differences.
    #[test]
    fn gradients_are_those_of_differences() {
        let step = [0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901];
        let sites: Vec<[f64; 3]> = (1..=40)
            .map(|i| step.map(|s| (s * f64::from(i)).fract()))
            .collect();
        let wave = |s: &[f64; 3]| [(5.0 * s[0]).sin() + s[1], s[1] * s[2], (s[0] - s[2]).exp()];
        let values: Vec<[f64; 3]> = sites.iter().map(wave).collect();
        let noise: Vec<f64> = (0..40).map(|i| 0.5 + f64::from(i % 3)).collect();
        let data = Sites::new(&sites, &values).with_relative_variance(&noise);
        let trend: Mat<f64> = monomials(&Basis::new(1, &sites), &sites);
        let smoothness = Smoothness::Matern52;
        for form in [
            Correlation::Isotropic {
                smoothness,
                length: 0.5,
            },
            Correlation::Anova {
                smoothness,
                lengths: [0.6, 0.8, 0.7],
                weights: [0.5, 0.3, 0.2],
            },
        ] {
            for by in [Estimate::Likelihood, Estimate::LeaveOneOut] {
                let estimation = Estimation {
                    data,
                    monomials: trend.as_ref(),
                    form,
                    by,
                    outputs: vec![0, 1, 2],
                    spacing: 0.3,
                    side: 1.0,
                };
                let logs = form.parameters();
                let (_, gradient, by_noise) = estimation.score(&logs, 1e-3).unwrap();
                let h = 1e-5_f64;
                // Rounding of a score of some hundreds, 1e-12, ÷ step; third derivatives times step².
                let close = |got: f64, want: f64| (got - want).abs() < 1e-5 * (1.0 + want.abs());
                for (p, got) in gradient.iter().enumerate() {
                    let moved = |by: f64| {
                        let mut logs = logs.clone();
                        logs[p] += by;
                        estimation.score(&logs, 1e-3).unwrap().0
                    };
                    let difference = (moved(h) - moved(-h)) / (2.0 * h);
                    assert!(
                        close(*got, difference),
                        "{form:?} {by:?} {p}: {got} {difference}"
                    );
                }
                let noisier = |by: f64| estimation.score(&logs, 1e-3 * by.exp()).unwrap().0;
                let difference = (noisier(h) - noisier(-h)) / (2.0 * h);
                assert!(
                    close(by_noise, difference),
                    "{form:?} {by:?}: {by_noise} {difference}"
                );
            }
        }
    }
}
