const A: f64 = 0.178_832_77;
const B: f64 = 0.284_668_92; // 1 − 4a
const C: f64 = 0.559_910_729_529_562; // 0.5 − a·ln(4a), which is how the table defines it

/// Luminance of BT.2020 RGB, to the four digits BT.2100 prints.
const LUMINANCE: [f64; 3] = [0.2627, 0.6780, 0.0593];

/// HLG OETF: scene light in [0, 1] to signal in [0, 1]. Light below 0 counts as 0.
///
/// # Source
/// Rec. ITU-R BT.2100-2 (07/2018) table 5.
#[must_use]
pub fn hlg_oetf(scene_light: f64) -> f64 {
    if scene_light <= 1.0 / 12.0 {
        (3.0 * scene_light.max(0.0)).sqrt()
    } else {
        A * (12.0 * scene_light - B).ln() + C
    }
}

/// The inverse of [`hlg_oetf`]. Signals below 0 count as 0.
///
/// # Source
/// Rec. ITU-R BT.2100-2 (07/2018) table 5.
#[must_use]
pub fn hlg_inverse_oetf(signal: f64) -> f64 {
    if signal <= 0.5 {
        let signal = signal.max(0.0);
        signal * signal / 3.0
    } else {
        (((signal - C) / A).exp() + B) / 12.0
    }
}

/// HLG shown on a display of given white and black.
///
/// The black lift acts on the signal, before the inverse OETF, as BT.2100-2 has it; earlier editions
/// put it after the OOTF and give other shadows.
///
/// # Source
/// Rec. ITU-R BT.2100-2 (07/2018) table 5.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hlg {
    white_cd_m2: f64,
    system_gamma: f64,
    lift: f64,
}

impl Hlg {
    /// HLG for a display of this white and black luminance in cd/m²; the white must be positive.
    ///
    /// A black below 0 (a noisy reading) counts as 0.
    #[must_use]
    pub fn new(white_cd_m2: f64, black_cd_m2: f64) -> Self {
        let system_gamma = system_gamma(white_cd_m2);
        let black = black_cd_m2.max(0.0) / white_cd_m2;
        Self {
            white_cd_m2,
            system_gamma,
            lift: (3.0 * black.powf(1.0 / system_gamma)).sqrt(),
        }
    }

    /// The exponent of the OOTF in use.
    ///
    /// 1.2 + 0.42·log₁₀(L_w/1000) for a white of 400 to 2000 cd/m², 1.2·1.111^log₂(L_w/1000) outside.
    /// The two rules differ by 0.01 where they meet, as published.
    #[must_use]
    pub fn system_gamma(&self) -> f64 {
        self.system_gamma
    }

    /// BT.2020 R′G′B′ signals in [0, 1] to BT.2020 light in cd/m².
    ///
    /// The channels depend on each other: the OOTF scales all three by a power of the scene's
    /// luminance. Signal 1 shows 1 + 3e-8 times the white, because a is rounded to eight decimals.
    #[must_use]
    pub fn eotf(&self, rgb_signal: [f64; 3]) -> [f64; 3] {
        let scene = rgb_signal.map(|v| hlg_inverse_oetf((1.0 - self.lift) * v + self.lift));
        let luminance: f64 = scene.iter().zip(LUMINANCE).map(|(e, w)| e * w).sum();
        if luminance <= 0.0 {
            return [0.0; 3]; // below about 300 cd/m² the exponent is negative: 0 would give ∞·0
        }
        let scale = self.white_cd_m2 * luminance.powf(self.system_gamma - 1.0);
        scene.map(|e| scale * e)
    }
}

/// # Source
/// Rec. ITU-R BT.2100-2 (07/2018) table 5 with notes 5e and 5f; Report ITU-R BT.2390 for the second
/// rule. Range and note numbers from memory.
fn system_gamma(white_cd_m2: f64) -> f64 {
    let ratio = white_cd_m2 / 1000.0;
    if (400.0..=2000.0).contains(&white_cd_m2) {
        1.2 + 0.42 * ratio.log10()
    } else {
        1.2 * 1.111_f64.powf(ratio.log2())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::array::uniform3;
    use proptest::prelude::*;

    const ROUNDOFF: f64 = 1e-14; // six operations on values up to 1
    /// a is rounded to eight decimals, so the pieces meet, and the white is hit, to 3e-8 only.
    const CONSTANTS: f64 = 1e-7;

    fn any_display() -> impl Strategy<Value = Hlg> {
        (50.0_f64..4000.0, prop_oneof![Just(0.0), 1e-5_f64..0.5])
            .prop_map(|(white, black)| Hlg::new(white, black))
    }

    proptest! {
        /// The signal survives the way to scene light and back.
        #[test]
        fn round_trip(signal in 0.0_f64..1.0) {
            let error = (hlg_oetf(hlg_inverse_oetf(signal)) - signal).abs();
            let near_join = (signal - 0.5).abs() < CONSTANTS;
            prop_assert!(error < if near_join { CONSTANTS } else { ROUNDOFF }, "{signal}: {error}");
        }

        /// More light, more signal.
        #[test]
        fn oetf_rises(light in 0.0_f64..1.0, step in 1e-7_f64..0.1) {
            prop_assert!(hlg_oetf(light) < hlg_oetf(light + step));
        }

        /// Along neutrals more signal is more light; the ends are the display's.
        #[test]
        fn neutrals_rise_from_black_to_white(
            white in 50.0_f64..4000.0, black in 1e-5_f64..0.5, signal in 0.0_f64..1.0, step in 1e-6_f64..0.1,
        ) {
            let hlg = Hlg::new(white, black);
            prop_assert!(hlg.eotf([signal; 3])[1] < hlg.eotf([signal + step; 3])[1]);
            prop_assert!((hlg.eotf([1.0; 3])[1] / white - 1.0).abs() < CONSTANTS);
            prop_assert!((hlg.eotf([0.0; 3])[1] / black - 1.0).abs() < CONSTANTS);
        }

        /// No signal is undefined on any display.
        #[test]
        fn eotf_is_finite(hlg in any_display(), signal in uniform3(-0.1_f64..1.1)) {
            prop_assert!(hlg.eotf(signal).iter().all(|v| v.is_finite() && *v >= 0.0));
        }
    }

    /// A dim display has an exponent below 1, where black must not become ∞·0.
    #[test]
    fn black_is_black_on_a_dim_display() {
        let dim = Hlg::new(100.0, 0.0);
        assert!(dim.system_gamma() < 1.0);
        assert_eq!(dim.eotf([0.0; 3]), [0.0; 3]);
    }
}
