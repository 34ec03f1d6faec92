//! Noise of the instrument and the panel, as a variance for every reading.

use evenstep_colour::{Chromaticity, Xyz};
use nalgebra::{Matrix3, Vector3};

use crate::Readings;

/// Fewest repeats beyond the first that an estimate rests on. Our choice, because with six the standard
/// deviation is known to about 30 % (1/√(2·6)); with fewer the assumed noise is the better guess.
const MIN_SPARE_READINGS: usize = 6;

/// Smallest floor reported, cd/m². Our choice, because it keeps every variance positive and lies far below what
/// any instrument resolves.
const MIN_FLOOR_CD_M2: f64 = 1e-6;

/// Standard deviation of a reading as a function of the colour read.
///
/// With v = (X, Y, Z) and u = v/‖v‖:
/// Σ(v) = a²‖v‖²·u uᵀ + c²‖v‖²·(I − u uᵀ) + f²·I, where a is [`relative_along`](Self::relative_along), c is
/// [`relative_across`](Self::relative_across) and f is [`floor_cd_m2`](Self::floor_cd_m2).
///
/// # Source
/// The form is this project's own. It follows two statements in the abstract of Raitoharju, Kallio & Pellikka,
/// "A statistical model of tristimulus measurements within and between OLED displays", arXiv:1608.08596 (2016):
/// most of the noise lies along the vector from the origin to the colour, and it depends on that colour alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoiseModel {
    /// Standard deviation along the colour's own direction, relative to its length: repeatability of luminance.
    pub relative_along: f64,
    /// Standard deviation in each of the two directions across it, relative to its length: repeatability of
    /// chromaticity.
    pub relative_across: f64,
    /// Standard deviation that stays when the light goes to zero, in cd/m², alike in all directions.
    pub floor_cd_m2: f64,
}

/// What the repeats of one patch say: squared length of the mean, spare readings, and the sums of squares along
/// and across.
struct Spread {
    length2: f64,
    spare: f64,
    along: f64,
    across: f64,
}

impl NoiseModel {
    /// Noise to assume when nothing is known.
    ///
    /// Our choice, because no published figures were available: repeats of two real displays gave 0.12 % and
    /// 0.14 % along, 0.02 % and 0.01 % across and floors of 0.02 and 0.04 cd/m² by the estimate below; these are
    /// rounded up, but for the floor, which lies between. Too much noise smooths a little; too little lets noise
    /// through as steps.
    #[must_use]
    pub const fn assumed() -> Self {
        Self {
            relative_along: 0.002,
            relative_across: 0.0003,
            floor_cd_m2: 0.03,
        }
    }

    /// Noise estimated from repeats by maximum likelihood, or `None` when there are fewer than six repeats
    /// beyond first readings.
    ///
    /// Residuals about a patch's mean are split along the mean's direction and across it; with ν spare readings
    /// the sums of squares have ν and 2ν degrees of freedom and variances a²‖v‖² + f² and c²‖v‖² + f². The three
    /// components are found by the multiplicative iteration for variance components, which raises the likelihood
    /// at every step and never leaves the positive range. Patches with a reading of exactly zero in all three
    /// components are left out: the instrument clipped them, and their agreement is not repeatability.
    /// An outlier among the repeats inflates the estimate: it is not robust.
    ///
    /// # Source
    /// Zhou, Hu, Zhou & Lange, "MM algorithms for variance components models", J. Comput. Graph. Stat. 28(2),
    /// 2019 (cited from memory; the update is also derived by setting the minorised likelihood's slope to zero).
    #[must_use]
    pub fn from_repeats(readings: &Readings) -> Option<Self> {
        let spreads: Vec<Spread> = readings.patches.iter().filter_map(Spread::of).collect();
        let spare: f64 = spreads.iter().map(|s| s.spare).sum();
        if spare < MIN_SPARE_READINGS as f64 {
            return None;
        }
        // Light so bright that its square is no number any more leaves nothing to estimate.
        Some(maximise(&spreads)).filter(|m| m.luminance_sd(1.0).is_finite())
    }

    /// Covariance of one reading of `xyz`, in (cd/m²)². Positive definite.
    #[must_use]
    pub fn variance_of(&self, xyz: Xyz) -> Matrix3<f64> {
        let v = Vector3::from(xyz.0);
        let (a2, c2, f2) = self.squares();
        Matrix3::identity() * (c2 * v.norm_squared() + f2) + v * v.transpose() * (a2 - c2)
    }

