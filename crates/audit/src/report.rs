use std::collections::BTreeMap;

use serde::Serialize;

use crate::curves::CurvesReport;
use crate::evaluation::EvaluationSensitivity;
use crate::figures::{FloorFigures, RampFigures};
use crate::folds::Folds;
use crate::lattice::{LocalStepVariance, NeighbourSteps, SecondDifference};
use crate::neighbours::Neighbours26;
use crate::noise_gain::NoiseGain;
use crate::picture_bands::PictureReport;
use crate::regions::RegionFigures;
use crate::thresholds::Thresholds;
use crate::verdict::Verdict;
use crate::walk::Span;
use crate::why::Why;
use crate::worst::WorstPlace;
use evenstep_lut::{BitDepth, CodeRange, Regions};

/// Name and version of the JSON this crate's report serialises to.
pub const SCHEMA: &str = "evenstep/audit/1";

/// Everything an audit found. Serialises to the JSON of `evenstep audit --json`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AuditReport {
    /// [`SCHEMA`].
    pub schema: &'static str,
    /// Whether to load the LUT, and why not.
    pub verdict: Verdict,
    /// Whether reversals and unevenness are of luminance shown by the panel or of the drive alone.
    pub measured_on: MeasuredOn,
    /// Depth at which ramps are walked.
    pub source_bits: BitDepth,
    /// Depth to which the rounded figures round.
    pub output_bits: BitDepth,
    /// Range of source and output codes.
    pub range: CodeRange,
    /// How the lattice is read between nodes.
    pub evaluation: String,
    /// Signal at which near black ends.
    pub near_black_end: f64,
    /// Observer and contrast convention of every `step_barten_max`.
    pub barten: String,
    /// Conditions under which the luminance scales look at steps.
    pub viewing: &'static str,
    /// Drive at signal (0, 0, 0) and (1, 1, 1).
    pub end_points: EndPoints,
    /// Drives on the ramps that were not numbers.
    pub non_finite: usize,
    /// Figures of the nodes; `null` when the correction has no lattice.
    pub lattice: Option<LatticeReport>,
    /// Figures of the rows of curves; `null` when the correction has none.
    pub curves: Option<CurvesReport>,
    /// Figures of the ramps, in the order walked.
    pub ramps: Vec<RampReport>,
    /// Largest distance of the neutral ramp's chroma error from its own trend, in ΔE ITP.
    pub neutral_wobble_itp: Option<f64>,
    /// The code of that wobble.
    pub neutral_wobble_code: Option<u32>,
    /// The largest of the same over greys that are light enough for colour to be seen: the verdict's.
    pub neutral_wobble_seen_itp: Option<f64>,
    /// Its code.
    pub neutral_wobble_seen_code: Option<u32>,
    /// The two references along the same ramps.
    pub references: Option<References>,
    /// 26-neighbour test along the neutral axis.
    pub neighbours26: Option<Neighbours26>,
    /// What the correction does to the noise of a picture along the neutral ramp.
    pub noise_gain: Option<NoiseGain>,
    /// How much depends on the way the lattice is read.
    pub evaluation_sensitivity: Option<EvaluationSensitivity>,
    /// What the correction does in each part of the signal cube.
    pub regions: Option<Regions<RegionFigures>>,
    /// Bands of a picture before and after; see [`AuditReport::with_picture`].
    pub image: Option<PictureReport>,
    /// Where the figures that have a place are worst, as far as anything is wrong there: first those of the lattice, then
    /// those of the ramps, then the others.
    pub worst: Vec<WorstPlace>,
    /// The limits the verdict used.
    pub thresholds: Thresholds,
    /// Why those limits that are not the defaults were chosen, by name; left out where all are.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub threshold_reasons: BTreeMap<&'static str, String>,
    /// Reasons for the `null` fields.
    #[serde(skip_serializing_if = "Why::is_empty")]
    pub why: Why,
}

/// What reversals and unevenness are measured on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum MeasuredOn {
    /// Light shown by the panel model.
    Panel,
    /// Drive alone: no readings.
    Drive,
}

/// Drive at the ends of the signal range, unrounded.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct EndPoints {
    /// At signal (0, 0, 0).
    pub black: [f64; 3],
    /// At signal (1, 1, 1).
    pub white: [f64; 3],
}

