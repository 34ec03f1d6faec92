/// The luminance of PQ signal 1, in cd/m².
pub const PQ_PEAK_CD_M2: f64 = 10_000.0;

const M1: f64 = 2610.0 / 16384.0;
const M2: f64 = 2523.0 / 4096.0 * 128.0;
const C1: f64 = 3424.0 / 4096.0;
const C2: f64 = 2413.0 / 4096.0 * 32.0;
const C3: f64 = 2392.0 / 4096.0 * 32.0;

/// PQ EOTF: signal in [0, 1] to display light in cd/m².
///
/// Signals below that of black (7.3e-7) give 0. Signals above 1 continue the formula, which reaches
/// infinity near 1.99 and stays there.
///
/// # Source
/// SMPTE ST 2084:2014 clause 5; Rec. ITU-R BT.2100-2 (07/2018) table 4.
#[must_use]
pub fn pq_eotf(signal: f64) -> f64 {
    let root = signal.max(0.0).powf(1.0 / M2);
    let denominator = C2 - C3 * root;
    if denominator <= 0.0 {
        return f64::INFINITY;
    }
    PQ_PEAK_CD_M2 * ((root - C1).max(0.0) / denominator).powf(1.0 / M1)
}

/// PQ inverse EOTF: display light in cd/m² to signal.
///
/// Light below 0 counts as 0. The signal of 0 cd/m² is 7.3e-7, not 0.
///
/// # Source
/// SMPTE ST 2084:2014 clause 5; Rec. ITU-R BT.2100-2 (07/2018) table 4.
#[must_use]
pub fn pq_inverse_eotf(luminance_cd_m2: f64) -> f64 {
    let power = (luminance_cd_m2.max(0.0) / PQ_PEAK_CD_M2).powf(M1);
    ((C1 + C2 * power) / (1.0 + C3 * power)).powf(M2)
}

/// [`pq_inverse_eotf`] and its derivative, signal per cd/m²; the derivative counts as 0 where the light is not above 0.
///
/// # Source
/// The same formula, differentiated.
#[must_use]
pub fn pq_inverse_eotf_with_slope(luminance_cd_m2: f64) -> (f64, f64) {
    let power = (luminance_cd_m2.max(0.0) / PQ_PEAK_CD_M2).powf(M1);
    let (above, below) = (C1 + C2 * power, 1.0 + C3 * power);
    let signal = (above / below).powf(M2);
    if luminance_cd_m2 <= 0.0 {
        return (signal, 0.0);
    }
    let by_power = signal * M2 * (C2 / above - C3 / below);
    (signal, by_power * M1 * power / luminance_cd_m2)
}

/// [`pq_eotf`] and its derivative, cd/m² per signal; the derivative counts as 0 where the light is 0 or infinite.
///
/// # Source
/// The same formula, differentiated.
#[must_use]
pub fn pq_eotf_with_slope(signal: f64) -> (f64, f64) {
    let root = signal.max(0.0).powf(1.0 / M2);
    let (above, below) = (root - C1, C2 - C3 * root);
    if below <= 0.0 {
        return (f64::INFINITY, 0.0);
    }
    if above <= 0.0 {
        return (0.0, 0.0);
    }
    let light = PQ_PEAK_CD_M2 * (above / below).powf(1.0 / M1);
    let by_root = light / M1 * (1.0 / above + C3 / below);
    (light, by_root * root / (M2 * signal))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    // The signal's rounding (1e-16) times the slope of ln L, at most 400 above 1e-4 cd/m².
    const LIGHT_ROUNDOFF: f64 = 1e-12;
    const SIGNAL_ROUNDOFF: f64 = 1e-13;

    proptest! {
        /// Light survives the way to the signal and back, above the brightest signal too.
        #[test]
        fn light_round_trip(ln_l in -9.2_f64..9.5) {
            let light = ln_l.exp();
            prop_assert!((pq_eotf(pq_inverse_eotf(light)) / light - 1.0).abs() < LIGHT_ROUNDOFF);
        }

        /// The signal survives the way to light and back.
        #[test]
        fn signal_round_trip(signal in 1e-3_f64..=1.0) {
            prop_assert!((pq_inverse_eotf(pq_eotf(signal)) - signal).abs() < SIGNAL_ROUNDOFF);
        }

        /// More signal, more light.
        #[test]
        fn eotf_rises(signal in 1e-5_f64..1.9, step in 1e-9_f64..0.1) {
            prop_assert!(pq_eotf(signal) < pq_eotf(signal + step));
        }

        /// Both slopes come with the values of the plain functions, are the limits of central differences, and are
        /// each other's inverse.
        #[test]
        fn slopes_are_derivatives(ln_l in -9.2_f64..9.5) {
            let light = ln_l.exp();
            let (signal, slope) = pq_inverse_eotf_with_slope(light);
            prop_assert_eq!(signal, pq_inverse_eotf(light));
            let step = 1e-4;
            let difference = (pq_inverse_eotf(light * (1.0 + step)) - pq_inverse_eotf(light * (1.0 - step))) / (2.0 * step * light);
            // The last power multiplies rounding by 79, 2e-14 of a signal that changes by 1e-5; step² = 1e-8 times a
            // third derivative of some size.
            prop_assert!((slope / difference - 1.0).abs() < 1e-7);
            let (back, inverse) = pq_eotf_with_slope(signal);
            prop_assert_eq!(back, pq_eotf(signal));
            prop_assert!((inverse * slope - 1.0).abs() < 1e-11);
        }

        /// No signal is undefined.
        #[test]
        fn eotf_is_never_nan(signal in -1e3_f64..1e3) {
            prop_assert!(pq_eotf(signal) >= 0.0);
        }
    }

    #[test]
    fn negative_light_is_black() {
        assert_eq!(pq_inverse_eotf(-1.0), pq_inverse_eotf(0.0));
        assert_eq!(pq_eotf(0.0), 0.0);
        assert_eq!(pq_eotf_with_slope(0.0), (0.0, 0.0));
        assert_eq!(pq_eotf_with_slope(5.0), (f64::INFINITY, 0.0));
        assert_eq!(
            pq_inverse_eotf_with_slope(-1.0),
            (pq_inverse_eotf(0.0), 0.0)
        );
    }
}