    /// Standard deviations of X, Y and Z of one reading of `xyz`, in cd/m².
    #[must_use]
    pub fn standard_deviations(&self, xyz: Xyz) -> [f64; 3] {
        let variance = self.variance_of(xyz);
        [0, 1, 2].map(|i| variance[(i, i)].sqrt())
    }

    /// Standard deviation of the luminance of one reading of a D65 colour of this luminance, in cd/m².
    #[must_use]
    pub fn luminance_sd(&self, cd_m2: f64) -> f64 {
        let Chromaticity { x, y } = Chromaticity::D65;
        let scale = cd_m2 / y;
        self.standard_deviations(Xyz([x * scale, cd_m2, (1.0 - x - y) * scale]))[1]
    }

    fn squares(&self) -> (f64, f64, f64) {
        (
            self.relative_along.powi(2),
            self.relative_across.powi(2),
            self.floor_cd_m2.powi(2),
        )
    }
}

impl Spread {
    fn of(patch: &crate::Patch) -> Option<Self> {
        let clipped = |xyz: &Xyz| xyz.0 == [0.0; 3];
        if patch.repeats.len() < 2 || patch.repeats.iter().any(clipped) {
            return None;
        }
        let mean = Vector3::from(patch.xyz().0);
        let direction = mean.try_normalize(0.0)?;
        let (mut along, mut across) = (0.0, 0.0);
        for reading in &patch.repeats {
            let residual = Vector3::from(reading.0) - mean;
            let r = residual.dot(&direction);
            along += r * r;
            across += (residual - direction * r).norm_squared();
        }
        Some(Self {
            length2: mean.norm_squared(),
            spare: (patch.repeats.len() - 1) as f64,
            along,
            across,
        })
    }
}

