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
