use serde::{Deserialize, Serialize};

/// Declares the figures once: fields, their names and their values in one order.
macro_rules! figures {
    ($($(#[$doc:meta])* $name:ident,)*) => {
        /// Figures of one correction on the true panel; empty where nothing could be judged.
        ///
        /// Smaller is better in all of them. Differences are between what the panel shows and the target, over signals
        /// whose target the panel can show. Six significant digits.
        #[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
        pub struct Figures {
            $($(#[$doc])* pub $name: Option<f64>,)*
        }

        impl Figures {
            /// Names of the figures, in the order of [`values`](Self::values).
            pub const NAMES: &'static [&'static str] = &[$(stringify!($name)),*];

            /// The figures in the order of [`NAMES`](Self::NAMES).
            #[must_use]
            pub fn values(&self) -> Vec<Option<f64>> {
                vec![$(self.$name),*]
            }

            /// Every figure with six significant digits, those that are no numbers left out.
            pub(crate) fn rounded(&self) -> Self {
                Self { $($name: self.$name.and_then(six_digits)),* }
            }
        }
    };
}

figures! {
    /// Mean CIEDE2000 over the test signals, the target's white as reference white.
    all_de2000_mean,
    /// Its 95th percentile.
    all_de2000_p95,
    /// Its maximum.
    all_de2000_max,
    /// Mean ΔE ITP over the same signals.
    all_itp_mean,
    /// Its 95th percentile.
    all_itp_p95,
    /// Its maximum.
    all_itp_max,
    /// Mean CIEDE2000 over signals up to the near-black end.
    near_black_de2000_mean,
    /// Its 95th percentile.
    near_black_de2000_p95,
    /// Its maximum.
    near_black_de2000_max,
    /// Mean ΔE ITP over the same signals.
    near_black_itp_mean,
    /// Its 95th percentile.
    near_black_itp_p95,
    /// Its maximum.
    near_black_itp_max,
    /// Mean CIEDE2000 over neutral signals.
    neutral_de2000_mean,
    /// Its 95th percentile.
    neutral_de2000_p95,
    /// Its maximum.
    neutral_de2000_max,
    /// Mean ΔE ITP over the same signals.
    neutral_itp_mean,
    /// Its 95th percentile.
    neutral_itp_p95,
    /// Its maximum.
    neutral_itp_max,
    /// Reversed steps of the neutral ramp.
    grey_reversed_steps,
    /// Deepest reversal of the neutral ramp, ΔE ITP.
    grey_reversal_depth_itp,
    /// RMS(step ratio − 1) of the neutral ramp.
    grey_unevenness,
    /// The same near black.
    grey_near_black_unevenness,
    /// RMS of the first differences of CIEDE2000 along the neutral ramp.
    grey_roughness_de2000,
    /// Merged codes of the neutral ramp at 12 bits, above those of a smooth curve rounded alike.
    grey_merged_excess,
    /// Largest chroma error of the neutral ramp about its own trend, ΔE ITP.
    grey_wobble_itp,
    /// Reversed steps of all ten ramps together.
    ramps_reversed_steps,
    /// Deepest reversal of any ramp, ΔE ITP.
    ramps_reversal_depth_itp,
    /// Mean over the ramps of the unevenness.
    ramps_unevenness,
    /// Mean over the ramps of the unevenness near black.
    ramps_near_black_unevenness,
    /// Mean over the ramps of the RMS roughness.
    ramps_roughness_de2000,
    /// Merged codes above the floor of all ramps together.
    ramps_merged_excess,
}

/// Six significant digits: far finer than the figures mean, short to write, and read back as written.
pub(crate) fn six_digits(value: f64) -> Option<f64> {
    let rounded = format!("{value:.5e}").parse::<f64>().ok()?;
    rounded.is_finite().then_some(rounded)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_rounded_and_what_is_no_number_is_empty() {
        let figures = Figures {
            all_de2000_mean: Some(0.123_456_789),
            all_de2000_p95: Some(f64::NAN),
            all_de2000_max: Some(f64::INFINITY),
            grey_reversed_steps: Some(1_234_567.0),
            ..Figures::default()
        }
        .rounded();
        assert_eq!(figures.all_de2000_mean, Some(0.123_457));
        assert_eq!(figures.all_de2000_p95, None);
        assert_eq!(figures.all_de2000_max, None);
        assert_eq!(figures.grey_reversed_steps, Some(1_234_570.0));
        assert_eq!(figures.values().len(), Figures::NAMES.len());
    }
}
