use evenstep_colour::Xyz;
use nalgebra::{Matrix3, Vector3};

use super::emitter;
use crate::PanelModel;

/// Self-emissive, four sub-pixels:
/// - drive to light: `l_c = max(0, (d − d0_c) / (1 − d0_c))^γ_c`; below `d0_c` the pixel does not light at all;
/// - the white sub-pixel takes `m`, the smooth minimum of the three lights (power mean of exponent −8): the colour
///   sub-pixels keep `l − 0.25·m`, the white one adds `0.55·m^1.12` of its own, bluer light, so that a full white is
///   brighter than its primaries together and the mixture between is not additive;
/// - supply loading: all light falls by `5 % × mean(l)`, as the panel draws more;
/// - each pair of channels steals 2 % of the product of its lights from the pair;
/// - a residual black of 0.0009 cd/m².
#[derive(Clone, Debug)]
pub(super) struct Wrgb {
    threshold: [f64; 3],
    exponent: [f64; 3],
    primaries: Matrix3<f64>,
    white_emitter: Vector3<f64>,
    black: Vector3<f64>,
}

impl Wrgb {
    pub(super) fn new() -> Self {
        Self {
            threshold: [0.019, 0.015, 0.023],
            exponent: [2.25, 2.18, 2.31],
            primaries: Matrix3::from_columns(&[
                emitter(0.672, 0.321, 44.0),
                emitter(0.272, 0.671, 122.0),
                emitter(0.147, 0.058, 15.5),
            ]),
            white_emitter: emitter(0.287, 0.296, 145.0),
            black: emitter(0.31, 0.32, 0.0009),
        }
    }
}

impl PanelModel for Wrgb {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        let light: [f64; 3] = std::array::from_fn(|c| {
            let above = (drive[c] - self.threshold[c]) / (1.0 - self.threshold[c]);
            above.max(0.0).powf(self.exponent[c])
        });
        let shared = smooth_minimum(light);
        let load = 1.0 - 0.05 * light.iter().sum::<f64>() / 3.0;
        let own = Vector3::from_fn(|c, _| {
            let pairs = light[c] * (light[(c + 1) % 3] + light[(c + 2) % 3]);
            light[c] - 0.25 * shared - 0.02 * pairs
        });
        let emitted = self.primaries * own + self.white_emitter * (0.55 * shared.powf(1.12));
        Xyz((self.black + load * emitted).into())
    }
}

/// Power mean of exponent −8: the least of the three with its corners rounded off.
pub(super) fn smooth_minimum(light: [f64; 3]) -> f64 {
    if light.iter().any(|v| *v <= 0.0) {
        return 0.0;
    }
    let least = light.iter().copied().fold(f64::INFINITY, f64::min);
    let sum: f64 = light.iter().map(|v| (v / least).powi(-8)).sum();
    least * (sum / 3.0).powf(-0.125)
}
