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
