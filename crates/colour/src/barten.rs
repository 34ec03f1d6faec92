use std::f64::consts::PI;

/// How a just detectable sine grating of modulation 1/S is turned into a step ΔL/L.
///
/// The two differ by a factor of 1.27; name the one in use beside every figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ContrastConvention {
    /// 2/S: the peak-to-peak modulation of the sine itself.
    ///
    /// # Source
    /// Miller, Nezamabadi & Daly, "Perceptual Signal Coding for More Efficient Usage of Bit Codes",
    /// SMPTE Motion Imaging Journal 122(4), 2013.
    PeakToPeak,
    /// 2/(1.27·S): a step is a square wave, whose fundamental is 4/π ≈ 1.27 times its own amplitude.
    ///
    /// # Source
    /// Report ITU-R BT.2246, figure "minimum detectable contrast".
    SquareWave,
}

impl ContrastConvention {
    /// ΔL/L of the step that is just detectable at a contrast sensitivity.
    const fn step(self, sensitivity: f64) -> f64 {
        match self {
            Self::PeakToPeak => 2.0 / sensitivity,
            // 1.27 as the report rounds 4/π.
            Self::SquareWave => 2.0 / (1.27 * sensitivity),
        }
    }
}

/// Barten's contrast sensitivity of the human eye for a large field.
///
/// ```text
/// S(u) = (M(u) / k) / √( (2/T)·(1/X0² + 1/Xmax² + u²/Nmax²) · (1/(η·p·E) + Φ0/(1 − exp(−(u/u0)²))) )
/// M(u) = exp(−2π²σ²u²),  σ² = σ0² + (Cab·d)²
/// d    = 5 − 3·tanh(0.4·log₁₀(L·X0²/40²))                 pupil diameter in mm
/// E    = (π·d²/4)·L·(1 − (d/9.7)² + (d/12.4)⁴)            retinal illuminance in Td
/// ```
///
/// # Source
/// P. G. J. Barten, "Contrast Sensitivity of the Human Eye and its Effects on Image Quality", SPIE
/// 1999, equation 3.26; parameters as in Report ITU-R BT.2246.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BartenObserver {
    /// k, signal-to-noise ratio at threshold.
    pub signal_to_noise: f64,
    /// T, integration time of the eye in seconds.
    pub integration_s: f64,
    /// X0, angular size of the object in degrees.
    pub object_deg: f64,
    /// Xmax, largest angle of integration in degrees.
    pub max_angle_deg: f64,
    /// Nmax, largest number of cycles integrated.
    pub max_cycles: f64,
    /// η, quantum efficiency of the eye.
    pub quantum_efficiency: f64,
    /// p, photons per second, square degree and troland.
    pub photon_conversion: f64,
    /// Φ0, spectral density of the neural noise in s·deg².
    pub neural_noise: f64,
    /// u0, frequency in cycles per degree below which lateral inhibition attenuates.
    pub inhibition_cpd: f64,
    /// σ0, width of the eye's line-spread function at a small pupil, in minutes of arc.
    pub blur_arcmin: f64,
    /// Cab, growth of that width with the pupil, in minutes of arc per mm.
    pub aberration_arcmin_per_mm: f64,
}

/// Range in which the peak over u is looked for, in cycles per degree: it lies between 0.1 and 2 for
/// any luminance a display shows.
const LOWEST_CPD: f64 = 0.01;
const HIGHEST_CPD: f64 = 100.0;

/// Golden-section steps: 9.2·0.618³⁶ = 3e-7 in ln u, and S is flat to second order at its peak.
const GOLDEN_STEPS: usize = 36;

impl BartenObserver {
    /// The observer of BT.2246 for ultra-high definition: a field of 60°.
    ///
    /// # Source
    /// Report ITU-R BT.2246, parameters of the figure "minimum detectable contrast".
    pub const BT2246_60_DEG: Self = Self {
        signal_to_noise: 3.0,
        integration_s: 0.1,
        object_deg: 60.0,
        max_angle_deg: 12.0,
        max_cycles: 15.0,
        quantum_efficiency: 0.03,
        photon_conversion: 1.2274e6,
        neural_noise: 3e-8,
        inhibition_cpd: 7.0,
        blur_arcmin: 0.5,
        aberration_arcmin_per_mm: 0.08,
    };

    /// The same eye with a field of 40°, as used in the design of PQ.
    ///
    /// # Source
    /// Miller, Nezamabadi & Daly, SMPTE Motion Imaging Journal 122(4), 2013 (the 40° from memory).
    pub const PQ_DESIGN_40_DEG: Self = Self {
        object_deg: 40.0,
        ..Self::BT2246_60_DEG
    };

    /// Contrast sensitivity S for a sine grating of `frequency_cpd` cycles per degree, both > 0.
    #[must_use]
    pub fn sensitivity(&self, luminance_cd_m2: f64, frequency_cpd: f64) -> f64 {
        self.adapted_to(luminance_cd_m2).sensitivity(frequency_cpd)
    }

    /// The largest contrast sensitivity over all spatial frequencies, for a luminance > 0 in cd/m².
    ///
    /// Costs 38 evaluations of the formula: golden section in ln u. It cannot miss, because each
    /// term of ln S is concave in ln u.
    #[must_use]
    pub fn peak_sensitivity(&self, luminance_cd_m2: f64) -> f64 {
        let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
        let eye = self.adapted_to(luminance_cd_m2);
        let at = |ln_u: f64| eye.sensitivity(ln_u.exp());
        let (mut low, mut high) = (LOWEST_CPD.ln(), HIGHEST_CPD.ln());
        let mut left = high - golden * (high - low);
        let mut right = low + golden * (high - low);
        let (mut at_left, mut at_right) = (at(left), at(right));
        for _ in 0..GOLDEN_STEPS {
            if at_left < at_right {
                low = left;
                (left, at_left) = (right, at_right);
                right = low + golden * (high - low);
                at_right = at(right);
            } else {
                high = right;
                (right, at_right) = (left, at_left);
                left = high - golden * (high - low);
                at_left = at(left);
            }
        }
        at_left.max(at_right)
    }

