use nalgebra::{Matrix3, Vector3};

use super::together::Together;

/// How the lights that are asked of three channels become what a panel emits, in LMS above black.
///
/// `Σ_c P_c s_c(t_c − a·m) + [ N·m − Σ_c P_c s_c((1 − a)·m) ]`, with t the lights of the base's curves, m their smooth
/// minimum, N the light of the white, `s(x) = x / (1 + (x/q)^p)^(1/p)` and q where a channel saturates. A fourth, white
/// sub-pixel takes the share a of what all channels have in common, and emits what greys lack: greys are the base's,
/// whatever the rest. With a = 0 and without saturation that is the base itself, `Σ_c P_c t_c`.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Emission {
    pub(super) primaries: Matrix3<f64>,
    /// Of the white, `N`.
    pub(super) white: Vector3<f64>,
    pub(super) sharing: Option<Sharing>,
}

/// What sets a panel with a white sub-pixel or saturating channels apart from one that adds.
///
/// # Source
/// That a white sub-pixel takes what channels have in common: common practice, no source. The bend into saturation: C. Rapp
/// (1991), a model of power amplifiers (from memory).
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Sharing {
    /// Share of the light common to all channels that a white sub-pixel takes from them, 0 to 1.
    pub share: f64,
    /// Light that the sub-pixels of R, G and B do not pass, in units of what greys ask of them at full drive; above 0, and
    /// above 1 where they do not saturate.
    pub most: [f64; 3],
    /// Sharpness of the bend into that, without unit: 2 or more, 2 the softest.
    pub sharpness: f64,
}

/// What is emitted for three lights.
pub(super) struct Emitted {
    /// Of the channels' own sub-pixels, before their primaries; by row and column: its slope by each light.
    pub(super) own: Vector3<f64>,
    pub(super) own_slope: Matrix3<f64>,
    /// What greys have beyond that, in LMS, and its slope by each light.
    pub(super) rest: Vector3<f64>,
    pub(super) rest_slope: Matrix3<f64>,
}

impl Emission {
    /// A panel that adds.
    pub(super) fn plain(matrix: Matrix3<f64>) -> Self {
        Self {
            primaries: matrix,
            white: matrix.column_sum(),
            sharing: None,
        }
    }

    /// What is emitted for lights whose smooth minimum is known.
    pub(super) fn of(&self, light: [f64; 3], together: &Together) -> Emitted {
        let Some(sharing) = &self.sharing else {
            return Emitted {
                own: light.into(),
                own_slope: Matrix3::identity(),
                rest: Vector3::zeros(),
                rest_slope: Matrix3::zeros(),
            };
        };
        let (m, by) = (together.value, Vector3::from(together.slope));
        let kept = 1.0 - sharing.share;
        let mut own = Vector3::zeros();
        let mut own_slope = Matrix3::zeros();
        let (mut rest, mut rest_by_m) = (self.white * m, self.white);
        for c in 0..3 {
            let (value, slope) = sharing.saturated(c, light[c] - sharing.share * m);
            own[c] = value;
            for j in 0..3 {
                own_slope[(c, j)] = -slope * sharing.share * by[j];
            }
            own_slope[(c, c)] += slope;
            let (value, slope) = sharing.saturated(c, kept * m);
            rest -= self.primaries.column(c) * value;
            rest_by_m -= self.primaries.column(c) * (slope * kept);
        }
        Emitted {
            own,
            own_slope,
            rest,
            rest_slope: rest_by_m * by.transpose(),
        }
    }

    /// All that is emitted, in LMS above black.
    pub(super) fn lms(&self, light: [f64; 3], together: &Together) -> Vector3<f64> {
        let emitted = self.of(light, together);
        self.primaries * emitted.own + emitted.rest
    }
}

