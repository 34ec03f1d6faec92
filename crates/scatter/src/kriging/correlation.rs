//! Correlations between two places, with their derivatives by the logarithms of their parameters.

use multiversion::{multiversion, target::target_cfg_f};

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
    /// Correlation of two places a distance apart, in units of the length, of either sign; and its slope.
    pub fn correlation(self, distance: f64) -> (f64, f64) {
        let shape = self.shape(1.0);
        let square = (distance * shape).powi(2);
        let (value, fall) = match self {
            Self::Matern32 => radial::Matern32::radial::<false>(square),
            Self::Matern52 => radial::Matern52::radial::<false>(square),
            Self::SquaredExponential => radial::Gaussian::radial::<false>(square),
        };
        (value, fall * distance * shape * shape)
    }

    /// Replaces distances, in units of the length and of either sign, by their correlations, and fills in the slopes.
    ///
    /// # Panics
    /// When `slope` is shorter than `distance`.
    pub fn correlations(self, distance: &mut [f64], slope: &mut [f64]) {
        let slope = &mut slope[..distance.len()];
        let signed = distance.to_vec();
        for d in distance.iter_mut() {
            *d *= *d;
        }
        profile(self, distance, slope);
        // r d/dr, of which the slope is the quotient by r.
        for (slope, d) in slope.iter_mut().zip(signed) {
            *slope = if d == 0.0 { 0.0 } else { *slope / d };
        }
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

    /// C(at, xᵢ) for every site.
    pub(crate) fn column(&self, at: [f64; 3], sites: &[[f64; 3]], out: &mut [f64]) {
        let effects = self.effects(at, sites);
        match self {
            Self::Isotropic { .. } => out.copy_from_slice(&effects[0].value),
            Self::Anova { weights, .. } => {
                let [x, y, z] = &effects;
                for (i, out) in out.iter_mut().enumerate() {
                    let mean = means([x.value[i], y.value[i], z.value[i]]);
                    *out = (0..3).map(|d| weights[d] * mean[d]).sum();
                }
            }
        }
    }

    /// Σᵢ sᵢ ∂C(at, xᵢ) by each parameter; those beyond their number are 0.
    pub(crate) fn slopes(
        &self,
        at: [f64; 3],
        sites: &[[f64; 3]],
        s: impl Fn(usize) -> f64,
    ) -> [f64; PARAMETERS] {
        let effects = self.effects(at, sites);
        let mut sum = [0.0; PARAMETERS];
        match self {
            // d/d ln ℓ = −r d/dr.
            Self::Isotropic { .. } => {
                for (i, fall) in effects[0].fall.iter().enumerate() {
                    sum[0] -= s(i) * fall;
                }
            }
            Self::Anova { weights, .. } => {
                let [x, y, z] = &effects;
                let by_axis =
                    |p: f64, q: f64| (weights[0] + weights[1] * (p + q)) / 3.0 + weights[2] * p * q;
                for i in 0..sites.len() {
                    let s = s(i);
                    let k = [x.value[i], y.value[i], z.value[i]];
                    let mean = means(k);
                    let whole: f64 = (0..3).map(|d| weights[d] * mean[d]).sum();
                    sum[0] -= s * by_axis(k[1], k[2]) * x.fall[i];
                    sum[1] -= s * by_axis(k[0], k[2]) * y.fall[i];
                    sum[2] -= s * by_axis(k[0], k[1]) * z.fall[i];
                    sum[3] += s * weights[1] * (mean[1] - whole);
                    sum[4] += s * weights[2] * (mean[2] - whole);
                }
            }
        }
        sum
    }

    /// One-dimensional correlations: of the distance, or along each axis.
    fn effects(&self, at: [f64; 3], sites: &[[f64; 3]]) -> [Effect; 3] {
        match *self {
            Self::Isotropic { smoothness, length } => {
                let square = |site: &[f64; 3]| squared_distance(at, *site) / (length * length);
                let none = || Effect::default();
                [
                    Effect::new(smoothness, sites.iter().map(square)),
                    none(),
                    none(),
                ]
            }
            Self::Anova {
                smoothness,
                lengths,
                ..
            } => std::array::from_fn(|c| {
                let square = |site: &[f64; 3]| ((at[c] - site[c]) / lengths[c]).powi(2);
                Effect::new(smoothness, sites.iter().map(square))
            }),
        }
    }
}

