/// Weights of red, green and blue in the luma of a [`Cdl`]: those of Rec. ITU-R BT.709.
const LUMA: [f64; 3] = [0.2126, 0.7152, 0.0722];

/// Which way a [`Cdl`] goes, and whether it limits values to 0 to 1.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum CdlStyle {
    /// Slope, offset, power, saturation; limited.
    #[default]
    Forward,
    /// The inverse; limited.
    Reverse,
    /// Not limited; no power below 0.
    ForwardNoClamp,
    /// The inverse, not limited.
    ReverseNoClamp,
}

/// The colour decision list of the ASC: slope, offset and power of each channel, then saturation.
///
/// # Source
/// Academy S-2014-006 (Common LUT Format) v3.0, ProcessNode ASC_CDL.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cdl {
    /// Which way.
    pub style: CdlStyle,
    /// Slopes, from 0; above 0 for the inverse.
    pub slope: [f64; 3],
    /// Offsets.
    pub offset: [f64; 3],
    /// Powers, above 0.
    pub power: [f64; 3],
    /// Saturation, from 0; above 0 for the inverse.
    pub saturation: f64,
}

impl Cdl {
    pub(super) fn apply(&self, at: [f64; 3]) -> [f64; 3] {
        let clamps = matches!(self.style, CdlStyle::Forward | CdlStyle::Reverse);
        let limit = |v: f64| if clamps { v.clamp(0.0, 1.0) } else { v };
        let power = |v: f64, p: f64| if v < 0.0 { v } else { v.powf(p) };
        match self.style {
            CdlStyle::Forward | CdlStyle::ForwardNoClamp => {
                let shaped = [0, 1, 2]
                    .map(|c| power(limit(at[c] * self.slope[c] + self.offset[c]), self.power[c]));
                saturated(shaped, self.saturation).map(limit)
            }
            CdlStyle::Reverse | CdlStyle::ReverseNoClamp => {
                let plain = saturated(at.map(limit), self.saturation.recip()).map(limit);
                [0, 1, 2].map(|c| {
                    limit((power(plain[c], self.power[c].recip()) - self.offset[c]) / self.slope[c])
                })
            }
        }
    }
}

fn saturated(at: [f64; 3], saturation: f64) -> [f64; 3] {
    let luma: f64 = (0..3).map(|c| LUMA[c] * at[c]).sum();
    at.map(|v| luma + saturation * (v - luma))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_inverse_undoes_it_inside_the_limits() {
        const ROUNDOFF: f64 = 1e-12; // two powers and a quotient of values up to 1
        for (forward, reverse) in [
            (CdlStyle::Forward, CdlStyle::Reverse),
            (CdlStyle::ForwardNoClamp, CdlStyle::ReverseNoClamp),
        ] {
            let cdl = Cdl {
                style: forward,
                slope: [0.9, 1.0, 0.8],
                offset: [0.02, 0.01, 0.05],
                power: [1.1, 0.9, 1.2],
                saturation: 0.9,
            };
            let back = Cdl {
                style: reverse,
                ..cdl
            };
            for at in [[0.2, 0.4, 0.6], [0.9, 0.5, 0.3]] {
                let there = back.apply(cdl.apply(at));
                for c in 0..3 {
                    assert!((there[c] - at[c]).abs() < ROUNDOFF, "{at:?} to {there:?}");
                }
            }
        }
    }

    #[test]
    fn only_the_limited_styles_limit() {
        let mut cdl = Cdl {
            style: CdlStyle::Forward,
            slope: [2.0; 3],
            offset: [-0.5; 3],
            power: [1.0; 3],
            saturation: 1.0,
        };
        assert_eq!(cdl.apply([0.0, 0.5, 1.0]), [0.0, 0.5, 1.0]);
        cdl.style = CdlStyle::ForwardNoClamp;
        const ROUNDOFF: f64 = 1e-15; // the three weights of luma
        for (got, expected) in cdl.apply([0.0, 0.5, 1.0]).iter().zip([-0.5, 0.5, 1.5]) {
            assert!((got - expected).abs() < ROUNDOFF, "{got}");
        }
    }
}
