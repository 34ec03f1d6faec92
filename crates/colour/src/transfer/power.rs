/// Pure power law: signal in [0, 1] to light relative to white, signal^γ.
///
/// Signals below 0 count as 0, since a power of them is not defined.
#[must_use]
pub fn power_eotf(signal: f64, gamma: f64) -> f64 {
    signal.max(0.0).powf(gamma)
}

/// The inverse of [`power_eotf`] for the same γ > 0; light below 0 counts as 0.
#[must_use]
pub fn power_inverse_eotf(light: f64, gamma: f64) -> f64 {
    light.max(0.0).powf(1.0 / gamma)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ROUNDOFF: f64 = 1e-14; // two powers, relative

    proptest! {
        /// The signal survives the way to light and back.
        #[test]
        fn round_trip(signal in 1e-3_f64..1.1, gamma in 1.0_f64..3.0) {
            let back = power_inverse_eotf(power_eotf(signal, gamma), gamma);
            prop_assert!((back / signal - 1.0).abs() < ROUNDOFF);
        }

        /// More signal, more light.
        #[test]
        fn eotf_rises(signal in 0.0_f64..1.0, step in 1e-6_f64..0.1, gamma in 1.0_f64..3.0) {
            prop_assert!(power_eotf(signal, gamma) < power_eotf(signal + step, gamma));
        }
    }

    #[test]
    fn ends_are_kept_and_nothing_is_undefined() {
        assert_eq!((power_eotf(0.0, 2.2), power_eotf(1.0, 2.2)), (0.0, 1.0));
        assert_eq!(
            (power_eotf(-0.1, 2.2), power_inverse_eotf(-0.1, 2.2)),
            (0.0, 0.0)
        );
    }
}
