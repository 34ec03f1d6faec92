use evenstep_colour::{Chromaticity, Xyz};
use evenstep_readings::{PatchRequest, Reading};
use nalgebra::{Matrix3, Vector3};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::PanelModel;

/// A panel with known behaviour: the truth that fits and audits are tried against.
///
/// # The WRGB panel
/// Self-emissive, four sub-pixels, all figures invented for the purpose and none tuned to favour a scheme:
/// - drive to light: `l_c = max(0, (d − d0_c) / (1 − d0_c))^γ_c`; below `d0_c` the pixel does not light at all;
/// - the white sub-pixel takes `m`, the smooth minimum of the three lights (power mean of exponent −8): the colour
///   sub-pixels keep `l − 0.25·m`, the white one adds `0.55·m^1.12` of its own, bluer light, so that a full white is
///   brighter than its primaries together and the mixture between is not additive;
/// - supply loading: all light falls by `5 % × mean(l)`, as the panel draws more;
/// - each pair of channels steals 2 % of the product of its lights from the pair;
/// - a residual black of 0.0009 cd/m².
#[derive(Clone, Debug)]
pub struct SimulatedPanel {
    threshold: [f64; 3],
    exponent: [f64; 3],
    primaries: Matrix3<f64>,
    white_emitter: Vector3<f64>,
    black: Vector3<f64>,
}

impl SimulatedPanel {
    /// The WRGB self-emissive panel.
    #[must_use]
    pub fn wrgb() -> Self {
        let emitter = |x, y, cd_m2| Vector3::from(Chromaticity { x, y }.xyz_at(cd_m2).0);
        Self {
            threshold: [0.019, 0.015, 0.023],
            exponent: [2.25, 2.18, 2.31],
            primaries: Matrix3::from_columns(&[
                emitter(0.672, 0.321, 44.0),
                emitter(0.272, 0.671, 122.0),
                emitter(0.147, 0.058, 15.5),
            ]),
            white_emitter: emitter(0.287, 0.296, 145.0),
            black: emitter(0.31, 0.32, 0.0009),
        }
    }

    /// The panel of a name the command line uses: `wrgb`.
    #[must_use]
    pub fn by_name(name: &str) -> Option<Self> {
        (name == "wrgb").then(Self::wrgb)
    }

    /// Names [`by_name`](Self::by_name) knows.
    pub const NAMES: [&'static str; 1] = ["wrgb"];
}

impl PanelModel for SimulatedPanel {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        let light: [f64; 3] = std::array::from_fn(|c| {
            let above = (drive[c] - self.threshold[c]) / (1.0 - self.threshold[c]);
            above.max(0.0).powf(self.exponent[c])
        });
        let shared = smooth_minimum(light);
        let load = 1.0 - 0.05 * light.iter().sum::<f64>() / 3.0;
        let own = Vector3::from_fn(|c, _| {
            let pairs = light[c] * (light[(c + 1) % 3] + light[(c + 2) % 3]);
            light[c] - 0.25 * shared - 0.02 * pairs
        });
        let emitted = self.primaries * own + self.white_emitter * (0.55 * shared.powf(1.12));
        Xyz((self.black + load * emitted).into())
    }
}

/// Power mean of exponent −8: the least of the three with its corners rounded off.
fn smooth_minimum(light: [f64; 3]) -> f64 {
    if light.iter().any(|v| *v <= 0.0) {
        return 0.0;
    }
    let least = light.iter().copied().fold(f64::INFINITY, f64::min);
    let sum: f64 = light.iter().map(|v| (v / least).powi(-8)).sum();
    least * (sum / 3.0).powf(-0.125)
}

/// What an instrument and an hour of warming do to readings of a simulated panel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Disturbance {
    /// Scale of the noise: 1 is 0.15 % of the reading along the XYZ vector, 0.03 % across it, and a floor of
    /// 0.0004 cd/m² in every component; 0 is none.
    pub noise: f64,
    /// Relative change of all light from the first reading to the last.
    pub drift: f64,
    /// Share of readings, chosen at random, that are off by ±5 % of their light.
    pub outliers: f64,
}

/// Noise along the XYZ vector, relative.
const NOISE_ALONG: f64 = 0.0015;
/// Noise across it, relative.
const NOISE_ACROSS: f64 = 0.0003;
/// Floor, cd/m².
const NOISE_FLOOR: f64 = 0.0004;

