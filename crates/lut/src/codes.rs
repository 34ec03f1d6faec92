use serde::Serialize;

/// Bits per channel of a code, 8 to 16.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(transparent)]
pub struct BitDepth(u8);

impl BitDepth {
    /// Eight bits.
    pub const EIGHT: Self = Self(8);
    /// Ten bits, the usual source.
    pub const TEN: Self = Self(10);
    /// Twelve bits, the usual output of a LUT stage.
    pub const TWELVE: Self = Self(12);

    /// A depth of `bits`, or `None` outside 8..=16.
    #[must_use]
    pub const fn new(bits: u8) -> Option<Self> {
        if bits >= 8 && bits <= 16 {
            Some(Self(bits))
        } else {
            None
        }
    }

    /// The number of bits.
    #[must_use]
    pub const fn bits(self) -> u8 {
        self.0
    }

    /// The largest code, 2^B − 1.
    #[must_use]
    pub const fn largest_code(self) -> u32 {
        (1 << self.0) - 1
    }

    /// How many codes of this depth one 8-bit code spans, 2^(B − 8).
    fn per_eight_bit_code(self) -> f64 {
        f64::from(1_u32 << (self.0 - 8))
    }
}

/// Which codes carry black and white.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum CodeRange {
    /// Black is 0, white is 2^B − 1.
    #[default]
    Full,
    /// Black is 16·2^(B − 8), white is 235·2^(B − 8): 64 and 940 at 10 bits.
    Narrow,
}

/// A bit depth together with its range: the place where codes become signals and back.
///
/// # Source
/// Rec. ITU-R BT.2100-2 table 9 (integer codes of full and narrow range).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CodeScale {
    /// Bits per channel.
    pub depth: BitDepth,
    /// Which codes carry black and white.
    pub range: CodeRange,
}

impl CodeScale {
    /// The code of black.
    #[must_use]
    pub fn black(self) -> u32 {
        match self.range {
            CodeRange::Full => 0,
            CodeRange::Narrow => 16 << (self.depth.0 - 8),
        }
    }

    /// The code of white.
    #[must_use]
    pub fn white(self) -> u32 {
        match self.range {
            CodeRange::Full => self.depth.largest_code(),
            CodeRange::Narrow => 235 << (self.depth.0 - 8),
        }
    }

    /// Signal of a code, which need not be whole: 0 at black, 1 at white.
    #[must_use]
    pub fn signal_from_code(self, code: f64) -> f64 {
        match self.range {
            CodeRange::Full => code / f64::from(self.depth.largest_code()),
            CodeRange::Narrow => (code / self.depth.per_eight_bit_code() - 16.0) / 219.0,
        }
    }

    /// Code of a signal, not rounded.
    #[must_use]
    pub fn code_from_signal(self, signal: f64) -> f64 {
        match self.range {
            CodeRange::Full => signal * f64::from(self.depth.largest_code()),
            CodeRange::Narrow => (219.0 * signal + 16.0) * self.depth.per_eight_bit_code(),
        }
    }

    /// Nearest whole code of a signal; signals outside [0, 1] go to black or white.
    #[must_use]
    pub fn nearest_code(self, signal: f64) -> u32 {
        // In 8..=16 bits and clamped, so the cast is exact.
        self.code_from_signal(signal.clamp(0.0, 1.0)).round() as u32
    }

    /// Where a signal enters the LUT: its code over 2^B − 1. The identity for full range.
    #[must_use]
    pub fn position_from_signal(self, signal: f64) -> f64 {
        self.code_from_signal(signal) / f64::from(self.depth.largest_code())
    }

    /// The signal of a position in the LUT, the inverse of
    /// [`position_from_signal`](Self::position_from_signal). A LUT's output is read on the same scale
    /// as its input, so that an identity LUT is the identity in narrow range too.
    #[must_use]
    pub fn signal_from_position(self, position: f64) -> f64 {
        self.signal_from_code(position * f64::from(self.depth.largest_code()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROUNDOFF: f64 = 1e-15;

    #[test]
    fn narrow_codes_are_those_of_bt_2100_table_9() {
        // Rec. ITU-R BT.2100-2 table 9: 10-bit narrow range 64..940, 12-bit 256..3760.
        for (bits, black, white) in [(8, 16, 235), (10, 64, 940), (12, 256, 3760)] {
            let scale = CodeScale {
                depth: BitDepth::new(bits).unwrap(),
                range: CodeRange::Narrow,
            };
            assert_eq!((scale.black(), scale.white()), (black, white));
            assert!(scale.signal_from_code(f64::from(black)).abs() < ROUNDOFF);
            assert!((scale.signal_from_code(f64::from(white)) - 1.0).abs() < ROUNDOFF);
            assert_eq!(scale.nearest_code(1.0), white);
            assert_eq!(scale.nearest_code(-0.3), black);
        }
    }

    #[test]
    fn position_of_a_narrow_code_is_its_code_over_the_largest() {
        let scale = CodeScale {
            depth: BitDepth::TEN,
            range: CodeRange::Narrow,
        };
        let position = scale.position_from_signal(scale.signal_from_code(64.0));
        assert!((position - 64.0 / 1023.0).abs() < ROUNDOFF);
        assert!(scale.signal_from_position(position).abs() < ROUNDOFF);
    }

    #[test]
    fn depths_outside_8_to_16_bits_are_refused() {
        assert_eq!(BitDepth::new(7), None);
        assert_eq!(BitDepth::new(17), None);
        assert_eq!(BitDepth::new(16).map(BitDepth::largest_code), Some(65535));
    }
}
