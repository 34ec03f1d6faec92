use evenstep_colour::Xyz;
use nalgebra::Vector3;

use super::spectrum::{band, xyz_of};
use crate::PanelModel;

/// Self-emissive with narrow bands:
/// - red 632 nm (28 nm wide), 62 cd/m²; green 529 nm (32 nm), 172 cd/m²; blue 22 nm wide, 19 cd/m², whose peak moves
///   from 464 nm at low light to 457 nm at full light;
/// - drive to light: `((d + o)^γ − o^γ) / ((1 + o)^γ − o^γ)`, another exponent and offset for each channel;
/// - the three lights add; a residual black of 0.004 cd/m².
#[derive(Clone, Debug)]
pub(super) struct WideGamut {
    red: Vector3<f64>,
    green: Vector3<f64>,
    blue_low: Vector3<f64>,
    blue_high: Vector3<f64>,
    black: Vector3<f64>,
}

const EXPONENT: [f64; 3] = [2.04, 2.31, 2.17];
const OFFSET: [f64; 3] = [0.004, 0.011, 0.007];

impl WideGamut {
    pub(super) fn new() -> Self {
        let emitter = |peak, fwhm, cd_m2| Vector3::from(xyz_of(|nm| band(nm, peak, fwhm), cd_m2).0);
        Self {
            red: emitter(632.0, 28.0, 62.0),
            green: emitter(529.0, 32.0, 172.0),
            blue_low: emitter(464.0, 22.0, 19.0),
            blue_high: emitter(457.0, 22.0, 19.0),
            black: emitter(560.0, 200.0, 0.004),
        }
    }
}

impl PanelModel for WideGamut {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        let [r, g, b]: [f64; 3] = std::array::from_fn(|c| {
            let (o, e) = (OFFSET[c], EXPONENT[c]);
            let none = o.powf(e);
            ((drive[c].max(0.0) + o).powf(e) - none) / ((1.0 + o).powf(e) - none)
        });
        let blue = self.blue_low * (1.0 - b) + self.blue_high * b;
        Xyz((self.black + self.red * r + self.green * g + blue * b).into())
    }
}
