use serde::Serialize;

use crate::CodeScale;

/// Why a ramp cannot be walked.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RampError {
    /// An end lies outside the signal range or is not a number.
    #[error(
        "ramp {name}: channel {channel} ends at {found}, but signals lie in 0..=1; correct the end point"
    )]
    OutOfRange {
        /// The ramp's name.
        name: String,
        /// 0 red, 1 green, 2 blue.
        channel: usize,
        /// The value given.
        found: f64,
    },
    /// Both ends are the same colour.
    #[error("ramp {name}: both ends are the same colour; give two different end points")]
    NoLength {
        /// The ramp's name.
        name: String,
    },
}

/// A straight line between two signals, walked code by code.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ramp {
    name: String,
    from: [f64; 3],
    to: [f64; 3],
}

/// Share of the signal that counts as near black unless another is asked for. Our choice, the trade's habit.
pub const NEAR_BLACK: f64 = 0.10;

/// The colour of light skin in bright light; the skin ramp runs to it from black.
///
/// Our choice. In a power-law signal a straight line from black keeps its chromaticity, so the ramp is one
/// surface under falling light. No published end points are claimed.
pub const SKIN_END: [f64; 3] = [0.90, 0.70, 0.60];
/// The colour of a clear sky; the sky ramp runs to it from black. Our choice, as for [`SKIN_END`].
pub const SKY_END: [f64; 3] = [0.55, 0.75, 0.95];
/// The colour of leaves in sunlight; the foliage ramp runs to it from black. Our choice, as for [`SKIN_END`].
pub const FOLIAGE_END: [f64; 3] = [0.45, 0.60, 0.25];

const NAMED: [(&str, [f64; 3]); 10] = [
    ("neutral", [1.0, 1.0, 1.0]),
    ("red", [1.0, 0.0, 0.0]),
    ("green", [0.0, 1.0, 0.0]),
    ("blue", [0.0, 0.0, 1.0]),
    ("cyan", [0.0, 1.0, 1.0]),
    ("magenta", [1.0, 0.0, 1.0]),
    ("yellow", [1.0, 1.0, 0.0]),
    ("skin", SKIN_END),
    ("sky", SKY_END),
    ("foliage", FOLIAGE_END),
];

impl Ramp {
    /// A ramp between two signals.
    ///
    /// It is walked from the darker to the lighter end (smaller to larger sum of channels), whichever is
    /// given first, because every gradation figure is about rising ramps.
    ///
    /// # Errors
    /// [`RampError::OutOfRange`] for a channel outside [0, 1]; [`RampError::NoLength`] for equal ends.
    pub fn new(name: impl Into<String>, from: [f64; 3], to: [f64; 3]) -> Result<Self, RampError> {
        let name = name.into();
        for end in [from, to] {
            for (channel, found) in end.into_iter().enumerate() {
                if !(0.0..=1.0).contains(&found) {
                    return Err(RampError::OutOfRange {
                        name,
                        channel,
                        found,
                    });
                }
            }
        }
        if from == to {
            return Err(RampError::NoLength { name });
        }
        let rises = from.iter().sum::<f64>() <= to.iter().sum::<f64>();
        let (from, to) = if rises { (from, to) } else { (to, from) };
        Ok(Self { name, from, to })
    }

    /// The ten ramps every audit walks: neutral, the primaries, their pairs, and skin, sky and foliage.
    #[must_use]
    pub fn named() -> Vec<Self> {
        NAMED
            .iter()
            .map(|&(name, to)| Self {
                name: name.into(),
                from: [0.0; 3],
                to,
            })
            .collect()
    }

    /// The ramp's name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Signal at the dark end.
    #[must_use]
    pub fn from(&self) -> [f64; 3] {
        self.from
    }

    /// Signal at the light end.
    #[must_use]
    pub fn to(&self) -> [f64; 3] {
        self.to
    }

    /// Whether the ramp lies on the neutral axis.
    #[must_use]
    pub fn is_neutral(&self) -> bool {
        let grey = |c: [f64; 3]| c[0] == c[1] && c[1] == c[2];
        grey(self.from) && grey(self.to)
    }

