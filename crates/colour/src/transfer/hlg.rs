const A: f64 = 0.178_832_77;
const B: f64 = 0.284_668_92; // 1 − 4a
const C: f64 = 0.559_910_729_53; // 0.5 − a·ln(4a)

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
    /// luminance. Signal 1 shows 1 + 3e-8 times the white, because the constants are rounded.
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
