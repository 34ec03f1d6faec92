//! Correlations between two places, with their derivatives by the logarithms of their parameters.

use crate::radial::{self, Radial};
use crate::sites::squared_distance;

/// How smooth the process is: its correlation along one direction, at distance r, with length ℓ.
///
/// # Source
/// Rasmussen & Williams (2006), equations 4.9 and 4.17 (from memory).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Smoothness {
    /// (1 + √3 r/ℓ) exp(−√3 r/ℓ): once differentiable.
    Matern32,
    /// (1 + √5 r/ℓ + 5r²/3ℓ²) exp(−√5 r/ℓ): twice differentiable.
    Matern52,
    /// exp(−r²/2ℓ²): analytic.
    SquaredExponential,
}

impl Smoothness {
    /// Value and (d value / dr) · r, at r² ÷ ℓ².
    fn at(self, square: f64) -> (f64, f64) {
        // Scalars: nothing to fuse, nothing to dispatch.
        let ((value, psi), s) = match self {
            Self::Matern32 => (radial::Matern32::radial::<false>(square), square),
            Self::Matern52 => (radial::Matern52::radial::<false>(square), square),
            Self::SquaredExponential => (
                radial::Gaussian::radial::<false>(0.5 * square),
                0.5 * square,
            ),
        };
        (value, psi * s)
    }

    /// What a length is multiplied with to become the ε of the radial kernels.
    pub(crate) fn shape(self, length: f64) -> f64 {
        match self {
            Self::Matern32 | Self::Matern52 => 1.0 / length,
            Self::SquaredExponential => std::f64::consts::FRAC_1_SQRT_2 / length,
        }
    }
}

/// A correlation of two places: 1 where they coincide.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Correlation {
    /// Of their distance alone.
    Isotropic { smoothness: Smoothness, length: f64 },
    /// Σ_d w_d e_d with e₁, e₂, e₃ the means of the products of one, two and three per-axis correlations.
    Anova {
        smoothness: Smoothness,
        lengths: [f64; 3],
        /// w₁, w₂, w₃: main effects, pairs, all three; they add up to 1.
        weights: [f64; 3],
    },
}

/// Most parameters of any correlation.
pub(crate) const PARAMETERS: usize = 5;

impl Correlation {
    /// Logarithms of the lengths, then of w₂/w₁ and w₃/w₁.
    pub(crate) fn parameters(&self) -> Vec<f64> {
        match self {
            Self::Isotropic { length, .. } => vec![length.ln()],
            Self::Anova {
                lengths, weights, ..
            } => {
                let logs = lengths.iter().map(|l| l.ln());
                let ratios = weights[1..].iter().map(|w| (w / weights[0]).ln());
                logs.chain(ratios).collect()
            }
        }
    }

    /// The same form with these parameters.
    pub(crate) fn with_parameters(self, logs: &[f64]) -> Self {
        match self {
            Self::Isotropic { smoothness, .. } => Self::Isotropic {
                smoothness,
                length: logs[0].exp(),
            },
            Self::Anova { smoothness, .. } => {
                let raw = [1.0, logs[3].exp(), logs[4].exp()];
                let sum: f64 = raw.iter().sum();
                Self::Anova {
                    smoothness,
                    lengths: [logs[0].exp(), logs[1].exp(), logs[2].exp()],
                    weights: raw.map(|w| w / sum),
                }
            }
        }
    }

    pub(crate) fn between(&self, a: [f64; 3], b: [f64; 3]) -> f64 {
        match self {
            Self::Isotropic { smoothness, length } => {
                smoothness.at(squared_distance(a, b) / (length * length)).0
            }
            Self::Anova { weights, .. } => {
                let effects = self.effects(a, b);
                (0..3).map(|d| weights[d] * effects.mean[d]).sum()
            }
        }
    }

    /// Derivatives by the parameters; those beyond their number are 0.
    pub(crate) fn slopes(&self, a: [f64; 3], b: [f64; 3]) -> [f64; PARAMETERS] {
        match self {
            // d/d ln ℓ = −r d/dr.
            Self::Isotropic { smoothness, length } => {
                let fall = smoothness.at(squared_distance(a, b) / (length * length)).1;
                [-fall, 0.0, 0.0, 0.0, 0.0]
            }
            Self::Anova { weights, .. } => {
                let effects = self.effects(a, b);
                let [k0, k1, k2] = effects.axis;
                let whole: f64 = (0..3).map(|d| weights[d] * effects.mean[d]).sum();
                let by_axis =
                    |p: f64, q: f64| (weights[0] + weights[1] * (p + q)) / 3.0 + weights[2] * p * q;
                [
                    -by_axis(k1, k2) * effects.fall[0],
                    -by_axis(k0, k2) * effects.fall[1],
                    -by_axis(k0, k1) * effects.fall[2],
                    weights[1] * (effects.mean[1] - whole),
                    weights[2] * (effects.mean[2] - whole),
                ]
            }
        }
    }

    fn effects(&self, a: [f64; 3], b: [f64; 3]) -> Effects {
        let Self::Anova {
            smoothness,
            lengths,
            ..
        } = self
        else {
            return Effects::default();
        };
        let mut effects = Effects::default();
        for c in 0..3 {
            let t = (a[c] - b[c]) / lengths[c];
            (effects.axis[c], effects.fall[c]) = smoothness.at(t * t);
        }
        let [k0, k1, k2] = effects.axis;
        effects.mean = [
            (k0 + k1 + k2) / 3.0,
            (k0 * k1 + k0 * k2 + k1 * k2) / 3.0,
            k0 * k1 * k2,
        ];
        effects
    }
}

/// Per-axis correlations, their r d/dr, and the means of their products of one, two and three.
#[derive(Default)]
struct Effects {
    axis: [f64; 3],
    fall: [f64; 3],
    mean: [f64; 3],
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slopes_are_the_derivatives_by_the_logarithms() {
        let (a, b) = ([0.1, 0.7, 0.3], [0.4, 0.2, 0.35]);
        for smoothness in [
            Smoothness::Matern32,
            Smoothness::Matern52,
            Smoothness::SquaredExponential,
        ] {
            let both = [
                Correlation::Isotropic {
                    smoothness,
                    length: 0.6,
                },
                Correlation::Anova {
                    smoothness,
                    lengths: [0.5, 0.8, 0.3],
                    weights: [0.5, 0.3, 0.2],
                },
            ];
            for correlation in both {
                assert!((correlation.between(a, a) - 1.0).abs() < 1e-15);
                let logs = correlation.parameters();
                for p in 0..logs.len() {
                    let moved = |by: f64| {
                        let mut logs = logs.clone();
                        logs[p] += by;
                        correlation.with_parameters(&logs).between(a, b)
                    };
                    let step = 1e-5;
                    let difference = (moved(step) - moved(-step)) / (2.0 * step);
                    // Rounding 1e-16 ÷ step, and a third derivative of about 1.
                    assert!((correlation.slopes(a, b)[p] - difference).abs() < 1e-10);
                }
            }
        }
    }
}
