use evenstep_colour::{Xyz, pq_eotf};
use nalgebra::{Matrix3, Vector3};

use super::{emitter, wrgb::smooth_minimum};
use crate::PanelModel;

/// Self-emissive, four sub-pixels, driven in PQ:
/// - the drive asks for `L = PQ(d)`; what is shown follows L up to 380 cd/m², bends, and is flat at 700 cd/m² from
///   1340 cd/m² on;
/// - the white sub-pixel takes 60 % of `m`, the smooth minimum of the three lights; the colour sub-pixels keep
///   `l − 0.6·m` and are themselves flat above half of the peak: saturated colours reach less;
/// - a residual black of 0.0005 cd/m².
#[derive(Clone, Debug)]
pub(super) struct HdrWrgb {
    primaries: Matrix3<f64>,
    white_emitter: Vector3<f64>,
    black: Vector3<f64>,
}

const PEAK_CD_M2: f64 = 700.0;
const KNEE_CD_M2: f64 = 380.0;
/// Share of the common light that the white sub-pixel takes.
const WHITE_SHARE: f64 = 0.6;
/// Where a colour sub-pixel begins to bend and where it ends, as shares of the peak.
const COLOUR_KNEE: f64 = 0.41;
const COLOUR_PEAK: f64 = 0.5;

impl HdrWrgb {
    pub(super) fn new() -> Self {
        let part = |x, y, share| emitter(x, y, PEAK_CD_M2 * share);
        Self {
            primaries: Matrix3::from_columns(&[
                part(0.678, 0.319, 0.235),
                part(0.266, 0.684, 0.685),
                part(0.148, 0.054, 0.08),
            ]),
            white_emitter: part(0.306, 0.317, 1.0),
            black: emitter(0.31, 0.32, 0.0005),
        }
    }
}

/// x up to the knee, then a bend with the same slope to the peak, which is reached with slope 0 at knee + 3·(peak −
/// knee), and flat beyond.
fn shoulder(x: f64, knee: f64, peak: f64) -> f64 {
    if x <= knee {
        return x;
    }
    let rest = (1.0 - (x - knee) / (3.0 * (peak - knee))).max(0.0);
    peak - (peak - knee) * rest.powi(3)
}

impl PanelModel for HdrWrgb {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        let light = drive
            .map(|d| shoulder(pq_eotf(d.clamp(0.0, 1.0)), KNEE_CD_M2, PEAK_CD_M2) / PEAK_CD_M2);
        let shared = WHITE_SHARE * smooth_minimum(light);
        let own = Vector3::from(light.map(|l| shoulder(l - shared, COLOUR_KNEE, COLOUR_PEAK)));
        Xyz((self.black + self.primaries * own + self.white_emitter * shared).into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_flat_above_its_peak_and_colours_reach_less() {
        let panel = HdrWrgb::new();
        let y = |drive| panel.xyz(drive).luminance_cd_m2();
        // PQ of 1340 cd/m² is the code 0.7843.
        assert_eq!(y([0.79; 3]), y([1.0; 3]));
        for at in [[1.0, 0.0, 0.0], [0.0, 1.0, 1.0], [1.0, 0.4, 0.0]] {
            assert_eq!(y(at.map(|d: f64| d.min(0.79))), y(at), "{at:?}");
        }
        assert!(y([0.75; 3]) < y([0.79; 3]));
        assert!(
            (y([1.0; 3]) / PEAK_CD_M2 - 1.0).abs() < 0.01,
            "{}",
            y([1.0; 3])
        );
        let saturated = y([1.0, 0.0, 0.0]) + y([0.0, 1.0, 0.0]) + y([0.0, 0.0, 1.0]);
        assert!(saturated < 0.55 * y([1.0; 3]));
    }
}