    /// The just detectable step ΔL/L at a luminance > 0 in cd/m², as a fraction (0.01 is 1 %).
    #[must_use]
    pub fn step_threshold(&self, luminance_cd_m2: f64, convention: ContrastConvention) -> f64 {
        convention.step(self.peak_sensitivity(luminance_cd_m2))
    }

    /// How many thresholds the step between two luminances in cd/m² is: 1 is just detectable, and a
    /// fall is negative.
    ///
    /// The step is (L₂ − L₁)/L̄ with L̄ their mean, and the threshold that of L̄. Both luminances
    /// include black and flare; L̄ must be positive.
    #[must_use]
    pub fn steps_between(
        &self,
        from_cd_m2: f64,
        to_cd_m2: f64,
        convention: ContrastConvention,
    ) -> f64 {
        let mean = 0.5 * (from_cd_m2 + to_cd_m2);
        (to_cd_m2 - from_cd_m2) / mean / self.step_threshold(mean, convention)
    }

    /// All that depends on luminance alone, so that the search over u does not repeat it.
    fn adapted_to(&self, luminance_cd_m2: f64) -> AdaptedEye<'_> {
        let area = self.object_deg * self.object_deg;
        let pupil_mm = 5.0 - 3.0 * (0.4 * (luminance_cd_m2 * area / 1600.0).log10()).tanh();
        let directional = 1.0 - (pupil_mm / 9.7).powi(2) + (pupil_mm / 12.4).powi(4);
        let trolands = 0.25 * PI * pupil_mm * pupil_mm * luminance_cd_m2 * directional;
        let blur_deg = self
            .blur_arcmin
            .hypot(self.aberration_arcmin_per_mm * pupil_mm)
            / 60.0;
        AdaptedEye {
            observer: self,
            blur: 2.0 * PI * PI * blur_deg * blur_deg,
            photon_noise: 1.0 / (self.quantum_efficiency * self.photon_conversion * trolands),
            inverse_area: 1.0 / area + 1.0 / (self.max_angle_deg * self.max_angle_deg),
        }
    }
}

/// A [`BartenObserver`] at one luminance.
struct AdaptedEye<'a> {
    observer: &'a BartenObserver,
    /// 2π²σ² in deg².
    blur: f64,
    /// 1/(η·p·E) in s·deg².
    photon_noise: f64,
    /// 1/X0² + 1/Xmax² in deg⁻².
    inverse_area: f64,
}

impl AdaptedEye<'_> {
    fn sensitivity(&self, frequency_cpd: f64) -> f64 {
        let observer = self.observer;
        let squared = frequency_cpd * frequency_cpd;
        let inhibition = squared / (observer.inhibition_cpd * observer.inhibition_cpd);
        // exp_m1 keeps the digits of 1 − exp(−x) at low frequencies.
        let neural_noise = observer.neural_noise / -(-inhibition).exp_m1();
        let integration = 2.0 / observer.integration_s
            * (self.inverse_area + squared / (observer.max_cycles * observer.max_cycles));
        let transfer = (-self.blur * squared).exp();
        transfer
            / observer.signal_to_noise
            / (integration * (self.photon_noise + neural_noise)).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ROUNDOFF: f64 = 1e-12; // about 30 operations, relative
    const EYES: [BartenObserver; 2] = [
        BartenObserver::BT2246_60_DEG,
        BartenObserver::PQ_DESIGN_40_DEG,
    ];

    proptest! {
        /// No frequency is seen better than the peak.
        #[test]
        fn nothing_exceeds_the_peak(ln_l in -7.0_f64..9.3, ln_u in -4.6_f64..4.6, which in 0_usize..2) {
            let (eye, luminance) = (EYES[which], ln_l.exp());
            let peak = eye.peak_sensitivity(luminance);
            prop_assert!(eye.sensitivity(luminance, ln_u.exp()) <= peak * (1.0 + ROUNDOFF));
        }

        /// ln S is concave in ln u, so the golden section finds the only peak.
        #[test]
        fn sensitivity_is_log_concave(
            ln_l in -7.0_f64..9.3, ln_u in -4.0_f64..2.5, half in 0.01_f64..0.6, which in 0_usize..2,
        ) {
            let at = |x: f64| EYES[which].sensitivity(ln_l.exp(), x.exp()).ln();
            prop_assert!(at(ln_u - half) + at(ln_u + half) <= 2.0 * at(ln_u) + ROUNDOFF);
        }

        /// Swapping the ends of a step changes its sign alone; the conventions differ by 1.27.
        #[test]
        fn steps_are_signed(ln_l in -7.0_f64..9.0, ratio in 1.0001_f64..1.5, which in 0_usize..2) {
            let (eye, from) = (EYES[which], ln_l.exp());
            let rise = eye.steps_between(from, from * ratio, ContrastConvention::SquareWave);
            let fall = eye.steps_between(from * ratio, from, ContrastConvention::SquareWave);
            let sine = eye.steps_between(from, from * ratio, ContrastConvention::PeakToPeak);
            prop_assert!(rise > 0.0);
            prop_assert_eq!(rise, -fall);
            prop_assert!((rise / sine - 1.27).abs() < ROUNDOFF);
        }
    }
}
