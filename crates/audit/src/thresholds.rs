//! The limits of the verdict, each with its source or the reason for our choice.
//!
//! One list holds all of them: constants, fields, units and reasons are made from it, so that what a file of thresholds
//! prints and what the documentation says cannot differ.

use serde::Serialize;

/// One limit as a list shows it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limit {
    /// Name of the field of [`Thresholds`], and of the table in a file.
    pub name: &'static str,
    /// What the value counts.
    pub unit: &'static str,
    /// Whether the value is a count and has to be whole.
    pub is_count: bool,
    /// What the limit is for.
    pub meaning: &'static str,
    /// Its source, or why we chose it.
    pub reason: &'static str,
}

/// Why a limit could not be set.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LimitError {
    /// No limit of that name.
    #[error("{name} is no threshold; take a name from the list of the defaults")]
    Unknown {
        /// The name given.
        name: String,
    },
    /// A value no limit can have.
    #[error("{name} is {found}; give a number from {least} up{}", if *.is_count { ", a whole one" } else { "" })]
    Value {
        /// The limit.
        name: String,
        /// The value given.
        found: f64,
        /// The smallest value it can have.
        least: f64,
        /// Whether it counts something.
        is_count: bool,
    },
}

/// The smallest value of a limit: one code is no plateau.
fn least(name: &str) -> f64 {
    if name == "plateau_codes" { 2.0 } else { 0.0 }
}

/// A limit's value in a list: counts are whole numbers there, too.
trait Listed: Copy {
    const IS_COUNT: bool;
    fn listed(self) -> f64;
    fn unlisted(value: f64) -> Self;
}

impl Listed for f64 {
    const IS_COUNT: bool = false;
    fn listed(self) -> f64 {
        self
    }
    fn unlisted(value: f64) -> Self {
        value
    }
}

impl Listed for usize {
    const IS_COUNT: bool = true;
    fn listed(self) -> f64 {
        self as f64
    }
    fn unlisted(value: f64) -> Self {
        // Checked to be whole and not negative; a cast saturates.
        value as Self
    }
}

