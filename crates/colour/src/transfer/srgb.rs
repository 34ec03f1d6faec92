// As printed; 12.92 · 0.0031308 is not quite 0.04045, so a round trip at the break errs by 1e-8.
const SIGNAL_BREAK: f64 = 0.04045;
const LIGHT_BREAK: f64 = 0.003_130_8;

/// sRGB EOTF: signal in [0, 1] to light relative to white, in [0, 1].
///
/// Negative signals follow the straight line.
///
/// # Source
/// IEC 61966-2-1:1999 with amendment 1:2003, clause 5.2.
#[must_use]
pub fn srgb_eotf(signal: f64) -> f64 {
    if signal <= SIGNAL_BREAK {
        signal / 12.92
    } else {
        ((signal + 0.055) / 1.055).powf(2.4)
    }
}

/// The inverse of [`srgb_eotf`].
///
/// # Source
/// IEC 61966-2-1:1999 with amendment 1:2003, clause 5.3.
#[must_use]
pub fn srgb_inverse_eotf(light: f64) -> f64 {
    if light <= LIGHT_BREAK {
        12.92 * light
    } else {
        1.055 * light.powf(1.0 / 2.4) - 0.055
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The printed break points do not quite meet: 12.92·0.0031308 = 0.040449936, and the inverse of
    /// the power errs by as much between the two.
    const BREAK_GAP: f64 = 1e-7;
    const ROUNDOFF: f64 = 1e-14; // five operations on values up to 1

    proptest! {
        /// The signal survives, exactly away from the break and within its gap near it.
        #[test]
        fn round_trip(signal in -0.1_f64..1.1) {
            let error = (srgb_inverse_eotf(srgb_eotf(signal)) - signal).abs();
            let near_break = (signal - SIGNAL_BREAK).abs() < BREAK_GAP;
            prop_assert!(error < if near_break { BREAK_GAP } else { ROUNDOFF }, "{signal}: {error}");
        }

        /// More signal, more light.
        #[test]
        fn eotf_rises(signal in -0.1_f64..1.0, step in 1e-9_f64..0.1) {
            prop_assert!(srgb_eotf(signal) < srgb_eotf(signal + step));
        }
    }

    #[test]
    fn round_trip_at_the_break() {
        assert!((12.92 * LIGHT_BREAK - SIGNAL_BREAK).abs() < BREAK_GAP);
        for signal in [SIGNAL_BREAK, 12.92 * LIGHT_BREAK] {
            assert!((srgb_inverse_eotf(srgb_eotf(signal)) - signal).abs() < BREAK_GAP);
        }
    }
}