    /// Which channels rise along the ramp.
    #[must_use]
    pub fn rising(&self) -> [bool; 3] {
        [0, 1, 2].map(|c| self.to[c] > self.from[c])
    }

    /// Codes and signals along the ramp at a source depth.
    ///
    /// The channel that changes most takes every whole code between its ends; the others follow on the
    /// straight line without rounding, so that the ramp itself is smooth and what shows is the LUT's.
    #[must_use]
    pub fn walk(&self, scale: CodeScale) -> Walk {
        let mut lead = 0;
        for c in 1..3 {
            if (self.to[c] - self.from[c]).abs() > (self.to[lead] - self.from[lead]).abs() {
                lead = c;
            }
        }
        let first = scale.nearest_code(self.from[lead]);
        let last = scale.nearest_code(self.to[lead]);
        let codes: Vec<u32> = if first <= last {
            (first..=last).collect()
        } else {
            (last..=first).rev().collect()
        };
        let span = self.to[lead] - self.from[lead];
        // Channels with the leading channel's ends get its very signal: a grey ramp stays exactly grey.
        let with_lead =
            [0, 1, 2].map(|c| self.from[c] == self.from[lead] && self.to[c] == self.to[lead]);
        let signals = codes
            .iter()
            .map(|&code| {
                let at = scale.signal_from_code(f64::from(code));
                let t = (at - self.from[lead]) / span;
                [0, 1, 2].map(|c| {
                    if with_lead[c] {
                        at
                    } else {
                        // The nearest whole code may lie a little beyond an end.
                        (self.from[c] + t * (self.to[c] - self.from[c])).clamp(0.0, 1.0)
                    }
                })
            })
            .collect();
        Walk { codes, signals }
    }
}

/// The codes of a ramp's leading channel and the signals they stand for; equal lengths.
#[derive(Clone, Debug, PartialEq)]
pub struct Walk {
    /// Code of the channel that changes most.
    pub codes: Vec<u32>,
    /// Signal of all three channels.
    pub signals: Vec<[f64; 3]>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{BitDepth, CodeRange};

    fn ten_bits(range: CodeRange) -> CodeScale {
        CodeScale {
            depth: BitDepth::TEN,
            range,
        }
    }

    #[test]
    fn the_neutral_ramp_takes_every_code_and_stays_grey() {
        let walk = Ramp::named()[0].walk(ten_bits(CodeRange::Full));
        assert_eq!(walk.codes, (0..=1023).collect::<Vec<_>>());
        assert!(walk.signals.iter().all(|s| s[0] == s[1] && s[1] == s[2]));
        assert_eq!(walk.signals[1023], [1.0; 3]);
    }

    #[test]
    fn narrow_range_walks_the_legal_codes_only() {
        let walk = Ramp::named()[1].walk(ten_bits(CodeRange::Narrow));
        assert_eq!((walk.codes[0], walk.codes.len()), (64, 877));
        assert_eq!(walk.signals[876], [1.0, 0.0, 0.0]);
    }

    #[test]
    fn a_content_ramp_rises_with_its_leading_channel() {
        let ramp = &Ramp::named()[8];
        let walk = ramp.walk(ten_bits(CodeRange::Full));
        assert_eq!(ramp.name(), "sky");
        // 0.95 · 1023 = 971.85, nearest code 972.
        assert_eq!(walk.codes.last(), Some(&972));
        let middle = walk.signals[486];
        assert!((middle[0] / middle[2] - 0.55 / 0.95).abs() < 1e-12);
    }

    #[test]
    fn a_falling_ramp_is_walked_upwards_and_bad_ends_are_refused() {
        let ramp = Ramp::new("own", [0.5; 3], [0.1; 3]).unwrap();
        assert_eq!(ramp.from(), [0.1; 3]);
        assert!(ramp.is_neutral());
        let bad = Ramp::new("own", [0.0, f64::NAN, 0.0], [1.0; 3]).unwrap_err();
        assert!(matches!(bad, RampError::OutOfRange { channel: 1, .. }));
        assert!(Ramp::new("own", [0.2; 3], [0.2; 3]).is_err());
    }
}
