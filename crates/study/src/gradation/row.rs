use evenstep_lut::Evaluation;
use serde::{Deserialize, Serialize};

use super::{Condition, Contender};

/// What a row is of, beside the evaluation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MadeBy {
    /// Name of the panel.
    pub panel: String,
    /// Who made the LUT.
    pub contender: Contender,
    /// Distinct patches read; 0 where none were.
    pub patches: usize,
    /// How they were read.
    pub condition: Condition,
    /// Seed of the noise.
    pub seed: u64,
}

/// The 95 % band that a fit states, against the true errors of test signals; ΔE ITP.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BandHeld {
    /// Share of all signals within the band.
    pub coverage: f64,
    /// Share of near-black signals within the band of near black; `None` without any.
    pub near_black_coverage: Option<f64>,
    /// The band over all signals.
    pub itp_q95: f64,
    /// RMS of the true error over all signals.
    pub itp_rms: f64,
}

/// One LUT, read in one way, on the true panel. Ramps are walked at 10 bits; the LUT has 33 nodes of 12 bits.
///
/// Figures of the other ramps are over the nine ramps off the neutral axis; every figure is over codes that the true
/// panel reaches. Unrounded but where it says so.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct GradationRow {
    /// Whose it is.
    #[serde(flatten)]
    pub by: MadeBy,
    /// How the LUT is read between nodes.
    pub evaluation: String,
    /// Scheme of the model behind it; `None` where there is no model.
    pub scheme: Option<String>,
    /// Reversed steps of the neutral ramp.
    pub neutral_reversed: usize,
    /// The same with the output rounded to 12 bits.
    pub neutral_reversed_rounded: usize,
    /// Deepest reversal of the neutral ramp, ΔE ITP.
    pub neutral_depth_itp: f64,
    /// The same with the output rounded to 12 bits.
    pub neutral_depth_rounded_itp: f64,
    /// Reversed steps of each other ramp, by name, those without left out.
    pub ramps_reversed: Vec<(String, usize)>,
    /// The same with the output rounded to 12 bits.
    pub ramps_reversed_rounded: Vec<(String, usize)>,
    /// Deepest reversal of the other ramps, ΔE ITP.
    pub ramps_depth_itp: f64,
    /// Unevenness of the neutral ramp.
    pub neutral_unevenness: Option<f64>,
    /// The same near black.
    pub neutral_unevenness_near_black: Option<f64>,
    /// Mean unevenness of the other ramps.
    pub ramps_unevenness_mean: Option<f64>,
    /// Largest unevenness of the other ramps.
    pub ramps_unevenness_max: Option<f64>,
    /// Mean unevenness of the other ramps near black.
    pub ramps_unevenness_near_black_mean: Option<f64>,
    /// Largest unevenness of the other ramps near black.
    pub ramps_unevenness_near_black_max: Option<f64>,
    /// Codes of all ramps merged by rounding, above the floor.
    pub merged_excess: f64,
    /// 95th percentile of the noise gain of near-black greys.
    pub noise_gain_near_black_p95: Option<f64>,
    /// The same of mid-tones.
    pub noise_gain_mid_p95: Option<f64>,
    /// Folded tetrahedra in cells that the panel reaches.
    pub folds: usize,
    /// Chroma wobble of the neutral ramp, ΔE ITP.
    pub wobble_itp: Option<f64>,
    /// Mean CIEDE2000 over test signals, through the LUT.
    pub de2000_mean: Option<f64>,
    /// Its 95th percentile.
    pub de2000_p95: Option<f64>,
    /// Its maximum.
    pub de2000_max: Option<f64>,
    /// Mean ΔE ITP over near-black signals, through the LUT.
    pub near_black_itp_mean: Option<f64>,
    /// What an audit with the fit's own model says; `None` where there is no model.
    pub verdict: Option<String>,
    /// The first reason of that.
    #[serde(default)]
    pub reason: Option<String>,
    /// What an audit with the true panel says.
    pub true_verdict: String,
    /// The first reason of that.
    pub true_reason: Option<String>,
    /// How the stated band holds; `None` where the fit states none.
    pub band: Option<BandHeld>,
}

impl GradationRow {
    /// Reversed steps of all other ramps.
    #[must_use]
    pub fn ramps_reversed_sum(&self) -> usize {
        self.ramps_reversed.iter().map(|(_, n)| n).sum()
    }

    /// Whether the row is of this evaluation.
    #[must_use]
    pub fn is_read(&self, how: Evaluation) -> bool {
        self.evaluation == how.to_string()
    }
}