/// Maximum of the likelihood over the three variance components.
fn maximise(spreads: &[Spread]) -> NoiseModel {
    // Enough for every set tried to settle to a part in 10⁹; components that vanish do so slowly, harmlessly.
    const ROUNDS: usize = 5000;
    const SETTLED: f64 = 1e-9;
    let mean = |f: fn(&Spread) -> f64| {
        let sum: f64 = spreads.iter().map(f).sum();
        (sum / spreads.len() as f64).max(MIN_FLOOR_CD_M2.powi(2))
    };
    // Any positive start will do; this one is of the right size.
    let relative = mean(|s| (s.along + s.across) / (3.0 * s.spare * s.length2));
    let (mut a, mut c) = (relative, relative);
    let mut f = mean(|s| (s.along + s.across) / (3.0 * s.spare));
    for _ in 0..ROUNDS {
        let (mut up, mut down) = ([0.0; 3], [0.0; 3]);
        for s in spreads {
            let (va, vc) = (a * s.length2 + f, c * s.length2 + f);
            let (pull_a, pull_c) = (s.along / (va * va), s.across / (vc * vc));
            let (weight_a, weight_c) = (s.spare / va, 2.0 * s.spare / vc);
            up[0] += pull_a * s.length2;
            down[0] += weight_a * s.length2;
            up[1] += pull_c * s.length2;
            down[1] += weight_c * s.length2;
            up[2] += pull_a + pull_c;
            down[2] += weight_a + weight_c;
        }
        let step = [0, 1, 2].map(|i| (up[i] / down[i]).sqrt());
        a *= step[0];
        c *= step[1];
        f = (f * step[2]).max(MIN_FLOOR_CD_M2.powi(2));
        if step.iter().all(|s| (s - 1.0).abs() < SETTLED) {
            break;
        }
    }
    NoiseModel {
        relative_along: a.sqrt(),
        relative_across: c.sqrt(),
        floor_cd_m2: f.sqrt(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Patch;
    use proptest::prelude::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    /// Normal deviates from a fixed seed.
    fn deviates(count: usize) -> Vec<f64> {
        let rng = ChaCha8Rng::seed_from_u64(7);
        StandardNormal.sample_iter(rng).take(count).collect()
    }

    /// Patches of rising luminance and turning hue, read `repeats` times with this noise.
    fn noisy(truth: &NoiseModel, patches: usize, repeats: usize) -> Readings {
        let mut deviates = deviates(3 * patches * repeats).into_iter();
        let patch = |order: usize| {
            let t = order as f64 / (patches - 1) as f64;
            let y = 0.05 * 4000.0_f64.powf(t);
            let mean = Vector3::new(y * (0.6 + 0.5 * t), y, y * (1.4 - t));
            let root = truth.variance_of(Xyz(mean.into())).cholesky().unwrap().l();
            let mut read = || {
                let e: [f64; 3] = std::array::from_fn(|_| deviates.next().unwrap());
                Xyz((mean + root * Vector3::from(e)).into())
            };
            Patch {
                id: order.to_string(),
                drive: [t; 3],
                repeats: (0..repeats).map(|_| read()).collect(),
                order,
                later: vec![order; repeats - 1],
                doubt: 1.0,
            }
        };
        Readings {
            patches: (0..patches).map(patch).collect(),
        }
    }

    /// Four standard errors of a standard deviation from about 500 spare readings, 1/√(2·500) each, rounded up.
    const SAMPLING: f64 = 0.15;

    #[test]
    fn the_estimate_finds_the_noise_that_was_put_in() {
        let truth = NoiseModel {
            relative_along: 0.004,
            relative_across: 0.0007,
            floor_cd_m2: 0.02,
        };
        let found = NoiseModel::from_repeats(&noisy(&truth, 250, 5)).unwrap();
        for (got, put) in [
            (found.relative_along, truth.relative_along),
            (found.relative_across, truth.relative_across),
            (found.floor_cd_m2, truth.floor_cd_m2),
        ] {
            assert!(
                (got / put - 1.0).abs() < SAMPLING,
                "got {got}, put in {put}"
            );
        }
    }

    #[test]
    fn without_enough_repeats_there_is_no_estimate() {
        let truth = NoiseModel::assumed();
        assert_eq!(NoiseModel::from_repeats(&noisy(&truth, 50, 1)), None);
        assert_eq!(NoiseModel::from_repeats(&noisy(&truth, 5, 2)), None);
        assert!(NoiseModel::from_repeats(&noisy(&truth, 6, 2)).is_some());
        assert_eq!(NoiseModel::from_repeats(&Readings::default()), None);
    }

    #[test]
    fn identical_repeats_give_a_variance_above_zero() {
        let mut readings = noisy(&NoiseModel::assumed(), 20, 2);
        for patch in &mut readings.patches {
            patch.repeats[1] = patch.repeats[0];
        }
        let found = NoiseModel::from_repeats(&readings).unwrap();
        assert!(
            found.luminance_sd(100.0) > 0.0 && found.luminance_sd(100.0) < 1e-3,
            "{found:?}"
        );
    }

    proptest! {
        /// Along the colour the variance is a²‖v‖² + f², across it c²‖v‖² + f².
        #[test]
        fn the_covariance_has_the_stated_variances(v in [0.1_f64..100.0, 0.1_f64..100.0, 0.1_f64..100.0]) {
            let noise = NoiseModel { relative_along: 0.01, relative_across: 0.002, floor_cd_m2: 0.05 };
            let v = Vector3::from(v);
            let variance = noise.variance_of(Xyz(v.into()));
            let along = v.normalize();
            let across = along.cross(&Vector3::new(0.3, -0.9, 0.2)).normalize();
            let expected = |relative: f64| relative * relative * v.norm_squared() + 0.05 * 0.05;
            for (direction, relative) in [(along, 0.01), (across, 0.002)] {
                let got = (direction.transpose() * variance * direction)[0];
                prop_assert!((got / expected(relative) - 1.0).abs() < 1e-10);
            }
        }

        /// In brighter units, relative noise stays and the floor follows.
        #[test]
        fn the_estimate_scales_with_the_unit(scale in 0.1_f64..10.0) {
            let mut readings = noisy(&NoiseModel::assumed(), 30, 3);
            let before = NoiseModel::from_repeats(&readings).unwrap();
            for patch in &mut readings.patches {
                for xyz in &mut patch.repeats {
                    xyz.0 = xyz.0.map(|v| v * scale);
                }
            }
            let after = NoiseModel::from_repeats(&readings).unwrap();
            prop_assert!((after.relative_along / before.relative_along - 1.0).abs() < 1e-4);
            prop_assert!((after.floor_cd_m2 / before.floor_cd_m2 / scale - 1.0).abs() < 1e-4);
        }
    }
}
