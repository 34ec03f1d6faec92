use evenstep_colour::Xyz;
use nalgebra::{Matrix3, Rotation3, Unit, Vector3};

use super::emitter;
use crate::PanelModel;

/// Well behaved but for a local twist of hue, as picture processing can make:
/// - around the drive (0.62, 0.38, 0.32) drives are turned about the neutral direction, by 24° in the middle, falling
///   to 0 at a distance of 0.3 as `(1 − ρ)⁴(4ρ + 1)`; every sphere about the middle is turned as a whole, so no two
///   drives become one, and the ball lies inside the cube, so no drive leaves it;
/// - then a power of 2.2 in each channel and three lights that add, red 45, green 141, blue 14 cd/m², and a black of
///   0.02 cd/m².
#[derive(Clone, Debug)]
pub(super) struct Twist {
    primaries: Matrix3<f64>,
    black: Vector3<f64>,
}

const MIDDLE: [f64; 3] = [0.62, 0.38, 0.32];
const RADIUS: f64 = 0.3;
const ANGLE_DEGREES: f64 = 24.0;
const EXPONENT: f64 = 2.2;

impl Twist {
    pub(super) fn new() -> Self {
        Self {
            primaries: Matrix3::from_columns(&[
                emitter(0.645, 0.332, 45.0),
                emitter(0.295, 0.608, 141.0),
                emitter(0.149, 0.061, 14.0),
            ]),
            black: emitter(0.313, 0.329, 0.02),
        }
    }
}

/// The drive that the rest of the panel gets.
fn twisted(drive: [f64; 3]) -> [f64; 3] {
    let (at, middle) = (Vector3::from(drive), Vector3::from(MIDDLE));
    let away = at - middle;
    let rho = away.norm() / RADIUS;
    if rho >= 1.0 {
        return drive;
    }
    let share = (1.0 - rho).powi(4) * (4.0 * rho + 1.0);
    let axis = Unit::new_normalize(Vector3::repeat(1.0));
    let turn = Rotation3::from_axis_angle(&axis, ANGLE_DEGREES.to_radians() * share);
    (middle + turn * away).into()
}

impl PanelModel for Twist {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        let light = twisted(drive).map(|d| d.max(0.0).powf(EXPONENT));
        Xyz((self.black + self.primaries * Vector3::from(light)).into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A map of the cube onto itself whose determinant is above 0 everywhere takes no value twice.
    #[test]
    fn the_twist_folds_nothing_and_stays_in_the_cube() {
        const STEP: f64 = 1e-6;
        let mut moved = 0;
        for i in 0..21_u32.pow(3) {
            let at = [i % 21, i / 21 % 21, i / 441].map(|k| f64::from(k) / 20.0);
            let out = twisted(at);
            assert!(out.iter().all(|v| (0.0..=1.0).contains(v)), "{at:?}");
            moved += usize::from(out != at);
            let jacobian = Matrix3::from_fn(|row, column| {
                let (mut low, mut high) = (at, at);
                low[column] -= STEP;
                high[column] += STEP;
                (twisted(high)[row] - twisted(low)[row]) / (2.0 * STEP)
            });
            assert!(jacobian.determinant() > 0.1, "{at:?}");
        }
        // The ball's share of the cube is 11 %.
        assert!((500..1500).contains(&moved), "{moved}");
    }
}
