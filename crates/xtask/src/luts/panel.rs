use evenstep_colour::{Chromaticity, Xyz};
use evenstep_display::PanelModel;
use evenstep_readings::{PatchRequest, Reading, Readings, merged};
use nalgebra::{Matrix3, Vector3};

use crate::patches;

/// An invented panel that does nothing unpleasant: it adds, rises from black without a threshold, and its primaries
/// lie a little outside those of Rec. ITU-R BT.709. All its figures are our own invention.
///
/// `XYZ(d) = M·t(d)` with `t_c(d) = ((d_c + b_c) / (1 + b_c))^γ_c`, so the light at drive 0 is its black, about
/// 0.0004 cd/m².
pub struct MildPanel {
    emitters: Matrix3<f64>,
}

/// Powers of the tone curves: close to the 2.4 of Rec. ITU-R BT.1886-0, so that straight lines between nodes follow
/// the correction.
const EXPONENT: [f64; 3] = [2.36, 2.40, 2.44];
/// Lift of the tone curves at drive 0.
const LIFT: [f64; 3] = [0.0045, 0.0050, 0.0055];

impl Default for MildPanel {
    fn default() -> Self {
        let emitter = |x, y, cd_m2| Vector3::from(Chromaticity { x, y }.xyz_at(cd_m2).0);
        Self {
            emitters: Matrix3::from_columns(&[
                emitter(0.648, 0.331, 26.0),
                emitter(0.298, 0.615, 89.0),
                emitter(0.146, 0.055, 9.6),
            ]),
        }
    }
}

impl PanelModel for MildPanel {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        let light =
            Vector3::from_fn(|c, _| ((drive[c] + LIFT[c]) / (1.0 + LIFT[c])).powf(EXPONENT[c]));
        Xyz((self.emitters * light).into())
    }
}

/// Greys read besides the patches of the scenario, as drives: the audit judges steps of the first per cents closely,
/// so the model of the panel must be right there.
const GREYS_NEAR_BLACK: [f64; 7] = [0.0025, 0.005, 0.0075, 0.01, 0.015, 0.03, 0.05];

/// The light of [`MildPanel`] at the 101 patches of the scenario in `examples/foyer` and seven greys near black, to
/// eight decimals and without noise: what the audit says of a specimen is then the specimen's alone.
#[must_use]
pub fn readings() -> Readings {
    let panel = MildPanel::default();
    let extra = GREYS_NEAR_BLACK
        .into_iter()
        .enumerate()
        .map(|(i, level)| PatchRequest {
            id: format!("NB{}", i + 1),
            drive: [level; 3],
        });
    let rows = patches::sparse()
        .into_iter()
        .chain(extra)
        .map(|patch| Reading {
            xyz: Xyz(panel.xyz(patch.drive).0.map(|v| (v * 1e8).round() / 1e8)),
            id: patch.id,
            drive: patch.drive,
            seconds: None,
        });
    merged(rows.collect())
}
