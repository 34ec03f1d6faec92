use std::fmt;
use std::str::FromStr;

use evenstep_lut::{Offsets, TILE};

use crate::void_and_cluster::{SIDE, ranks};

/// How drives become codes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Dither {
    /// To the nearest code.
    #[default]
    None,
    /// To one of the two nearest codes, by a fixed array of thresholds: over every 64 × 64 pixels of one colour the mean
    /// is the drive, and what is added is fine-grained, without slow waves. The array is that of Ulichney's
    /// void-and-cluster method (Proc. SPIE 1913, 1993), the same for every picture, shifted from channel to channel.
    BlueNoise,
}

/// The text does not name a [`Dither`].
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{found:?} is not a way to dither; use none or blue-noise")]
pub struct ParseDitherError {
    /// The text found.
    pub found: String,
}

impl fmt::Display for Dither {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::None => "none",
            Self::BlueNoise => "blue-noise",
        })
    }
}

impl FromStr for Dither {
    type Err = ParseDitherError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            "none" => Ok(Self::None),
            "blue-noise" => Ok(Self::BlueNoise),
            _ => Err(ParseDitherError {
                found: text.to_owned(),
            }),
        }
    }
}

/// Where green and blue read the array, in pixels along both axes: with the same thresholds a grey would become lighter
/// and darker in all channels at once, which shows most. Our choice: a third and two thirds of the side.
const SHIFT: [usize; 3] = [0, 21, 42];

/// What is added before rounding, row by row of the array.
pub(crate) struct OffsetRows(Vec<Offsets>);

impl OffsetRows {
    pub(crate) fn new(dither: Dither) -> Self {
        const { assert!(SIDE == TILE, "thresholds repeat after a tile") };
        if dither == Dither::None {
            return Self(vec![[[0.0; 4]; TILE]]);
        }
        let ranks = ranks();
        let offset = |x: usize, y: usize| {
            let rank = ranks[y % SIDE * SIDE + x % SIDE];
            (f32::from(rank) + 0.5) / (SIDE * SIDE) as f32 - 0.5
        };
        let row = |y: usize| -> Offsets {
            std::array::from_fn(|x| {
                let [r, g, b] = SHIFT.map(|s| offset(x + s, y + s));
                [r, g, b, 0.0]
            })
        };
        Self((0..SIDE).map(row).collect())
    }

    /// Those of row `y` of a picture.
    pub(crate) fn row(&self, y: usize) -> &Offsets {
        &self.0[y % self.0.len()]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_read_back() {
        for dither in [Dither::None, Dither::BlueNoise] {
            assert_eq!(dither.to_string().parse(), Ok(dither));
        }
        assert!("ordered".parse::<Dither>().is_err());
    }

    #[test]
    fn each_channel_has_every_offset_once() {
        let rows = OffsetRows::new(Dither::BlueNoise);
        for channel in 0..3 {
            let mut all: Vec<f32> = (0..TILE)
                .flat_map(|y| rows.row(y).map(|o| o[channel]))
                .collect();
            all.sort_by(f32::total_cmp);
            let expected = (0..TILE * TILE).map(|i| (i as f32 + 0.5) / 4096.0 - 0.5);
            assert!(all.into_iter().eq(expected));
        }
    }
}
