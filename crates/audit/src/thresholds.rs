//! The limits of the verdict, each with its source or the reason for our choice.

use serde::Serialize;

/// A luminance reversal this deep is visible, in ΔE ITP.
///
/// # Source
/// Rec. ITU-R BT.2124-0: 1 is the threshold in the most critical state of adaptation.
pub const VISIBLE_REVERSAL_ITP: f64 = 1.0;

/// A step that ends a near-black plateau may exceed its ideal by less than this, in ΔE ITP.
///
/// Our choice, because 1 is just noticeable in the most critical state (Rec. ITU-R BT.2124-0) and one code
/// beyond it is still an ordinary step of an 8-bit picture; twice the threshold is a visible edge.
pub const PLATEAU_JUMP_ITP: f64 = 2.0;

/// Unevenness over the base correction's from which a LUT is not to be loaded.
///
/// Our choice, because a correction that doubles the irregularity of the steps takes away more gradation than it
/// gives in colour.
pub const UNEVENNESS_TIMES_BASE_STOP: f64 = 2.0;

/// Unevenness over the base correction's from which care is needed.
///
/// Our choice, because a quarter more is beyond what re-reading the same panel changes.
pub const UNEVENNESS_TIMES_BASE_CARE: f64 = 1.25;

/// Unevenness up to which a ramp is never blamed, whatever the base does.
///
/// # Source
/// AAPM TG18 (2005) clause 4.3, from memory: contrast response of primary displays within 10 %.
pub const UNEVENNESS_IGNORED: f64 = 0.10;

/// Chroma wobble of the neutral ramp from which care is needed, in ΔE ITP.
///
/// # Source
/// Rec. ITU-R BT.2124-0: 1 is the threshold in the most critical state of adaptation.
pub const WOBBLE_ITP: f64 = 1.0;

/// Codes of equal unrounded output from which a reachable plateau needs care.
///
/// Our choice, because three equal 10-bit codes of a PQ signal hide 2 · 0.70 ΔE ITP, little over one
/// just-noticeable difference, and four hide two.
pub const PLATEAU_CODES: usize = 4;

/// Share of a ramp's pairs that rounding may merge beyond the floor.
///
/// Our choice, because a smooth curve's own floor is uncertain by a few codes where the slope changes; 2 % is 20
/// codes at 10 bits.
pub const MERGED_EXCESS_SHARE: f64 = 0.02;

/// Fall common to all channels of the neutral ramp, in drive, from which a LUT is not to be loaded even when the
/// panel is unknown.
///
/// Our choice, because 1 % of drive is at least 2.2 % of luminance on a panel of power 2.2, some 1.6 ΔE ITP at
/// white and more below.
pub const CERTAIN_FALL_DRIVE: f64 = 0.01;

/// Neutral levels that must have been read: black, white and one between.
///
/// Our choice, because with the two ends alone the neutral axis is a guess.
pub const NEUTRAL_LEVELS: usize = 3;

/// Patches off the neutral axis and inside the drive cube that must have been read.
///
/// Our choice, because without any nothing is known of how the channels act together.
pub const INTERIOR_PATCHES: usize = 1;

/// Ratio from which a figure counts as better or worse than a reference's.
///
/// Our choice, equal to [`UNEVENNESS_TIMES_BASE_CARE`] so that verdict and comparison agree.
pub const COMPARISON_RATIO: f64 = 1.25;

/// Change of reversal depth, in ΔE ITP, under which nothing counts as better or worse.
///
/// Our choice: a quarter of a just-noticeable difference.
pub const COMPARISON_DEPTH_ITP: f64 = 0.25;

/// Change of unevenness under which nothing counts as better or worse.
///
/// Our choice: half of [`UNEVENNESS_IGNORED`].
pub const COMPARISON_UNEVENNESS: f64 = 0.05;

/// The limits of the verdict. The defaults are the constants of this file.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Thresholds {
    /// [`VISIBLE_REVERSAL_ITP`].
    pub visible_reversal_itp: f64,
    /// [`PLATEAU_JUMP_ITP`].
    pub plateau_jump_itp: f64,
    /// [`UNEVENNESS_TIMES_BASE_STOP`].
    pub unevenness_times_base_stop: f64,
    /// [`UNEVENNESS_TIMES_BASE_CARE`].
    pub unevenness_times_base_care: f64,
    /// [`UNEVENNESS_IGNORED`].
    pub unevenness_ignored: f64,
    /// [`WOBBLE_ITP`].
    pub wobble_itp: f64,
    /// [`PLATEAU_CODES`].
    pub plateau_codes: usize,
    /// [`MERGED_EXCESS_SHARE`].
    pub merged_excess_share: f64,
    /// [`CERTAIN_FALL_DRIVE`].
    pub certain_fall_drive: f64,
    /// [`NEUTRAL_LEVELS`].
    pub neutral_levels: usize,
    /// [`INTERIOR_PATCHES`].
    pub interior_patches: usize,
    /// [`COMPARISON_RATIO`].
    pub comparison_ratio: f64,
    /// [`COMPARISON_DEPTH_ITP`].
    pub comparison_depth_itp: f64,
    /// [`COMPARISON_UNEVENNESS`].
    pub comparison_unevenness: f64,
}

impl Default for Thresholds {
    fn default() -> Self {
        Self {
            visible_reversal_itp: VISIBLE_REVERSAL_ITP,
            plateau_jump_itp: PLATEAU_JUMP_ITP,
            unevenness_times_base_stop: UNEVENNESS_TIMES_BASE_STOP,
            unevenness_times_base_care: UNEVENNESS_TIMES_BASE_CARE,
            unevenness_ignored: UNEVENNESS_IGNORED,
            wobble_itp: WOBBLE_ITP,
            plateau_codes: PLATEAU_CODES,
            merged_excess_share: MERGED_EXCESS_SHARE,
            certain_fall_drive: CERTAIN_FALL_DRIVE,
            neutral_levels: NEUTRAL_LEVELS,
            interior_patches: INTERIOR_PATCHES,
            comparison_ratio: COMPARISON_RATIO,
            comparison_depth_itp: COMPARISON_DEPTH_ITP,
            comparison_unevenness: COMPARISON_UNEVENNESS,
        }
    }
}
