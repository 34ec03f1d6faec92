//! The JSON documents as strict types: a field too many or too few fails.

use std::collections::BTreeMap;

use serde::Deserialize;

pub type Why = BTreeMap<String, String>;

/// A field that is always there and always `null`.
pub type Null = Option<()>;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fit {
    pub schema: String,
    pub target: Target,
    pub scheme: String,
    pub encoding: Option<String>,
    pub form: Option<String>,
    pub smoothing: Option<f64>,
    pub patches: Patches,
    pub noise: Noise,
    #[serde(deserialize_with = "there")]
    pub drift: Null,
    pub leave_one_out: Option<Error>,
    pub base_error: Option<Error>,
    pub base_suffices: bool,
    #[serde(deserialize_with = "there")]
    pub confidence: Null,
    pub gamut: Gamut,
    #[serde(deserialize_with = "there")]
    pub constraints: Null,
    #[serde(deserialize_with = "there")]
    pub next_patches: Null,
    pub nodes: usize,
    pub node_bits: u8,
    pub notes: Vec<String>,
    #[serde(deserialize_with = "there")]
    pub seconds: Null,
    pub why: Why,
}

/// An `Option` whose field must not be missing.
pub fn there<'de, D: serde::Deserializer<'de>, T: Deserialize<'de>>(
    from: D,
) -> Result<Option<T>, D::Error> {
    Option::deserialize(from)
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Target {
    pub primaries: String,
    pub transfer: String,
    pub white_cd_m2: f64,
    pub white_xy: [f64; 2],
    pub black_xyz: [f64; 3],
    #[serde(deserialize_with = "there")]
    pub reach_cd_m2: Option<f64>,
    pub lowered: f64,
    pub neutral_codes_missed: usize,
    #[serde(default)]
    pub why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Patches {
    pub used: usize,
    pub averaged: usize,
    #[serde(deserialize_with = "there")]
    pub outliers: Null,
    pub below_floor: usize,
    pub neutral_levels: usize,
    pub interior: usize,
    pub why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Noise {
    pub relative: f64,
    pub floor_cd_m2: f64,
    pub source: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Error {
    pub de2000_mean: f64,
    pub de2000_p95: f64,
    pub de2000_max: f64,
    pub itp_mean: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Gamut {
    #[serde(deserialize_with = "there")]
    pub nodes_reduced: Option<usize>,
    #[serde(deserialize_with = "there")]
    pub de2000_max: Option<f64>,
    #[serde(default)]
    pub why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Audit {
    pub schema: String,
    pub verdict: Verdict,
    pub measured_on: String,
    pub source_bits: u8,
    pub output_bits: u8,
    pub range: String,
    pub evaluation: String,
    pub near_black_end: f64,
    pub barten: String,
    pub end_points: EndPoints,
    pub non_finite: usize,
    pub lattice: Option<Lattice>,
    pub ramps: Vec<serde_json::Value>,
    #[serde(deserialize_with = "there")]
    pub neutral_wobble_itp: Option<f64>,
    #[serde(deserialize_with = "there")]
    pub neutral_wobble_code: Option<u32>,
    #[serde(deserialize_with = "there")]
    pub references: Option<serde_json::Value>,
    #[serde(deserialize_with = "there")]
    pub neighbours26: Null,
    #[serde(deserialize_with = "there")]
    pub noise_gain: Null,
    #[serde(deserialize_with = "there")]
    pub evaluation_sensitivity: Null,
    pub thresholds: BTreeMap<String, f64>,
    pub why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Verdict {
    pub load: String,
    #[serde(deserialize_with = "there")]
    pub against_base: Option<String>,
    #[serde(deserialize_with = "there")]
    pub against_uncorrected: Option<String>,
    pub reasons: Vec<Reason>,
    #[serde(default)]
    pub why: Why,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reason {
    pub severity: String,
    pub label: String,
    pub figure: String,
    pub value: Option<f64>,
    pub threshold: Option<f64>,
    pub ramp: Option<String>,
    pub between: Option<Span>,
    pub cell: Option<[usize; 3]>,
    pub sentence: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Span {
    pub from_code: u32,
    pub to_code: u32,
    pub from_signal: [f64; 3],
    pub to_signal: [f64; 3],
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EndPoints {
    pub black: [f64; 3],
    pub white: [f64; 3],
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lattice {
    pub nodes: usize,
    pub step_variance: [f64; 3],
    pub neighbour_steps: Vec<serde_json::Value>,
    pub local_step_variance: Option<BTreeMap<String, f64>>,
    pub second_difference: BTreeMap<String, [f64; 3]>,
    pub folds: BTreeMap<String, serde_json::Value>,
    pub clipped_nodes: usize,
    pub clipped_low: [usize; 3],
    pub clipped_high: [usize; 3],
    pub min: [f64; 3],
    pub max: [f64; 3],
    pub non_finite: usize,
    pub distance_from_identity: BTreeMap<String, f64>,
    pub duplicate_planes: [usize; 3],
    #[serde(default)]
    pub why: Why,
}

/// Members of one ramp, and of its rounded and near-black parts, less `why`.
pub const FIGURES: [&str; 24] = [
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
