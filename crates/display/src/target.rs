use std::fmt;
use std::str::FromStr;

use evenstep_colour::{
    Bt1886, Chromaticity, Hlg, Primaries, Xyz, pq_eotf, pq_inverse_eotf, srgb_eotf,
};
use nalgebra::{Matrix3, Vector3};

/// How a signal becomes light on the display the correction aims at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Transfer {
    /// Rec. ITU-R BT.1886-0 (03/2011) Annex 1, from the target's own white and black luminance.
    Bt1886,
    /// Pure power of the given exponent above black.
    Gamma(f64),
    /// IEC 61966-2-1:1999 above black.
    Srgb,
    /// SMPTE ST 2084:2014, absolute, flat above the target's white.
    Pq,
    /// Rec. ITU-R BT.2100-2 table 5 with the system gamma of the target's white.
    Hlg,
}

impl fmt::Display for Transfer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bt1886 => f.write_str("bt1886"),
            Self::Gamma(exponent) => write!(f, "gamma:{exponent}"),
            Self::Srgb => f.write_str("srgb"),
            Self::Pq => f.write_str("pq"),
            Self::Hlg => f.write_str("hlg"),
        }
    }
}

/// The text does not name a [`Transfer`].
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "{found:?} is not a transfer function; use bt1886, gamma:EXPONENT with 1 to 4 (gamma:2.2), srgb, pq or hlg"
)]
pub struct ParseTransferError {
    /// The text found.
    pub found: String,
}

impl FromStr for Transfer {
    type Err = ParseTransferError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let refused = || ParseTransferError {
            found: text.to_owned(),
        };
        match text {
            "bt1886" => Ok(Self::Bt1886),
            "srgb" => Ok(Self::Srgb),
            "pq" => Ok(Self::Pq),
            "hlg" => Ok(Self::Hlg),
            _ => text
                .strip_prefix("gamma:")
                .and_then(|v| v.parse().ok())
                .filter(|v| (1.0..=4.0).contains(v))
                .map(Self::Gamma)
                .ok_or_else(refused),
        }
    }
}

/// The colour a perfect panel would show for every signal.
///
/// `xyz(s) = XYZ_black·(1 − w̄) + M·w`, with `w` the light of each channel above black, normalised to [0, 1],
/// `M` the matrix of the primaries with `M·(1, 1, 1)` = white at `L_w`, and `w̄ = (M·w)_Y / L_w`. Neutrals glide
/// from the black's own colour to the white's chromaticity.
#[derive(Clone, Debug)]
pub struct Target {
    primaries: Primaries,
    transfer: Transfer,
    white: Xyz,
    black: Xyz,
    matrix: Matrix3<f64>,
    bt1886: Bt1886,
    hlg: Hlg,
}

impl Target {
    /// A target with its white at `white_cd_m2` and black colour `black`.
    ///
    /// `white_cd_m2` must exceed the black's luminance.
    #[must_use]
    pub fn new(
        primaries: Primaries,
        transfer: Transfer,
        white: Chromaticity,
        white_cd_m2: f64,
        black: Xyz,
    ) -> Self {
        let floor = black.luminance_cd_m2().max(0.0);
        Self {
            primaries,
            transfer,
            white: white.xyz_at(white_cd_m2),
            black,
            matrix: primaries.xyz_from_rgb(white) * white_cd_m2,
            bt1886: Bt1886::new(white_cd_m2, floor),
            hlg: Hlg::new(white_cd_m2, floor),
        }
    }

    /// The same target with another white luminance, in cd/m².
    #[must_use]
    pub fn with_white_cd_m2(&self, white_cd_m2: f64) -> Self {
        let white = self.white.chromaticity().unwrap_or(Chromaticity::D65);
        Self::new(
            self.primaries,
            self.transfer,
            white,
            white_cd_m2,
            self.black,
        )
    }

    /// Colour aimed at for a signal; channels outside [0, 1] are clipped.
    #[must_use]
    pub fn xyz(&self, signal: [f64; 3]) -> Xyz {
        let light = self.matrix * Vector3::from(self.light(signal.map(|v| v.clamp(0.0, 1.0))));
        let share = light[1] / self.white.luminance_cd_m2();
        let black = Vector3::from(self.black.0) * (1.0 - share);
        Xyz((black + light).into())
    }

