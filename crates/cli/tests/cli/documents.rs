//! The JSON documents as strict types: a field too many or too few fails.

#![expect(
    dead_code,
    reason = "that every field parses is the check; tests look at some of them"
)]

use std::collections::BTreeMap;

use serde::Deserialize;

pub(crate) type Why = BTreeMap<String, String>;

/// A field that is always there and always `null`.
pub(crate) type Null = Option<()>;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Sharing {
    pub(crate) share: f64,
    pub(crate) most: [f64; 3],
    pub(crate) sharpness: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Fit {
    pub(crate) schema: String,
    pub(crate) target: Target,
    pub(crate) scheme: String,
    pub(crate) encoding: Option<String>,
    pub(crate) form: Option<String>,
    pub(crate) smoothing: Option<f64>,
    #[serde(deserialize_with = "there")]
    pub(crate) sharing: Option<Sharing>,
    pub(crate) patches: Patches,
    pub(crate) noise: Noise,
    #[serde(deserialize_with = "there")]
    pub(crate) drift: Option<Drift>,
    pub(crate) leave_one_out: Option<Error>,
    pub(crate) base_error: Option<Error>,
    pub(crate) base_suffices: bool,
    pub(crate) choice: Option<Choice>,
    #[serde(deserialize_with = "there")]
    pub(crate) confidence: Option<Confidence>,
    pub(crate) gamut: Gamut,
    pub(crate) solve: String,
    #[serde(deserialize_with = "there")]
    pub(crate) constraints: Option<Constraints>,
    #[serde(deserialize_with = "there")]
    pub(crate) next_patches: Option<Vec<NextPatch>>,
    pub(crate) nodes: usize,
    pub(crate) node_bits: u8,
    pub(crate) notes: Vec<String>,
    #[serde(deserialize_with = "there")]
    pub(crate) shaper: Option<Shaper>,
    #[serde(deserialize_with = "there")]
    pub(crate) seconds: Null,
    pub(crate) why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Constraints {
    pub(crate) lambda: f64,
    pub(crate) smoothed_itp: f64,
    pub(crate) cells_moved: f64,
    pub(crate) active: usize,
    pub(crate) resolved_ramps: Vec<String>,
    pub(crate) unresolved_ramps: Vec<String>,
    pub(crate) short_rounded: usize,
    pub(crate) folds: [usize; 2],
}

/// An `Option` whose field must not be missing.
pub(crate) fn there<'de, D: serde::Deserializer<'de>, T: Deserialize<'de>>(
    from: D,
) -> Result<Option<T>, D::Error> {
    Option::deserialize(from)
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Confidence {
    pub(crate) all: Option<Band>,
    pub(crate) near_black: Option<Band>,
    pub(crate) neutral: Option<Band>,
    pub(crate) skin: Option<Band>,
    pub(crate) saturated: Option<Band>,
    #[serde(default)]
    pub(crate) why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Shaper {
    pub(crate) with: ShaperFigures,
    pub(crate) without: ShaperFigures,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ShaperFigures {
    pub(crate) near_black_unevenness: f64,
    pub(crate) near_black_itp_mean: f64,
    pub(crate) near_black_itp_p95: f64,
    pub(crate) all_itp_mean: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Band {
    pub(crate) de2000_q95: f64,
    pub(crate) itp_q95: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct NextPatch {
    pub(crate) id: String,
    pub(crate) r: f64,
    pub(crate) g: f64,
    pub(crate) b: f64,
    pub(crate) expected_itp: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Choice {
    pub(crate) candidates: usize,
    pub(crate) patches: usize,
    pub(crate) smoothing_by: String,
    pub(crate) score: f64,
    pub(crate) runner_up: Option<RunnerUp>,
    pub(crate) refused: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct RunnerUp {
    pub(crate) model: String,
    pub(crate) score: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Target {
    pub(crate) primaries: String,
    pub(crate) transfer: String,
    pub(crate) white_cd_m2: f64,
    pub(crate) white_xy: [f64; 2],
    pub(crate) black_xyz: [f64; 3],
    pub(crate) reach_cd_m2: f64,
    pub(crate) lowered: f64,
    pub(crate) neutral_codes_missed: usize,
    #[serde(default)]
    pub(crate) why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct AtFloor {
    pub(crate) at_most_cd_m2: f64,
    pub(crate) left_out: Vec<String>,
    pub(crate) held: Vec<String>,
    pub(crate) as_read: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Patches {
    pub(crate) used: usize,
    pub(crate) averaged: usize,
    #[serde(deserialize_with = "there")]
    pub(crate) outliers: Option<Vec<Outlier>>,
    pub(crate) below_floor: usize,
    #[serde(deserialize_with = "there")]
    pub(crate) at_floor: Option<AtFloor>,
    pub(crate) neutral_levels: usize,
    pub(crate) interior: usize,
    #[serde(default)]
    pub(crate) why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Outlier {
    pub(crate) patch: String,
    pub(crate) order: usize,
    pub(crate) sigma: f64,
    pub(crate) de2000: Option<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Drift {
    pub(crate) total: f64,
    pub(crate) standard_error: f64,
    pub(crate) separable: bool,
    pub(crate) corrected: bool,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Noise {
    pub(crate) relative: f64,
    pub(crate) floor_cd_m2: f64,
    pub(crate) source: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Error {
    pub(crate) de2000_mean: f64,
    pub(crate) de2000_p95: f64,
    pub(crate) de2000_max: f64,
    pub(crate) itp_mean: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Gamut {
    #[serde(deserialize_with = "there")]
    pub(crate) nodes_reduced: Option<usize>,
    #[serde(deserialize_with = "there")]
    pub(crate) de2000_max: Option<f64>,
    #[serde(default)]
    pub(crate) why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Audit {
    pub(crate) schema: String,
    pub(crate) verdict: Verdict,
    pub(crate) measured_on: String,
    pub(crate) source_bits: u8,
    pub(crate) output_bits: u8,
    pub(crate) range: String,
    pub(crate) evaluation: String,
    pub(crate) near_black_end: f64,
    pub(crate) barten: String,
    pub(crate) viewing: String,
    pub(crate) end_points: EndPoints,
    pub(crate) non_finite: usize,
    pub(crate) lattice: Option<Lattice>,
    #[serde(deserialize_with = "there")]
    pub(crate) curves: Option<serde_json::Value>,
    pub(crate) ramps: Vec<serde_json::Value>,
    #[serde(deserialize_with = "there")]
    pub(crate) neutral_wobble_itp: Option<f64>,
    #[serde(deserialize_with = "there")]
    pub(crate) neutral_wobble_code: Option<u32>,
    #[serde(deserialize_with = "there")]
    pub(crate) neutral_wobble_seen_itp: Option<f64>,
    #[serde(deserialize_with = "there")]
    pub(crate) neutral_wobble_seen_code: Option<u32>,
    #[serde(deserialize_with = "there")]
    pub(crate) references: Option<serde_json::Value>,
    #[serde(deserialize_with = "there")]
    pub(crate) neighbours26: Option<BTreeMap<String, f64>>,
    #[serde(deserialize_with = "there")]
    pub(crate) noise_gain: Option<NoiseGain>,
    #[serde(deserialize_with = "there")]
    pub(crate) evaluation_sensitivity: Option<EvaluationSensitivity>,
    #[serde(deserialize_with = "there")]
    pub(crate) regions: Option<BTreeMap<String, RegionFigures>>,
    #[serde(deserialize_with = "there")]
    pub(crate) image: Option<Image>,
    pub(crate) worst: Vec<WorstPlace>,
    pub(crate) thresholds: BTreeMap<String, f64>,
    #[serde(default)]
    pub(crate) threshold_reasons: BTreeMap<String, String>,
    pub(crate) why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct EvaluationSensitivity {
    pub(crate) weight_bits: u8,
    pub(crate) trilinear: Apart,
    pub(crate) weights: Apart,
    pub(crate) on_ramps: f64,
    pub(crate) neutral_itp: Option<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Apart {
    pub(crate) drive: f64,
    pub(crate) signal: [f64; 3],
    pub(crate) node: [usize; 3],
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct RegionFigures {
    pub(crate) signals: usize,
    pub(crate) drive_gain_p95: f64,
    pub(crate) drive_gain_max: f64,
    pub(crate) drive_gain_signal: [f64; 3],
    pub(crate) noise_gain_p95: Option<f64>,
    pub(crate) noise_gain_max: Option<f64>,
    pub(crate) cells: Option<usize>,
    pub(crate) folded: Option<usize>,
    pub(crate) collapsed: Option<usize>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Image {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) before: f64,
    pub(crate) after: f64,
    pub(crate) compressed: Option<Compressed>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Compressed {
    pub(crate) quality: u8,
    pub(crate) before: f64,
    pub(crate) after: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct WorstPlace {
    pub(crate) figure: String,
    pub(crate) value: f64,
    pub(crate) ramp: Option<String>,
    pub(crate) node: Option<[usize; 3]>,
    pub(crate) source_code: [u32; 3],
    pub(crate) signal: [f64; 3],
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct NoiseGain {
    #[serde(deserialize_with = "there")]
    pub(crate) near_black_p95: Option<f64>,
    #[serde(deserialize_with = "there")]
    pub(crate) near_black_max: Option<f64>,
    #[serde(deserialize_with = "there")]
    pub(crate) mid_p95: Option<f64>,
    #[serde(deserialize_with = "there")]
    pub(crate) mid_max: Option<f64>,
    pub(crate) left_out: usize,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Verdict {
    pub(crate) load: String,
    pub(crate) scale: String,
    #[serde(deserialize_with = "there")]
    pub(crate) margin: Option<Margin>,
    #[serde(deserialize_with = "there")]
    pub(crate) against_base: Option<String>,
    #[serde(deserialize_with = "there")]
    pub(crate) against_uncorrected: Option<String>,
    pub(crate) reasons: Vec<Reason>,
    #[serde(default)]
    pub(crate) why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Margin {
    pub(crate) figure: String,
    pub(crate) value: f64,
    pub(crate) threshold: f64,
    pub(crate) scale: String,
    pub(crate) times: Option<f64>,
    pub(crate) ramp: Option<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Reason {
    pub(crate) severity: String,
    pub(crate) label: String,
    pub(crate) figure: String,
    pub(crate) value: Option<f64>,
    pub(crate) scale: Option<String>,
    pub(crate) threshold: Option<f64>,
    pub(crate) ramp: Option<String>,
    pub(crate) between: Option<Span>,
    pub(crate) cell: Option<[usize; 3]>,
    pub(crate) sentence: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Span {
    pub(crate) from_code: u32,
    pub(crate) to_code: u32,
    pub(crate) from_signal: [f64; 3],
    pub(crate) to_signal: [f64; 3],
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct EndPoints {
    pub(crate) black: [f64; 3],
    pub(crate) white: [f64; 3],
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Lattice {
    pub(crate) nodes: usize,
    pub(crate) step_variance: [f64; 3],
    pub(crate) neighbour_steps: Vec<serde_json::Value>,
    pub(crate) local_step_variance: Option<BTreeMap<String, f64>>,
    pub(crate) second_difference: BTreeMap<String, [f64; 3]>,
    pub(crate) folds: BTreeMap<String, serde_json::Value>,
    #[serde(deserialize_with = "there")]
    pub(crate) fold_depth_itp: Option<f64>,
    #[serde(default)]
    pub(crate) fold_depth_cell: Option<[usize; 3]>,
    pub(crate) clipped_nodes: usize,
    pub(crate) clipped_low: [usize; 3],
    pub(crate) clipped_high: [usize; 3],
    pub(crate) min: [f64; 3],
    pub(crate) max: [f64; 3],
    pub(crate) non_finite: usize,
    pub(crate) distance_from_identity: BTreeMap<String, f64>,
    pub(crate) duplicate_planes: [usize; 3],
    #[serde(default)]
    pub(crate) why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Apply {
    pub(crate) schema: String,
    pub(crate) lut: String,
    pub(crate) image: String,
    pub(crate) out: String,
    pub(crate) width: u32,
    pub(crate) height: u32,
    pub(crate) bits_in: u8,
    pub(crate) bits_out: u8,
    pub(crate) evaluation: String,
    pub(crate) dither: String,
    pub(crate) pixels: u64,
    pub(crate) pixels_changed: u64,
    pub(crate) largest_change_codes: u16,
    pub(crate) tags_lost: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Repair {
    pub(crate) schema: String,
    pub(crate) lut: String,
    pub(crate) faults_before: Vec<Fault>,
    pub(crate) faults_after: Vec<Fault>,
    pub(crate) kept: usize,
    pub(crate) nodes: usize,
    pub(crate) nodes_changed: usize,
    pub(crate) cost: Cost,
    pub(crate) verdict_before: Verdict,
    pub(crate) verdict_after: Verdict,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Fault {
    pub(crate) kind: String,
    pub(crate) ramp: Option<String>,
    pub(crate) places: usize,
    pub(crate) worst: f64,
    pub(crate) unit: String,
    pub(crate) between: Option<Span>,
    pub(crate) node: Option<[usize; 3]>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Cost {
    pub(crate) de2000_mean: f64,
    pub(crate) de2000_p95: f64,
    pub(crate) de2000_max: f64,
    pub(crate) colours: usize,
    pub(crate) panel: String,
}

/// Members of one ramp, and of its rounded and near-black parts, less `why`.
pub(crate) const FIGURES: [&str; 24] = [
    "certain_fall_between",
    "certain_fall_drive",
    "codes",
    "codes_unreachable",
    "drive_reversals",
    "first_lit_code",
    "jump_after_plateau_itp",
    "longest_plateau",
    "merged_codes",
    "merged_floor",
    "plateau_between",
    "plateau_jump_between",
    "plateau_jump_excess_itp",
    "reversal_between",
    "reversal_depth_itp",
    "reversed_steps",
    "reversed_steps_clipped",
    "roughness_de2000",
    "roughness_drive",
    "step_barten_max",
    "step_gsdf_max",
    "step_itp_max",
    "step_itp_max_between",
    "unevenness",
];

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Convert {
    pub(crate) schema: String,
    pub(crate) input: String,
    pub(crate) output: String,
    pub(crate) input_format: String,
    pub(crate) output_format: String,
    #[serde(deserialize_with = "there")]
    pub(crate) nodes: Option<usize>,
    #[serde(deserialize_with = "there")]
    pub(crate) curve_rows: Option<usize>,
    #[serde(deserialize_with = "there")]
    pub(crate) bits: Option<u8>,
    pub(crate) losses: Vec<String>,
    pub(crate) difference: Difference,
    pub(crate) notes: Vec<String>,
    pub(crate) why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Difference {
    pub(crate) largest: f64,
    pub(crate) at: [f64; 3],
    pub(crate) rms: f64,
    pub(crate) largest_grey: f64,
    pub(crate) signals: usize,
}
