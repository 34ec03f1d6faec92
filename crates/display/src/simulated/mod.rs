//! Panels with known behaviour: the truth that fits and audits are tried against.

mod hdr_wrgb;
mod lcd;
mod reading;
mod spectrum;
mod twist;
mod wide_gamut;
mod wrgb;

use evenstep_colour::{Chromaticity, Primaries, Xyz};
use nalgebra::Vector3;

pub use self::reading::{Disturbance, simulate};
use self::{hdr_wrgb::HdrWrgb, lcd::Lcd, twist::Twist, wide_gamut::WideGamut, wrgb::Wrgb};
use crate::{PanelModel, Transfer};

/// Light of a sub-pixel: a chromaticity at a luminance.
fn emitter(x: f64, y: f64, cd_m2: f64) -> Vector3<f64> {
    Vector3::from(Chromaticity { x, y }.xyz_at(cd_m2).0)
}

/// A simulated panel; all figures are invented for the purpose and none is tuned to favour a scheme.
///
/// Equations and parameters: `docs/methods/simulated-panels.md`.
#[derive(Clone, Debug)]
pub struct SimulatedPanel(Kind);

#[derive(Clone, Debug)]
enum Kind {
    Wrgb(Wrgb),
    Lcd(Lcd),
    WideGamut(WideGamut),
    Twist(Twist),
    HdrWrgb(HdrWrgb),
}

impl SimulatedPanel {
    /// Names [`by_name`](Self::by_name) knows.
    pub const NAMES: [&'static str; 5] = ["wrgb", "lcd", "wide-gamut", "twist", "hdr-wrgb"];

    /// The panel of a name the command line uses.
    #[must_use]
    pub fn by_name(name: &str) -> Option<Self> {
        Some(Self(match name {
            "wrgb" => Kind::Wrgb(Wrgb::new()),
            "lcd" => Kind::Lcd(Lcd::new()),
            "wide-gamut" => Kind::WideGamut(WideGamut::new()),
            "twist" => Kind::Twist(Twist::new()),
            "hdr-wrgb" => Kind::HdrWrgb(HdrWrgb::new()),
            _ => return None,
        }))
    }

    /// The WRGB self-emissive panel.
    #[must_use]
    pub fn wrgb() -> Self {
        Self(Kind::Wrgb(Wrgb::new()))
    }

    /// What such a panel is usually corrected to.
    #[must_use]
    pub fn usual_target(&self) -> (Primaries, Transfer) {
        match self.0 {
            Kind::Wrgb(_) | Kind::Lcd(_) | Kind::Twist(_) => (Primaries::BT709, Transfer::Bt1886),
            Kind::WideGamut(_) => (Primaries::P3, Transfer::Gamma(2.4)),
            Kind::HdrWrgb(_) => (Primaries::BT2020, Transfer::Pq),
        }
    }
}

impl PanelModel for SimulatedPanel {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        match &self.0 {
            Kind::Wrgb(panel) => panel.xyz(drive),
            Kind::Lcd(panel) => panel.xyz(drive),
            Kind::WideGamut(panel) => panel.xyz(drive),
            Kind::Twist(panel) => panel.xyz(drive),
            Kind::HdrWrgb(panel) => panel.xyz(drive),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all() -> impl Iterator<Item = (&'static str, SimulatedPanel)> {
        let named = |name| SimulatedPanel::by_name(name).map(|panel| (name, panel));
        SimulatedPanel::NAMES.into_iter().filter_map(named)
    }

    #[test]
    fn every_name_is_a_panel_whose_neutral_light_never_falls() {
        assert_eq!(all().count(), SimulatedPanel::NAMES.len());
        for (name, panel) in all() {
            let mut last = 0.0;
            for i in 0..=1000 {
                let y = panel.xyz([f64::from(i) / 1000.0; 3]).luminance_cd_m2();
                assert!(y >= last, "{name} falls at {i}");
                last = y;
            }
        }
    }

    /// Chromaticities of red, green and blue above black, from the stated spectra summed in NumPy with the same
    /// observer, and those that are stated themselves. Full blue of `wide-gamut` is its band at 457 nm.
    #[test]
    fn primaries_are_as_documented() {
        /// The last digit printed.
        const PRINTED: f64 = 6e-4;
        for (name, stated) in [
            ("lcd", [[0.655, 0.334], [0.239, 0.685], [0.156, 0.042]]),
            (
                "wide-gamut",
                [[0.704, 0.296], [0.172, 0.765], [0.147, 0.027]],
            ),
            ("twist", [[0.645, 0.332], [0.295, 0.608], [0.149, 0.061]]),
            ("hdr-wrgb", [[0.678, 0.319], [0.266, 0.684], [0.148, 0.054]]),
        ] {
            let panel = SimulatedPanel::by_name(name).unwrap();
            let black = panel.xyz([0.0; 3]).0;
            for (channel, stated) in stated.iter().enumerate() {
                let drive = std::array::from_fn(|c| f64::from(u8::from(c == channel)));
                let light = panel.xyz(drive).0;
                let above: [f64; 3] = std::array::from_fn(|i| light[i] - black[i]);
                let sum: f64 = above.iter().sum();
                for i in 0..2 {
                    assert!(
                        (above[i] / sum - stated[i]).abs() < PRINTED,
                        "{name} {channel} {i}"
                    );
                }
            }
        }
    }

    /// A target whose red the panel cannot mix would turn a comparison of schemes into one of gamut clipping.
    #[test]
    fn the_red_of_the_usual_target_is_within_reach() {
        /// Share of another channel that may be missing, of red's. P3's red lies on the edge of what light can be, where
        /// the mixtures of `wide-gamut` pass 0.1 % inside.
        const SHORT: f64 = 0.01;
        for (name, panel) in all().filter(|(name, _)| *name != "hdr-wrgb") {
            let above = |drive| {
                let (light, black) = (panel.xyz(drive).0, panel.xyz([0.0; 3]).0);
                Vector3::from_fn(|i, _| light[i] - black[i])
            };
            let own = nalgebra::Matrix3::from_columns(&[
                above([1.0, 0.0, 0.0]),
                above([0.0, 1.0, 0.0]),
                above([0.0, 0.0, 1.0]),
            ]);
            let red = panel.usual_target().0.red.xyz_at(1.0).0;
            let shares = own.try_inverse().unwrap() * Vector3::from(red);
            assert!(shares.min() >= -SHORT * shares[0], "{name}: {shares}");
        }
    }

    /// The figures of `docs/methods/simulated-panels.md`, to the digits printed there.
    #[test]
    fn black_and_white_are_as_documented() {
        for (name, black, white) in [
            ("wrgb", 0.0009, 198.2),
            ("lcd", 0.3333, 350.0),
            ("wide-gamut", 0.004, 253.0),
            ("twist", 0.02, 200.02),
            ("hdr-wrgb", 0.0005, 700.0),
        ] {
            let panel = SimulatedPanel::by_name(name).unwrap();
            let y = |d: f64| panel.xyz([d; 3]).luminance_cd_m2();
            assert!((y(0.0) - black).abs() < 6e-5, "{name}: {}", y(0.0));
            assert!((y(1.0) / white - 1.0).abs() < 1e-3, "{name}: {}", y(1.0));
        }
    }
}