    /// Light of each channel above black, 1 at white. Channels are independent but for HLG, whose system gamma
    /// ties them.
    #[must_use]
    pub fn light(&self, signal: [f64; 3]) -> [f64; 3] {
        let white = self.white.luminance_cd_m2();
        let black = self.black.luminance_cd_m2().max(0.0);
        match self.transfer {
            Transfer::Bt1886 => signal.map(|v| (self.bt1886.eotf(v) - black) / (white - black)),
            Transfer::Gamma(exponent) => signal.map(|v| v.powf(exponent)),
            Transfer::Srgb => signal.map(srgb_eotf),
            Transfer::Pq => signal.map(|v| pq_eotf(v).min(white) / white),
            Transfer::Hlg => self
                .hlg
                .eotf(signal)
                .map(|v| ((v - black) / (white - black)).max(0.0)),
        }
    }

    /// Signal above which no channel's light rises: 1 but for PQ, which is flat above the target's white.
    #[must_use]
    pub fn clipped_from(&self) -> f64 {
        match self.transfer {
            Transfer::Pq => pq_inverse_eotf(self.white.luminance_cd_m2()),
            _ => 1.0,
        }
    }

    /// Matrix from channel light (1 at white) to XYZ in cd/m², before the black's share is taken off.
    #[must_use]
    pub fn matrix(&self) -> Matrix3<f64> {
        self.matrix
    }

    /// White of the target: its chromaticity at `L_w`.
    #[must_use]
    pub fn white(&self) -> Xyz {
        self.white
    }

    /// Black of the target, colour included.
    #[must_use]
    pub fn black(&self) -> Xyz {
        self.black
    }

    /// The transfer function.
    #[must_use]
    pub fn transfer(&self) -> Transfer {
        self.transfer
    }

    /// The primaries.
    #[must_use]
    pub fn primaries(&self) -> Primaries {
        self.primaries
    }

    /// Signal at which near-black ends: `fraction` of the range, or for PQ of the span of signals from `L_b` to `L_w`.
    #[must_use]
    pub fn near_black_end(&self, fraction: f64) -> f64 {
        match self.transfer {
            Transfer::Pq => {
                let low = pq_inverse_eotf(self.black.luminance_cd_m2().max(0.0));
                low + fraction * (pq_inverse_eotf(self.white.luminance_cd_m2()) - low)
            }
            _ => fraction,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROUNDOFF: f64 = 1e-9; // a dozen operations on values up to a few hundred

    fn target(transfer: Transfer) -> Target {
        Target::new(
            Primaries::BT709,
            transfer,
            Chromaticity::D65,
            120.0,
            Xyz::new(0.06, 0.05, 0.08),
        )
    }

    #[test]
    fn ends_are_the_black_and_the_white() {
        for transfer in [
            Transfer::Bt1886,
            Transfer::Gamma(2.2),
            Transfer::Srgb,
            Transfer::Pq,
        ] {
            let t = target(transfer);
            for i in 0..3 {
                assert!(
                    (t.xyz([1.0; 3]).0[i] - t.white().0[i]).abs() < ROUNDOFF,
                    "{transfer:?}"
                );
                assert!(
                    (t.xyz([0.0; 3]).0[i] - t.black().0[i]).abs() < ROUNDOFF,
                    "{transfer:?}"
                );
            }
        }
    }

    /// With w the light above black, the neutral luminance of BT.1886 is the Recommendation's own L(V).
    #[test]
    fn neutral_luminance_is_bt1886() {
        let t = target(Transfer::Bt1886);
        let standard = Bt1886::new(120.0, 0.05);
        for i in 0..=20 {
            let v = f64::from(i) / 20.0;
            assert!((t.xyz([v; 3]).luminance_cd_m2() - standard.eotf(v)).abs() < ROUNDOFF);
        }
    }

    #[test]
    fn near_black_of_pq_follows_the_codes_of_black_and_white() {
        let t = target(Transfer::Pq);
        let end = t.near_black_end(0.1);
        assert!(end > pq_inverse_eotf(0.05) && end < 0.1);
        assert_eq!(target(Transfer::Bt1886).near_black_end(0.1), 0.1);
    }
}
