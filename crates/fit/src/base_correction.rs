use evenstep_display::{BaseModel, PanelModel, Target};
use evenstep_lut::{CodeRange, Correction, Lut1d};

use crate::range::{position_from_signal, signal_from_position, through_range};
use nalgebra::{Matrix3, Vector3};

/// The base correction: signal → target colour → matrix → inverse tone curves → drive.
///
/// What a careful calibrator reaches by hand; every LUT is judged against it.
#[derive(Clone, Debug)]
pub struct BaseCorrection {
    target: Target,
    model: BaseModel,
}

/// The base correction in the form a panel without a 3D LUT takes: curves, matrix, curves.
///
/// `drive = after( matrix · before(signal) + offset )`. `before` turns signal into target light (1 at white), the matrix
/// takes it to the panel's channel light, `after` is the inverse tone curves. For neutrals the three together are
/// also one curve per channel, `grey`, for panels that take nothing else.
#[derive(Clone, Debug)]
pub struct CurvesAndMatrix {
    /// Signal to target light above black, per channel.
    pub before: Lut1d,
    /// Target light to channel light of the panel (1 at full drive); rows are R, G, B of the panel.
    pub matrix: Matrix3<f64>,
    /// Added after the matrix: zero where the target's black is the panel's own.
    pub offset: Vector3<f64>,
    /// Channel light to drive.
    pub after: Lut1d,
    /// Signal to drive along the neutral axis.
    pub grey: Lut1d,
}

/// Entries of the curves over signal: every 12-bit code.
const SIGNAL_ENTRIES: usize = 4096;
/// Entries of the curve over light, the most that cube text allows: half of the codes of a ramp lie in the first
/// twentieth of its light.
const LIGHT_ENTRIES: usize = 65536;

impl BaseCorrection {
    /// The base correction of a panel for a target.
    #[must_use]
    pub fn new(model: BaseModel, target: Target) -> Self {
        Self { target, model }
    }

    /// The model it inverts.
    #[must_use]
    pub fn model(&self) -> &BaseModel {
        &self.model
    }

    /// Curves and matrix that do the same between codes of a range, save that channels out of range clip after the matrix.
    ///
    /// The target's black fades as luminance rises (`1 − w̄`), which is linear in light, so the matrix holds it. For
    /// HLG the first curve is the neutral one: its system gamma ties the channels and no curve can hold that.
    #[must_use]
    pub fn curves_and_matrix(&self, range: CodeRange) -> CurvesAndMatrix {
        let white = self.target.white().luminance_cd_m2();
        let black = Vector3::from(self.target.black().0);
        let light = self.target.matrix();
        let faded = Matrix3::from_fn(|i, c| light[(i, c)] - black[i] * light[(1, c)] / white);
        let offset = self.model.inverse() * (black - Vector3::from(self.model.black().0));
        let curve =
            |entries: usize, value: &dyn Fn(f64) -> [f64; 3]| Lut1d::from_fn(entries, value);
        CurvesAndMatrix {
            before: curve(SIGNAL_ENTRIES, &|p| {
                self.target
                    .light([signal_from_position(range, p).clamp(0.0, 1.0); 3])
            }),
            matrix: self.model.inverse() * faded,
            offset,
            after: curve(LIGHT_ENTRIES, &|v| {
                std::array::from_fn(|c| {
                    round_to_file(position_from_signal(range, self.model.curves()[c].drive(v)))
                })
            }),
            grey: curve(SIGNAL_ENTRIES, &|p| {
                through_range(range, [p; 3], |signal| self.drive(signal)).map(round_to_file)
            }),
        }
    }

    /// Colour the base model predicts for a signal through this correction.
    #[must_use]
    pub fn predicted(&self, signal: [f64; 3]) -> evenstep_colour::Xyz {
        self.model.xyz(self.drive(signal))
    }
}

impl Correction for BaseCorrection {
    fn drive(&self, signal: [f64; 3]) -> [f64; 3] {
        self.model.drive(self.target.xyz(signal))
    }
}

/// Drives in the curve files keep seven decimals, below a hundredth of a 16-bit code.
fn round_to_file(drive: f64) -> f64 {
    (drive * 1e7).round() / 1e7
}

impl CurvesAndMatrix {
    /// The three stages in turn.
    #[must_use]
    pub fn drive(&self, signal: [f64; 3]) -> [f64; 3] {
        let light = self.matrix * Vector3::from(self.before.sample(signal)) + self.offset;
        self.after.sample(light.into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstep_colour::{Chromaticity, Primaries};
    use evenstep_display::{SimulatedPanel, Transfer};
    use evenstep_readings::{NoiseModel, Readings};

    fn correction() -> BaseCorrection {
        let panel = SimulatedPanel::wrgb();
        let level = |i: usize| i as f64 / 20.0;
        let mut patches = Vec::new();
        for i in 0..=20 {
            patches.push([level(i); 3]);
        }
        for c in 0..3 {
            for i in 1..=10 {
                patches.push(std::array::from_fn(
                    |k| if k == c { level(2 * i) } else { 0.0 },
                ));
            }
        }
        let patches = patches
            .into_iter()
            .enumerate()
            .map(|(i, d)| evenstep_readings::Patch {
                id: i.to_string(),
                drive: d,
                repeats: vec![panel.xyz(d)],
                order: i,
                later: Vec::new(),
                doubt: 1.0,
            });
        let readings = Readings {
            patches: patches.collect(),
        };
        let model = BaseModel::fit(&readings, &NoiseModel::assumed()).unwrap();
        let black = model.black();
        BaseCorrection::new(
            model,
            Target::new(
                Primaries::BT709,
                Transfer::Bt1886,
                Chromaticity::D65,
                150.0,
                black,
            ),
        )
    }

    /// The three stages give what the correction gives, to a 12-bit code, where nothing clips.
    #[test]
    fn curves_and_matrix_do_the_same() {
        let correction = correction();
        let stages = correction.curves_and_matrix(CodeRange::Full);
        for r in 1..=6 {
            for g in 1..=6 {
                for b in 1..=6 {
                    let signal = [r, g, b].map(|v| f64::from(v) / 6.0);
                    let (one, three) = (correction.drive(signal), stages.drive(signal));
                    for c in 0..3 {
                        assert!(
                            (one[c] - three[c]).abs() < 1.0 / 4095.0,
                            "{signal:?}: {one:?} {three:?}"
                        );
                    }
                }
            }
        }
    }
}
