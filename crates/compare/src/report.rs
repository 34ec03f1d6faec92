use evenstep_audit::{AuditReport, Load};
use evenstep_fit::NextPatch;
use serde::Serialize;

use crate::{ColourSummary, Regions};

/// Everything a comparison found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CompareReport {
    /// What the figures were judged on.
    pub judge: Judge,
    /// Difference between what the panel shows through the candidate and through the reference; absent without a
    /// panel.
    pub colour: Option<Regions<ColourSummary>>,
    /// Error of the candidate against the target.
    pub candidate_error: Option<Regions<ColourSummary>>,
    /// Error of the reference against the target.
    pub reference_error: Option<Regions<ColourSummary>>,
    /// Error of the base correction against the target.
    pub base_error: Option<Regions<ColourSummary>>,
    /// Largest and mean distance between the drives of the two, over all regions' signals.
    pub drive_difference: DriveDifference,
    /// Audit figures side by side.
    pub gradation: Vec<GradationFigure>,
    /// The judgement.
    pub verdict: CompareVerdict,
    /// Signals where the candidate's colour is farthest from the target (with a panel) or from the reference,
    /// worst first.
    pub places: Vec<HarmPlace>,
    /// Patches to read next, most useful first; absent where nothing says which. Of dense readings those that would help
    /// the sparse ones, with the miss that was found; else those that the readings of the panel lack.
    pub next_patches: Option<Vec<NextPatch>>,
    /// Relative noise of the reference's readings, where its repeats give it.
    pub reference_noise: Option<f64>,
    /// Full audit of the candidate on the judge.
    pub candidate_audit: AuditReport,
    /// Full audit of the reference on the judge.
    pub reference_audit: AuditReport,
}

/// What the figures of a comparison were judged on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Judge {
    /// In words.
    pub description: String,
    /// Patches its model was fitted to; absent without a panel.
    pub patches: Option<usize>,
    /// Its own leave-one-out error, mean CIEDE2000.
    pub de2000_mean: Option<f64>,
}

/// Distance between drives, on a scale of 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct DriveDifference {
    /// Mean over signals of the largest channel difference.
    pub mean: f64,
    /// Largest.
    pub max: f64,
}

/// One audit figure of candidate, reference and base. Smaller is better in all of them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GradationFigure {
    /// Name of the figure and of the ramp it is for, such as `neutral.unevenness`.
    pub figure: String,
    /// Value of the candidate.
    pub candidate: Option<f64>,
    /// Value of the reference.
    pub reference: Option<f64>,
    /// Value of the base correction.
    pub base: Option<f64>,
    /// Standard deviation of the candidate's value when its readings are drawn again from their noise.
    pub candidate_sd: Option<f64>,
    /// The same for the reference.
    pub reference_sd: Option<f64>,
    /// Whether candidate and reference differ by more than twice the noise of their difference; absent where the
    /// noise is not known.
    pub beyond_noise: Option<bool>,
}

/// How the candidate stands to the reference.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Standing {
    /// Better by more than a quarter.
    Better,
    /// Within a quarter.
    Alike,
    /// Worse by more than a quarter.
    Worse,
}

/// Verdict of a comparison.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CompareVerdict {
    /// Audit verdict of the candidate.
    pub candidate: Load,
    /// Audit verdict of the reference.
    pub reference: Load,
    /// Colour of the candidate against the reference's: mean CIEDE2000 to the target over the whole cube.
    pub colour: Option<Standing>,
    /// Gradation of the candidate against the reference's: neutral unevenness and reversal depth.
    pub gradation: Option<Standing>,
    /// One sentence.
    pub summary: String,
}

/// A signal where the candidate is far off.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct HarmPlace {
    /// The signal.
    pub signal: [f64; 3],
    /// CIEDE2000.
    pub de2000: f64,
    /// ΔE ITP.
    pub itp: f64,
}
