// Exact: the values that make line and power meet in value and slope. The 1.099 and 0.018 printed for
// 8 and 10 bits are these, rounded.
const ALPHA: f64 = 1.099_296_826_809_44;
const BETA: f64 = 0.018_053_968_510_807;

/// BT.709 OETF with the exact constants: scene light in [0, 1] to signal.
///
/// A camera's function and never a display target; what a display shows is [`Bt1886`](crate::Bt1886).
/// Negative light follows the straight line.
///
/// # Source
/// Rec. ITU-R BT.709-6 (06/2015) item 1.2; constants from BT.2020-2 (10/2015) table 4.
#[must_use]
pub fn bt709_oetf(scene_light: f64) -> f64 {
    if scene_light < BETA {
        4.5 * scene_light
    } else {
        ALPHA * scene_light.powf(0.45) - (ALPHA - 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// More light, more signal, across the join too.
        #[test]
        fn oetf_rises(light in -0.1_f64..1.0, step in 1e-9_f64..0.1) {
            prop_assert!(bt709_oetf(light) < bt709_oetf(light + step));
        }
    }

    /// The exact constants meet in value and in slope; their last printed digit is the tolerance.
    #[test]
    fn line_and_power_meet() {
        const PRINTED: f64 = 1e-14; // of ALPHA; BETA has 15 decimals
        let power = ALPHA * BETA.powf(0.45) - (ALPHA - 1.0);
        assert!(
            (power - 4.5 * BETA).abs() < PRINTED,
            "{}",
            power - 4.5 * BETA
        );
        let slope = 0.45 * ALPHA * BETA.powf(-0.55);
        // d(slope)/d(BETA) = −137: half a unit in BETA's last digit is 7e-14 of slope.
        assert!((slope - 4.5).abs() < 1e-13, "{}", slope - 4.5);
    }
}