macro_rules! thresholds {
    ($($constant:ident $field:ident: $kind:ty = $value:expr, $unit:literal, $meaning:literal, $reason:literal;)*) => {
        $(
            #[doc = $meaning]
            ///
            #[doc = concat!("Unit: ", $unit, ". ", $reason)]
            pub const $constant: $kind = $value;
        )*

        /// The limits of the verdict. The defaults are the constants of this file.
        #[derive(Clone, Copy, Debug, PartialEq, Serialize)]
        pub struct Thresholds {
            $(#[doc = concat!("[`", stringify!($constant), "`].")] pub $field: $kind,)*
        }

        impl Default for Thresholds {
            fn default() -> Self {
                Self { $($field: $constant,)* }
            }
        }

        /// All limits, in the order of the fields.
        pub const LIMITS: &[Limit] = &[$(Limit {
            name: stringify!($field),
            unit: $unit,
            is_count: <$kind as Listed>::IS_COUNT,
            meaning: $meaning,
            reason: $reason,
        },)*];

        impl Thresholds {
            /// The values in the order of [`LIMITS`].
            #[must_use]
            pub fn values(&self) -> Vec<f64> {
                vec![$(self.$field.listed(),)*]
            }

            /// Sets the limit of a name.
            ///
            /// # Errors
            /// [`LimitError`] for a name that is none, for values that are negative or no numbers, for parts of what is
            /// counted, and for a plateau of fewer than two codes.
            pub fn set(&mut self, name: &str, value: f64) -> Result<(), LimitError> {
                let least = least(name);
                let refused = |is_count: bool| LimitError::Value {
                    name: name.to_owned(),
                    found: value,
                    least,
                    is_count,
                };
                match name {
                    $(stringify!($field) => {
                        let is_count = <$kind as Listed>::IS_COUNT;
                        if !value.is_finite() || value < least || is_count && value.fract() != 0.0 {
                            return Err(refused(is_count));
                        }
                        self.$field = <$kind as Listed>::unlisted(value);
                    })*
                    _ => return Err(LimitError::Unknown { name: name.to_owned() }),
                }
                Ok(())
            }
        }
    };
}

thresholds! {
    VISIBLE_REVERSAL_ITP visible_reversal_itp: f64 = 1.0,
        "ΔE ITP",
        "A luminance reversal this deep is visible, in ΔE ITP.",
        "Source: Rec. ITU-R BT.2124-0: 1 is the threshold in the most critical state of adaptation.";
    PLATEAU_JUMP_ITP plateau_jump_itp: f64 = 2.0,
        "ΔE ITP",
        "A step that ends a near-black plateau may exceed its ideal by less than this, in ΔE ITP.",
        "Our choice, because 1 is just noticeable in the most critical state (Rec. ITU-R BT.2124-0) and one code beyond it is still an ordinary step of an 8-bit picture; twice the threshold is a visible edge.";
    UNEVENNESS_TIMES_BASE_STOP unevenness_times_base_stop: f64 = 2.0,
        "times the base correction",
        "Unevenness over the base correction's from which a LUT is not to be loaded.",
        "Our choice, because a correction that doubles the irregularity of the steps takes away more gradation than it gives in colour.";
    UNEVENNESS_TIMES_BASE_CARE unevenness_times_base_care: f64 = 1.25,
        "times the base correction",
        "Unevenness over the base correction's from which care is needed.",
        "Our choice, because a quarter more is beyond what re-reading the same panel changes.";
    UNEVENNESS_IGNORED unevenness_ignored: f64 = 0.10,
        "of a step, root mean square",
        "Unevenness up to which a ramp is never blamed, whatever the base does.",
        "Source: AAPM TG18 (2005) clause 4.3, from memory: contrast response of primary displays within 10 %.";
    WOBBLE_ITP wobble_itp: f64 = 1.0,
        "ΔE ITP",
        "Chroma wobble of the neutral ramp from which care is needed, in ΔE ITP.",
        "Source: Rec. ITU-R BT.2124-0: 1 is the threshold in the most critical state of adaptation.";
    WOBBLE_TIMES_BASE wobble_times_base: f64 = 1.25,
        "times the base correction",
        "Chroma wobble over the base correction's up to which a visible one is not blamed on a LUT.",
        "Our choice, equal to unevenness_times_base_care: what a grey balance of the same readings does in the same lattice is no reason to leave it out.";
    COLOUR_SEEN_CD_M2 colour_seen_cd_m2: f64 = 0.005,
        "cd/m²",
        "Luminance below which a grey's tint is not looked at, in cd/m².",
        "Source: CIE 191:2010, from memory: mesopic vision ends at 0.005 cd/m²; below it the rods see alone, and they see no colour.";
    VISIBLE_BUMP_ITP visible_bump_itp: f64 = 1.0,
        "ΔE ITP",
        "A bump of a named ramp this large is visible, in ΔE ITP.",
        "Source: Rec. ITU-R BT.2124-0: 1 is the threshold in the most critical state of adaptation.";
    BUMP_DRIVE bump_drive: f64 = 0.005,
        "of drive, length over the three channels",
        "Bump of the drive of a named ramp from which care is needed when the panel is unknown.",
        "Our choice, because 0.003 in each of three channels is 1.3 % of luminance at half drive on a panel of power 2.2, about 1 ΔE ITP at 20 cd/m², and 200 smooth LUTs stayed far below it (docs/audit-sensitivity).";
    VISIBLE_FOLD_ITP visible_fold_itp: f64 = 1.0,
        "ΔE ITP",
        "A fold that goes back this far in what the panel shows is visible, in ΔE ITP.",
        "Source: Rec. ITU-R BT.2124-0: 1 is the threshold in the most critical state of adaptation.";
    NOISE_GAIN noise_gain: f64 = 2.0,
        "times the target",
        "95th percentile of the noise gain, near black or in mid-tones, above which care is needed.",
        "Our choice, because noise of an 8-bit picture is about one code, and a gain of 2 shows it as if the picture had 7 bits.";
    PLATEAU_CODES plateau_codes: usize = 4,
        "codes",
        "Codes of equal unrounded output from which a reachable plateau needs care.",
        "Our choice, because three equal 10-bit codes of a PQ signal hide 2 · 0.70 ΔE ITP, little over one just-noticeable difference, and four hide two.";
    MERGED_EXCESS_SHARE merged_excess_share: f64 = 0.02,
        "of the pairs of codes",
        "Share of a ramp's pairs that rounding may merge beyond the floor.",
        "Our choice, because a smooth curve's own floor is uncertain by a few codes where the slope changes; 2 % is 20 codes at 10 bits.";
    CERTAIN_FALL_DRIVE certain_fall_drive: f64 = 0.01,
        "of drive",
        "Fall common to all channels of the neutral ramp, in drive, from which a LUT is not to be loaded even when the panel is unknown.",
        "Our choice, because 1 % of drive is at least 2.2 % of luminance on a panel of power 2.2, some 1.6 ΔE ITP at white and more below.";
    NEUTRAL_LEVELS neutral_levels: usize = 3,
        "levels",
        "Neutral levels that must have been read: black, white and one between.",
        "Our choice, because with the two ends alone the neutral axis is a guess.";
    INTERIOR_PATCHES interior_patches: usize = 1,
        "patches",
        "Patches off the neutral axis and inside the drive cube that must have been read.",
        "Our choice, because without any nothing is known of how the channels act together.";
    COMPARISON_RATIO comparison_ratio: f64 = 1.25,
        "times",
        "Ratio from which a figure counts as better or worse than a reference's.",
        "Our choice, equal to unevenness_times_base_care so that verdict and comparison agree.";
    COMPARISON_DEPTH_ITP comparison_depth_itp: f64 = 0.25,
        "ΔE ITP",
        "Change of reversal depth, in ΔE ITP, under which nothing counts as better or worse.",
        "Our choice: a quarter of a just-noticeable difference.";
    COMPARISON_UNEVENNESS comparison_unevenness: f64 = 0.05,
        "of a step, root mean square",
        "Change of unevenness under which nothing counts as better or worse.",
        "Our choice: half of unevenness_ignored.";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_limit_can_be_set_and_says_why_it_is_what_it_is() {
        let mut changed = Thresholds::default();
        for limit in LIMITS {
            assert!(limit.reason.starts_with("Source: ") || limit.reason.starts_with("Our choice"));
            changed.set(limit.name, 7.0).unwrap();
        }
        assert!(changed.values().iter().all(|&v| v == 7.0));
        assert_eq!(changed.values().len(), LIMITS.len());
    }

    #[test]
    fn values_that_cannot_be_are_refused() {
        let mut limits = Thresholds::default();
        assert!(limits.set("plateau_codes", 2.5).is_err());
        let one = limits.set("plateau_codes", 1.0).unwrap_err().to_string();
        assert!(one.contains("from 2 up"), "{one}");
        assert!(limits.set("wobble_itp", -1.0).is_err());
        assert!(limits.set("wobble_itp", f64::NAN).is_err());
        assert!(matches!(
            limits.set("wobble", 1.0),
            Err(LimitError::Unknown { .. })
        ));
        assert_eq!(limits, Thresholds::default());
    }
}
