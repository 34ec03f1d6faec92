use evenstep_colour::{Chromaticity, Xyz};
use evenstep_display::PanelModel;
use evenstep_readings::{Reading, Readings, merged};
use nalgebra::{Matrix3, Vector3};

use crate::patches;

/// An invented panel that does nothing unpleasant: it adds, rises from black without a threshold, and is a little
/// wider and bluer than Rec. ITU-R BT.709. All its figures are our own invention.
///
/// `XYZ(d) = M·t(d)` with `t_c(d) = ((d + b_c) / (1 + b_c))^γ_c`, so the light at drive 0 is its black.
pub struct MildPanel {
    emitters: Matrix3<f64>,
}

/// Powers of the tone curves.
const EXPONENT: [f64; 3] = [2.35, 2.40, 2.45];
/// Lift of the tone curves at drive 0.
const LIFT: [f64; 3] = [0.036, 0.038, 0.040];

impl Default for MildPanel {
    fn default() -> Self {
        let emitter = |x, y, cd_m2| Vector3::from(Chromaticity { x, y }.xyz_at(cd_m2).0);
        Self {
            emitters: Matrix3::from_columns(&[
                emitter(0.645, 0.332, 26.0),
                emitter(0.300, 0.610, 89.0),
                emitter(0.151, 0.058, 9.6),
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

/// The light of [`MildPanel`] at the 101 patches of the scenario in `examples/foyer`, to six decimals and without
/// noise: what the audit says of a specimen is then the specimen's alone.
#[must_use]
pub fn readings() -> Readings {
    let panel = MildPanel::default();
    let rows = patches::sparse().into_iter().map(|patch| Reading {
        xyz: Xyz(panel.xyz(patch.drive).0.map(|v| (v * 1e6).round() / 1e6)),
        id: patch.id,
        drive: patch.drive,
        seconds: None,
    });
    merged(rows.collect())
}
