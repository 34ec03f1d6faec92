use std::fmt;
use std::str::FromStr;

/// The value that a file writes for full drive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FullScale {
    /// 1: drive as a fraction.
    One,
    /// 100: drive in per cent.
    Hundred,
    /// 255: full-range codes of 8 bits, fractions allowed.
    Bits8,
    /// 1023: full-range codes of 10 bits, fractions allowed.
    Bits10,
}

impl FullScale {
    /// All of them, in rising order.
    pub const ALL: [Self; 4] = [Self::One, Self::Hundred, Self::Bits8, Self::Bits10];

    /// The number itself.
    #[must_use]
    pub const fn value(self) -> f64 {
        match self {
            Self::One => 1.0,
            Self::Hundred => 100.0,
            Self::Bits8 => 255.0,
            Self::Bits10 => 1023.0,
        }
    }

    /// The scale whose full drive is exactly `value`, if there is one.
    #[must_use]
    pub fn of_value(value: f64) -> Option<Self> {
        Self::ALL.into_iter().find(|s| s.value() == value)
    }
}

impl fmt::Display for FullScale {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.value())
    }
}

/// How the scale of the drive columns is settled.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum RgbScale {
    /// From the file. CSV: its header's drives run from 0 to 1, so the scale is 1. CGATS: what the keyword
    /// `DRIVE_MAXIMUM` declares; else the largest drive, when it is exactly 1, 100, 255 or 1023; else refused.
    #[default]
    Detect,
    /// As the user says, whatever the file suggests.
    Given(FullScale),
}

/// A scale that is none of the four.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is no drive scale; use 1, 100, 255 or 1023")]
pub struct UnknownRgbScale(pub String);

impl FromStr for RgbScale {
    type Err = UnknownRgbScale;

    /// Reads the value of the option `--rgb-scale`.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        FullScale::ALL
            .into_iter()
            .find(|s| s.to_string() == text)
            .map(Self::Given)
            .ok_or_else(|| UnknownRgbScale(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_option_reads_its_four_values_and_no_other() {
        for scale in FullScale::ALL {
            assert_eq!(scale.to_string().parse(), Ok(RgbScale::Given(scale)));
        }
        for wrong in ["", "256", "1.0", "8", "auto"] {
            assert!(wrong.parse::<RgbScale>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn only_exact_values_name_a_scale() {
        assert_eq!(FullScale::of_value(255.0), Some(FullScale::Bits8));
        assert_eq!(FullScale::of_value(254.999), None);
    }
}
