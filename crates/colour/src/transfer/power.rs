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