/// Readings of a simulated panel at patches, in their order.
///
/// The same seed gives the same readings; the noise of one depends on the seed and its position only.
#[must_use]
pub fn simulate(
    panel: &SimulatedPanel,
    patches: &[PatchRequest],
    disturbance: Disturbance,
    seed: u64,
) -> Vec<Reading> {
    let last = patches.len().saturating_sub(1).max(1) as f64;
    patches
        .iter()
        .enumerate()
        .map(|(order, patch)| {
            let mut random = ChaCha8Rng::seed_from_u64(seed);
            random.set_stream(order as u64 + 1);
            let light = Vector3::from(panel.xyz(patch.drive).0)
                * (1.0 + disturbance.drift * order as f64 / last);
            let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
            let along = disturbance.noise * NOISE_ALONG * normal();
            let own = Vector3::from_fn(|_, _| normal());
            let floor = Vector3::from_fn(|_, _| normal());
            let direction = light.normalize();
            let across = own - direction * own.dot(&direction);
            let mut read = light * (1.0 + along)
                + disturbance.noise * (NOISE_ACROSS * light.norm() * across + NOISE_FLOOR * floor);
            if random.random::<f64>() < disturbance.outliers {
                read *= if random.random::<bool>() { 1.05 } else { 0.95 };
            }
            Reading {
                id: patch.id.clone(),
                drive: patch.drive,
                xyz: Xyz(read.into()),
                seconds: None,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn patches(count: usize, drive: f64) -> Vec<PatchRequest> {
        (0..count)
            .map(|i| PatchRequest {
                id: i.to_string(),
                drive: [drive; 3],
            })
            .collect()
    }

    const QUIET: Disturbance = Disturbance {
        noise: 0.0,
        drift: 0.0,
        outliers: 0.0,
    };

    #[test]
    fn without_disturbance_a_reading_is_the_light() {
        let panel = SimulatedPanel::wrgb();
        let read = simulate(&panel, &patches(3, 0.6), QUIET, 1);
        assert!(read.iter().all(|r| r.xyz == panel.xyz([0.6; 3])));
    }

    #[test]
    fn a_white_is_brighter_than_its_primaries_and_neutral_light_never_falls() {
        let panel = SimulatedPanel::wrgb();
        let sum: f64 = (0..3)
            .map(|c| {
                panel
                    .xyz(std::array::from_fn(|k| if k == c { 1.0 } else { 0.0 }))
                    .luminance_cd_m2()
            })
            .sum();
        assert!(panel.xyz([1.0; 3]).luminance_cd_m2() > 1.1 * sum);
        let mut last = 0.0;
        for i in 0..=1000 {
            let y = panel.xyz([f64::from(i) / 1000.0; 3]).luminance_cd_m2();
            assert!(y >= last, "falls at {i}");
            last = y;
        }
    }

    /// The spread of many readings is the stated noise: along the vector and relative.
    #[test]
    fn noise_has_the_stated_size() {
        let panel = SimulatedPanel::wrgb();
        let read = simulate(
            &panel,
            &patches(2000, 0.7),
            Disturbance {
                noise: 1.0,
                ..QUIET
            },
            7,
        );
        let y: Vec<f64> = read.iter().map(|r| r.xyz.luminance_cd_m2()).collect();
        let mean = y.iter().sum::<f64>() / 2000.0;
        let sd = (y.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 1999.0).sqrt();
        // Four standard errors of a standard deviation from 2000 draws (1/sqrt(2·1999) = 1.6 %), and 4 % for what
        // noise across the vector adds in Y.
        let relative = sd / mean;
        assert!((relative / NOISE_ALONG - 1.0).abs() < 0.1, "{relative}");
    }

    #[test]
    fn the_share_of_outliers_is_as_asked() {
        let panel = SimulatedPanel::wrgb();
        let read = simulate(
            &panel,
            &patches(2000, 0.7),
            Disturbance {
                outliers: 0.1,
                ..QUIET
            },
            3,
        );
        let off = read.iter().filter(|r| r.xyz != panel.xyz([0.7; 3])).count();
        // Four standard deviations of the binomial: sqrt(2000·0.1·0.9) = 13.4.
        assert!((146..=254).contains(&off), "{off}");
    }
}