/// Figures of the nodes of a lattice.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LatticeReport {
    /// Nodes per axis.
    pub nodes: usize,
    /// Variance of the neighbour step per axis.
    pub step_variance: [f64; 3],
    /// Neighbour steps per axis.
    pub neighbour_steps: Vec<NeighbourSteps>,
    /// Variance of the step about a line through five; `null` under six nodes.
    pub local_step_variance: Option<LocalStepVariance>,
    /// Second differences along the axes.
    pub second_difference: SecondDifference,
    /// Tetrahedra turned inside out or flat.
    pub folds: Folds,
    /// How far the deepest fold goes back in what the panel shows, in ΔE ITP; 0 without one in a cell that the panel reaches.
    pub fold_depth_itp: Option<f64>,
    /// The cell of that fold, by its lowest node; left out of the JSON without one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fold_depth_cell: Option<[usize; 3]>,
    /// Nodes with a channel at the end of its range before its own input is, or beyond it.
    pub clipped_nodes: usize,
    /// Nodes clipped at 0, per channel.
    pub clipped_low: [usize; 3],
    /// Nodes clipped at 1, per channel.
    pub clipped_high: [usize; 3],
    /// Smallest value of each channel.
    pub min: [f64; 3],
    /// Largest value of each channel.
    pub max: [f64; 3],
    /// Values that are not numbers.
    pub non_finite: usize,
    /// Distance of the nodes from the identity, in drive.
    pub distance_from_identity: Distance,
    /// Planes equal to the plane before them, per axis.
    pub duplicate_planes: [usize; 3],
    /// Reasons for the `null` fields.
    #[serde(skip_serializing_if = "Why::is_empty")]
    pub why: Why,
}

/// Root of the mean square over all channels of all nodes, and the largest.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Distance {
    /// Root of the mean square.
    pub rms: f64,
    /// Largest.
    pub max: f64,
}

/// One ramp: unrounded figures, then the same rounded, then near black.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RampReport {
    /// The ramp's name.
    pub name: String,
    /// Signal at the dark end.
    pub from: [f64; 3],
    /// Signal at the light end.
    pub to: [f64; 3],
    /// Unrounded figures of the whole ramp.
    #[serde(flatten)]
    pub figures: RampFigures,
    /// Figures with the drive rounded to the output depth.
    pub rounded: RoundedFigures,
    /// Largest bump of what the panel shows, in ΔE ITP: how far a place leaves the course of those a cell of the lattice
    /// before and after it, beyond what target and base correction do there.
    pub bump_itp: Option<f64>,
    /// From the place before it to the place after it.
    pub bump_between: Option<Span>,
    /// Largest bump of the drive, as length over the three channels.
    pub bump_drive: Option<f64>,
    /// From the place before it to the place after it.
    pub bump_drive_between: Option<Span>,
    /// The part near black; `null` with a reason in `why` where the ramp has none.
    pub near_black: Option<NearBlack>,
}

impl RampReport {
    /// Whether the ramp lies on the neutral axis.
    #[must_use]
    pub fn is_neutral(&self) -> bool {
        [self.from, self.to]
            .iter()
            .all(|c| c[0] == c[1] && c[1] == c[2])
    }
}

/// Figures rounded to the output depth, with what a smooth curve rounded alike shows.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RoundedFigures {
    /// The figures.
    #[serde(flatten)]
    pub figures: RampFigures,
    /// The part of them that is arithmetic.
    pub floor: FloorFigures,
}

/// Figures of the codes near black; the step that leaves them is included.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NearBlack {
    /// Unrounded figures.
    #[serde(flatten)]
    pub figures: RampFigures,
    /// Rounded figures.
    pub rounded: RoundedFigures,
}

/// What the base correction and no correction do along the same ramps on the same panel.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct References {
    /// The base correction.
    pub base: Vec<ReferenceRamp>,
    /// The identity.
    pub uncorrected: Vec<ReferenceRamp>,
}

/// The figures a reference is compared by, unrounded. In JSON, figures without a judged pair are left out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReferenceRamp {
    /// The ramp's name.
    pub name: String,
    /// Reversal depth in ΔE ITP.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reversal_depth_itp: Option<f64>,
    /// The codes between which it falls so far.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reversal_between: Option<Span>,
    /// RMS(step ratio − 1) of the whole ramp.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unevenness: Option<f64>,
    /// The same near black.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub near_black_unevenness: Option<f64>,
    /// Codes in the longest run of equal output.
    pub longest_plateau: usize,
    /// Largest chroma wobble of the neutral ramp over greys that are light enough for colour to be seen, in ΔE ITP.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wobble_seen_itp: Option<f64>,
}
