use evenstep_colour::Xyz;

/// Light of a spectrum as seen by the CIE 1931 standard observer, with its luminance set to a value.
///
/// The spectrum is sampled from 380 to 780 nm in steps of 1 nm.
pub(super) fn xyz_of(spectrum: impl Fn(f64) -> f64, cd_m2: f64) -> Xyz {
    let mut sum = [0.0; 3];
    for nm in 380..=780 {
        let wavelength = f64::from(nm);
        let power = spectrum(wavelength);
        for (sum, response) in sum.iter_mut().zip(observer(wavelength)) {
            *sum += power * response;
        }
    }
    Xyz(sum.map(|v| v * cd_m2 / sum[1]))
}

/// Σ power · ȳ: luminance up to a factor common to all spectra.
pub(super) fn luminous_sum(spectrum: impl Fn(f64) -> f64) -> f64 {
    let seen = |nm: i32| spectrum(f64::from(nm)) * observer(f64::from(nm))[1];
    (380..=780).map(seen).sum()
}

/// exp(−½ ((λ − peak)/σ)²) with σ from the full width at half maximum.
pub(super) fn band(wavelength: f64, peak: f64, fwhm: f64) -> f64 {
    // FWHM = 2 √(2 ln 2) σ.
    let sigma = fwhm / (8.0 * std::f64::consts::LN_2).sqrt();
    (-0.5 * ((wavelength - peak) / sigma).powi(2)).exp()
}

/// x̄, ȳ, z̄ of the CIE 1931 2° observer, approximated; wavelength in nm.
///
/// # Source
/// Wyman, Sloan & Shirley (2013), Journal of Computer Graphics Techniques 2(2), the multi-lobe fit; coefficients from
/// memory, held against the published functions by the test. Good enough for invented panels, not for measuring.
fn observer(wavelength: f64) -> [f64; 3] {
    let lobe = |height: f64, peak: f64, below: f64, above: f64| {
        let width = if wavelength < peak { below } else { above };
        height * (-0.5 * ((wavelength - peak) / width).powi(2)).exp()
    };
    [
        lobe(1.056, 599.8, 37.9, 31.0)
            + lobe(0.362, 442.0, 16.0, 26.7)
            + lobe(-0.065, 501.1, 20.4, 26.2),
        lobe(0.821, 568.8, 46.9, 40.5) + lobe(0.286, 530.9, 16.3, 31.1),
        lobe(1.217, 437.0, 11.8, 36.0) + lobe(0.681, 459.0, 26.0, 13.8),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The paper states errors of this size for its fit (from memory).
    const FIT: f64 = 0.05;

    /// CIE 1931 2° colour-matching functions, CIE 018:2019 table 6 (values from memory).
    #[test]
    fn the_observer_is_near_the_published_one() {
        for (nm, published) in [
            (450.0, [0.3362, 0.0380, 1.7721]),
            (500.0, [0.0049, 0.3230, 0.2720]),
            (555.0, [0.5121, 1.0000, 0.0057]),
            (600.0, [1.0622, 0.6310, 0.0008]),
            (650.0, [0.2835, 0.1070, 0.0000]),
        ] {
            for (got, published) in observer(nm).iter().zip(published) {
                assert!(
                    (got - published).abs() < FIT,
                    "{nm} nm: {got} for {published}"
                );
            }
        }
    }

    #[test]
    fn a_band_has_its_width() {
        assert!((band(500.0 + 15.0, 500.0, 30.0) - 0.5).abs() < 1e-12);
    }
}
