use crate::SKIN_END;
use serde::Serialize;

/// A part of the signal cube that colour figures are given for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Region {
    /// A 13³ lattice of signals.
    All,
    /// Neutral and near-neutral signals up to the near-black end.
    NearBlack,
    /// 129 neutral signals.
    Neutral,
    /// Around the line from black to light skin.
    Skin,
    /// Signals of the lattice whose channels differ by at least 0.6.
    Saturated,
}

/// One value for each region, in a fixed order.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Regions<T> {
    /// See [`Region::All`].
    pub all: T,
    /// See [`Region::NearBlack`].
    pub near_black: T,
    /// See [`Region::Neutral`].
    pub neutral: T,
    /// See [`Region::Skin`].
    pub skin: T,
    /// See [`Region::Saturated`].
    pub saturated: T,
}

impl<T> Regions<T> {
    /// A value computed for each region.
    pub fn from_fn(mut value: impl FnMut(Region) -> T) -> Self {
        Self {
            all: value(Region::All),
            near_black: value(Region::NearBlack),
            neutral: value(Region::Neutral),
            skin: value(Region::Skin),
            saturated: value(Region::Saturated),
        }
    }
}

impl<T> Regions<T> {
    /// A value made of each region's, with those of the same regions elsewhere.
    #[must_use]
    pub fn zip_with<U, V>(&self, other: &Regions<U>, value: impl Fn(&T, &U) -> V) -> Regions<V> {
        Regions {
            all: value(&self.all, &other.all),
            near_black: value(&self.near_black, &other.near_black),
            neutral: value(&self.neutral, &other.neutral),
            skin: value(&self.skin, &other.skin),
            saturated: value(&self.saturated, &other.saturated),
        }
    }
}

/// Levels along an axis of the lattice: not those of any usual LUT, so that its nodes are not what is looked at.
const LEVELS: usize = 13;
const NEUTRAL_LEVELS: usize = 129;
const DARK_LEVELS: usize = 6;
/// Difference of the channels from which a signal is saturated.
const SATURATED: f64 = 0.6;
/// Difference of the channels, as a share of the near-black end, up to which a dark signal is near-neutral.
const NEAR_NEUTRAL: f64 = 0.4;

impl Region {
    /// Signals of the region. `near_black_end` is where near-black ends.
    #[must_use]
    pub fn signals(self, near_black_end: f64) -> Vec<[f64; 3]> {
        match self {
            Self::All => lattice(LEVELS),
            Self::Saturated => lattice(LEVELS)
                .into_iter()
                .filter(|s| spread(*s) >= SATURATED)
                .collect(),
            Self::Neutral => (0..NEUTRAL_LEVELS)
                .map(|i| [i as f64 / (NEUTRAL_LEVELS - 1) as f64; 3])
                .collect(),
            Self::NearBlack => lattice(DARK_LEVELS)
                .into_iter()
                .filter(|s| Self::is_near_neutral(*s, 1.0))
                .map(|s| s.map(|v| v * near_black_end))
                .collect(),
            Self::Skin => skin(),
        }
    }

    /// Whether a signal with every channel up to `near_black_end` is of [`Region::NearBlack`].
    #[must_use]
    pub fn is_near_neutral(signal: [f64; 3], near_black_end: f64) -> bool {
        spread(signal) <= NEAR_NEUTRAL * near_black_end
    }

    /// Signals that stand for all there are in the region: those of a lattice are moved, each within its own cell, so
    /// that faces of the cube and nodes of a LUT are met as seldom as by any signal. `near_black_end` as before.
    #[must_use]
    pub fn strewn(self, near_black_end: f64) -> Vec<[f64; 3]> {
        match self {
            Self::All => strewn(LEVELS),
            Self::Saturated => strewn(LEVELS)
                .into_iter()
                .filter(|s| spread(*s) >= SATURATED)
                .collect(),
            Self::NearBlack => strewn(2 * DARK_LEVELS)
                .into_iter()
                .filter(|s| Self::is_near_neutral(*s, 1.0))
                .map(|s| s.map(|v| v * near_black_end))
                .collect(),
            Self::Neutral | Self::Skin => self.signals(near_black_end),
        }
    }
}

/// One signal in each cell of a lattice, by the additive recurrence of powers of 1/1.2207…, the root of x⁴ = x + 1: the golden
/// ratio's kin in three dimensions. Common practice, no source.
fn strewn(cells: usize) -> Vec<[f64; 3]> {
    let step = [0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901];
    let corners = lattice(cells).into_iter().zip(0_u32..);
    corners
        .map(|(corner, i)| {
            std::array::from_fn(|c| {
                let cell = (corner[c] * (cells - 1) as f64).round();
                (cell + (step[c] * f64::from(i)).fract()) / cells as f64
            })
        })
        .collect()
}

fn lattice(levels: usize) -> Vec<[f64; 3]> {
    let at = |i: usize| i as f64 / (levels - 1) as f64;
    let mut all = Vec::with_capacity(levels * levels * levels);
    for b in 0..levels {
        for g in 0..levels {
            all.extend((0..levels).map(|r| [at(r), at(g), at(b)]));
        }
    }
    all
}

fn spread(signal: [f64; 3]) -> f64 {
    signal.iter().copied().fold(0.0, f64::max) - signal.iter().copied().fold(1.0, f64::min)
}

/// The skin line of the audit's content ramps with a few per cent of variation in each channel.
fn skin() -> Vec<[f64; 3]> {
    let mut all = Vec::new();
    for i in 1..=12 {
        let light = f64::from(i) / 12.0;
        for change in [
            [0.0; 3],
            [0.05, 0.0, -0.03],
            [-0.04, 0.0, 0.05],
            [0.0, -0.05, -0.05],
        ] {
            all.push(std::array::from_fn(|c| light * (SKIN_END[c] + change[c])));
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_region_has_signals_in_range() {
        Regions::from_fn(|region| {
            for signals in [region.signals(0.1), region.strewn(0.1)] {
                assert!(signals.len() >= 40, "{region:?}: {}", signals.len());
                assert!(
                    signals.iter().flatten().all(|v| (0.0..=1.0).contains(v)),
                    "{region:?}"
                );
            }
        });
    }

    /// One signal in every cell, and their mean that of the cube.
    #[test]
    fn strewn_signals_fill_the_cube_evenly() {
        let signals = Region::All.strewn(0.1);
        let mut cells: Vec<[usize; 3]> = signals
            .iter()
            .map(|s| s.map(|v| (v * LEVELS as f64) as usize))
            .collect();
        cells.sort_unstable();
        cells.dedup();
        assert_eq!(cells.len(), LEVELS.pow(3));
        for c in 0..3 {
            let mean = signals.iter().map(|s| s[c]).sum::<f64>() / signals.len() as f64;
            assert!((mean - 0.5).abs() < 2e-3, "{mean}");
        }
    }
}
