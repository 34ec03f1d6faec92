const GAMMA: f64 = 2.4;

/// The reference EOTF of flat-panel studio displays, which bends with the display's own black.
///
/// `L = a·max(V + b, 0)^2.4`, with a and b such that signal 1 shows the white and signal 0 the black.
///
/// # Source
/// Rec. ITU-R BT.1886-0 (03/2011) annex 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bt1886 {
    /// "User gain" a, in cd/m².
    gain: f64,
    /// "User black level lift" b, in signal.
    lift: f64,
}

impl Bt1886 {
    /// The EOTF of a display of this white and black luminance, both in cd/m².
    ///
    /// A black below 0 (a noisy reading) counts as 0. The white must lie above the black: otherwise
    /// no curve joins them and the luminances are not finite.
    #[must_use]
    pub fn new(white_cd_m2: f64, black_cd_m2: f64) -> Self {
        let white_root = white_cd_m2.powf(1.0 / GAMMA);
        let black_root = black_cd_m2.max(0.0).powf(1.0 / GAMMA);
        let span = white_root - black_root;
        Self {
            gain: span.powf(GAMMA),
            lift: black_root / span,
        }
    }

    /// Signal in [0, 1] to display light in cd/m².
    #[must_use]
    pub fn eotf(&self, signal: f64) -> f64 {
        self.gain * (signal + self.lift).max(0.0).powf(GAMMA)
    }

    /// Display light in cd/m² to signal; light below the display's black gives a signal below 0.
    #[must_use]
    pub fn inverse_eotf(&self, luminance_cd_m2: f64) -> f64 {
        (luminance_cd_m2.max(0.0) / self.gain).powf(1.0 / GAMMA) - self.lift
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ROUNDOFF: f64 = 1e-12; // three powers, relative to the value
    const SIGNAL_ROUNDOFF: f64 = 1e-13;

    fn any_display() -> impl Strategy<Value = (f64, f64)> {
        (10.0_f64..2000.0, prop_oneof![Just(0.0), 1e-5_f64..1.0])
    }

    proptest! {
        /// Signal 1 shows the white, signal 0 the black.
        #[test]
        fn ends_are_the_display_s((white, black) in any_display()) {
            let curve = Bt1886::new(white, black);
            prop_assert!((curve.eotf(1.0) / white - 1.0).abs() < ROUNDOFF);
            prop_assert!((curve.eotf(0.0) - black).abs() <= ROUNDOFF * black);
        }

        /// The signal survives the way to light and back.
        #[test]
        fn round_trip((white, black) in any_display(), signal in 1e-4_f64..1.1) {
            let curve = Bt1886::new(white, black);
            prop_assert!((curve.inverse_eotf(curve.eotf(signal)) - signal).abs() < SIGNAL_ROUNDOFF);
        }

        /// More signal, more light.
        #[test]
        fn eotf_rises((white, black) in any_display(), signal in 0.0_f64..1.0, step in 1e-6_f64..0.1) {
            let curve = Bt1886::new(white, black);
            prop_assert!(curve.eotf(signal) < curve.eotf(signal + step));
        }
    }

    #[test]
    fn noisy_black_counts_as_none() {
        assert_eq!(Bt1886::new(100.0, -0.001), Bt1886::new(100.0, 0.0));
    }
}