impl Sharing {
    /// `x / (1 + (x/q)^p)^(1/p)`, with its slopes by x, ln q and p; a straight line below 0.
    pub(super) fn saturated_with_slopes(&self, channel: usize, x: f64) -> (f64, [f64; 3]) {
        if x <= 0.0 {
            return (x, [1.0, 0.0, 0.0]);
        }
        let p = self.sharpness;
        let log = (x / self.most[channel]).ln();
        let (soft, share) = softplus(p * log);
        let shrunk = (-soft / p).exp();
        let value = x * shrunk;
        let by_sharpness = (soft / p - share * log) / p;
        (
            value,
            [shrunk * (1.0 - share), value * share, value * by_sharpness],
        )
    }

    /// The value and its slope by x alone.
    fn saturated(&self, channel: usize, x: f64) -> (f64, f64) {
        let (value, [slope, ..]) = self.saturated_with_slopes(channel, x);
        (value, slope)
    }
}

/// `ln(1 + eˣ)` and its slope, without overflow: sharpness may be some hundreds.
fn softplus(x: f64) -> (f64, f64) {
    /// From here on the 1 is below the rounding of the rest.
    const LARGE: f64 = 40.0;
    if x > LARGE {
        (x, 1.0)
    } else {
        let power = x.exp();
        (power.ln_1p(), power / (1.0 + power))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn wide() -> Emission {
        Emission {
            primaries: Matrix3::new(40.0, 20.0, 5.0, 20.0, 70.0, 10.0, 1.0, 8.0, 60.0),
            white: Vector3::new(95.0, 100.0, 108.0),
            sharing: Some(Sharing {
                share: 0.6,
                most: [0.5, 0.6, 0.9],
                sharpness: 6.0,
            }),
        }
    }

    /// However sharp the bend, a channel ends at its most.
    #[test]
    fn the_sharpest_bend_ends_at_the_most() {
        let hard = Sharing {
            share: 0.5,
            most: [1e-3; 3],
            sharpness: 400.0,
        };
        let (value, slopes) = hard.saturated_with_slopes(0, 1.0);
        assert!((value - 1e-3).abs() < 1e-12, "{value}");
        assert!(slopes.iter().all(|s| s.is_finite()), "{slopes:?}");
    }

    proptest! {
        /// Greys are the white's light times theirs; a panel that adds is its matrix.
        #[test]
        fn greys_are_kept(light in 0.0..1.0_f64, other in prop::array::uniform3(0.0..1.0_f64)) {
            /// Roundoff of some ten products of 100.
            const ROUNDOFF: f64 = 1e-11;
            let of = |emission: &Emission, light: [f64; 3]| emission.lms(light, &Together::of(light));
            let wide = wide();
            prop_assert!((of(&wide, [light; 3]) - wide.white * light).amax() < ROUNDOFF);
            let plain = Emission::plain(wide.primaries);
            prop_assert!((of(&plain, other) - wide.primaries * Vector3::from(other)).amax() < ROUNDOFF);
        }

        /// Slopes are those of the values.
        #[test]
        fn slopes_are_those_of_the_light(light in prop::array::uniform3(0.02..1.0_f64)) {
            const STEP: f64 = 1e-6;
            let emission = wide();
            let at = |light: [f64; 3]| emission.of(light, &Together::of(light));
            let here = at(light);
            for j in 0..3 {
                let moved = |by: f64| {
                    let mut light = light;
                    light[j] += by;
                    at(light)
                };
                let (up, down) = (moved(STEP), moved(-STEP));
                for c in 0..3 {
                    let own = (up.own[c] - down.own[c]) / (2.0 * STEP);
                    // The second slope of the minimum is some hundreds where lights are small and equal.
                    prop_assert!((here.own_slope[(c, j)] - own).abs() < 1e-5);
                    let rest = (up.rest[c] - down.rest[c]) / (2.0 * STEP);
                    prop_assert!((here.rest_slope[(c, j)] - rest).abs() < 1e-3);
                }
            }
        }
    }
}