/// Means of the products of one, two and three per-axis correlations.
fn means([x, y, z]: [f64; 3]) -> [f64; 3] {
    [(x + y + z) / 3.0, (x * y + x * z + y * z) / 3.0, x * y * z]
}

/// A one-dimensional correlation for every site, and its r d/dr.
#[derive(Default)]
struct Effect {
    value: Vec<f64>,
    fall: Vec<f64>,
}

impl Effect {
    /// From r² ÷ ℓ².
    fn new(smoothness: Smoothness, squares: impl Iterator<Item = f64>) -> Self {
        let mut value: Vec<f64> = squares.collect();
        let mut fall = vec![0.0; value.len()];
        profile(smoothness, &mut value, &mut fall);
        Self { value, fall }
    }
}

/// Replaces r² ÷ ℓ² by the correlation, and fills in its r d/dr.
#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl+avx2+fma", "x86_64+avx2+fma"))]
fn profile(smoothness: Smoothness, value: &mut [f64], fall: &mut [f64]) {
    const FMA: bool = target_cfg_f!(target_feature = "fma");
    match smoothness {
        Smoothness::Matern32 => profile_of::<FMA, radial::Matern32>(1.0, value, fall),
        Smoothness::Matern52 => profile_of::<FMA, radial::Matern52>(1.0, value, fall),
        Smoothness::SquaredExponential => profile_of::<FMA, radial::Gaussian>(0.5, value, fall),
    }
}

#[inline(always)]
fn profile_of<const FMA: bool, R: Radial>(scale: f64, value: &mut [f64], fall: &mut [f64]) {
    for (value, fall) in value.iter_mut().zip(fall) {
        let s = scale * *value;
        let (phi, psi) = R::radial::<FMA>(s);
        (*value, *fall) = (phi, psi * s);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Many at once are the same as one by one, to the rounding of fused operations.
    #[test]
    fn many_agree_with_one() {
        for smoothness in [
            Smoothness::Matern32,
            Smoothness::Matern52,
            Smoothness::SquaredExponential,
        ] {
            let distances: Vec<f64> = (-40..=40).map(|i| f64::from(i) * 0.07).collect();
            let (mut value, mut slope) = (distances.clone(), vec![0.0; distances.len()]);
            smoothness.correlations(&mut value, &mut slope);
            for (i, d) in distances.into_iter().enumerate() {
                let (one, fall) = smoothness.correlation(d);
                assert!((value[i] - one).abs() < 1e-14, "{smoothness:?} {d}");
                assert!((slope[i] - fall).abs() < 1e-14, "{smoothness:?} {d}");
            }
        }
    }

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
                let between = |correlation: Correlation, a, b| {
                    let mut out = [0.0];
                    correlation.column(a, &[b], &mut out);
                    out[0]
                };
                assert!((between(correlation, a, a) - 1.0).abs() < 1e-15);
                let logs = correlation.parameters();
                for p in 0..logs.len() {
                    let moved = |by: f64| {
                        let mut logs = logs.clone();
                        logs[p] += by;
                        between(correlation.with_parameters(&logs), a, b)
                    };
                    let step = 1e-5;
                    let difference = (moved(step) - moved(-step)) / (2.0 * step);
                    // Rounding 1e-16 ÷ step, and a third derivative of about 1.
                    assert!((correlation.slopes(a, &[b], |_| 1.0)[p] - difference).abs() < 1e-10);
                }
            }
        }
    }
}
