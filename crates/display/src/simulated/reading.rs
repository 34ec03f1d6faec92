use evenstep_colour::Xyz;
use evenstep_readings::{PatchRequest, Reading};
use nalgebra::Vector3;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::{PanelModel, SimulatedPanel};

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
