use std::fmt;

use evenstep_colour::Xyz;
use evenstep_display::{Disturbance, SimulatedPanel, simulate};
use evenstep_readings::{PatchRequest, Reading};
use rand::seq::index::sample;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde::{Deserialize, Serialize};

/// How readings are taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Condition {
    /// The usual instrument.
    Ordinary,
    /// A bad hour: gross outliers, slow drift with anchors between, and more noise.
    Rough,
}

impl fmt::Display for Condition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Ordinary => "ordinary",
            Self::Rough => "rough",
        })
    }
}

/// Noise of rough readings beside the usual instrument's.
const ROUGH_NOISE: f64 = 1.5;
/// Change of all light from the first rough reading to the last.
const ROUGH_DRIFT: f64 = 0.006;
/// Share of rough readings that are gross outliers, one at least.
const ROUGH_OUTLIERS: f64 = 0.006;
/// What a gross outlier is off by, as those of [`Disturbance`].
const OFF_BY: f64 = 0.05;
/// Patches between two anchors. Our choice.
const BETWEEN_ANCHORS: usize = 20;
/// Drives of the anchors: they drift by what can be measured, unlike black.
const ANCHORS: [[f64; 3]; 2] = [[1.0; 3], [0.5; 3]];
/// Outliers are drawn apart from the noise.
const OUTLIER_STREAM: u64 = u64::MAX;

impl Condition {
    /// Readings of a panel, in their order, and the ids of the gross outliers among them.
    pub(super) fn read(
        self,
        panel: &SimulatedPanel,
        patches: &[PatchRequest],
        seed: u64,
    ) -> (Vec<Reading>, Vec<String>) {
        let disturbance = |noise, drift| Disturbance {
            noise,
            drift,
            outliers: 0.0,
        };
        match self {
            Self::Ordinary => (
                simulate(panel, patches, disturbance(1.0, 0.0), seed),
                Vec::new(),
            ),
            Self::Rough => {
                let patches = anchored(patches);
                let how = disturbance(ROUGH_NOISE, ROUGH_DRIFT);
                let mut readings = simulate(panel, &patches, how, seed);
                let off = outliers(&mut readings, seed);
                (readings, off)
            }
        }
    }
}

/// Patches with anchors before them and after every few.
fn anchored(patches: &[PatchRequest]) -> Vec<PatchRequest> {
    let mut all: Vec<PatchRequest> = Vec::new();
    let anchors = || {
        ANCHORS.map(|drive| PatchRequest {
            id: String::new(),
            drive,
        })
    };
    for some in patches.chunks(BETWEEN_ANCHORS) {
        all.extend(anchors());
        all.extend(some.iter().cloned());
    }
    all.extend(anchors());
    for (i, patch) in all.iter_mut().enumerate() {
        patch.id = (i + 1).to_string();
    }
    all
}

/// Puts an exact number of readings off. Black is spared: 5 % of it is below the noise, which is no gross error.
fn outliers(readings: &mut [Reading], seed: u64) -> Vec<String> {
    let lit: Vec<usize> = (0..readings.len())
        .filter(|i| readings[*i].drive != [0.0; 3])
        .collect();
    let count = ((ROUGH_OUTLIERS * readings.len() as f64).round() as usize).max(1);
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    random.set_stream(OUTLIER_STREAM);
    let mut chosen = sample(&mut random, lit.len(), count.min(lit.len())).into_vec();
    chosen.sort_unstable();
    chosen
        .into_iter()
        .map(|i| {
            let reading = &mut readings[lit[i]];
            let factor = if random.random::<bool>() {
                1.0 + OFF_BY
            } else {
                1.0 - OFF_BY
            };
            reading.xyz = Xyz(reading.xyz.0.map(|v| factor * v));
            reading.id.clone()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patches;

    #[test]
    fn rough_readings_have_the_stated_number_of_outliers_and_anchors_all_along() {
        let panel = SimulatedPanel::by_name("lcd").unwrap();
        for (count, outliers) in [(101, 1), (343, 2), (1000, 7)] {
            let (readings, off) = Condition::Rough.read(&panel, &patches(count), 3);
            assert_eq!(off.len(), outliers, "{count}");
            let again = Condition::Rough.read(&panel, &patches(count), 3);
            assert_eq!((readings.clone(), off), again);
            let anchored = |some: &[Reading]| some.iter().any(|r| r.drive == ANCHORS[1]);
            assert!(
                readings
                    .windows(BETWEEN_ANCHORS + ANCHORS.len())
                    .all(anchored)
            );
        }
    }
}
