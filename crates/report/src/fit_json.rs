use evenstep_display::{AtFloor, Choice, LeaveOneOutError, Outlier, Sharing};
use evenstep_fit::{
    Band, FitReport, GradationReport, NextPatch, Regions, ShaperReport, TargetReport,
};
use evenstep_readings::Drift;
use serde::Serialize;

use crate::json::{Why, pretty};

/// Name and version of the JSON of a fit.
pub const FIT_SCHEMA: &str = "evenstep/fit/1";

const BASE_ONLY: &str = "the base correction alone was fitted";

#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    target: Target<'a>,
    scheme: &'a str,
    encoding: Option<&'a str>,
    form: Option<&'a str>,
    smoothing: Option<f64>,
    sharing: Option<&'a Sharing>,
    patches: Patches<'a>,
    noise: &'a evenstep_fit::NoiseReport,
    drift: Option<&'a Drift>,
    leave_one_out: Option<&'a LeaveOneOutError>,
    base_error: Option<&'a LeaveOneOutError>,
    base_suffices: bool,
    choice: Option<&'a Choice>,
    confidence: Option<Confidence<'a>>,
    gamut: Gamut,
    solve: &'a str,
    constraints: Option<&'a GradationReport>,
    next_patches: Option<&'a [NextPatch]>,
    nodes: usize,
    node_bits: u8,
    notes: &'a [String],
    shaper: Option<&'a ShaperReport>,
    seconds: Unknown,
    why: Why,
}

/// Always `null`; the reason is in `why`.
type Unknown = Option<()>;

#[derive(Serialize)]
struct Target<'a> {
    primaries: &'a str,
    transfer: &'a str,
    white_cd_m2: f64,
    white_xy: [f64; 2],
    black_xyz: [f64; 3],
    reach_cd_m2: f64,
    lowered: f64,
    neutral_codes_missed: usize,
}

#[derive(Serialize)]
struct Patches<'a> {
    used: usize,
    averaged: usize,
    outliers: Option<&'a [Outlier]>,
    below_floor: usize,
    at_floor: Option<&'a AtFloor>,
    neutral_levels: usize,
    interior: usize,
    #[serde(skip_serializing_if = "Why::is_empty")]
    why: Why,
}

#[derive(Serialize)]
struct Gamut {
    nodes_reduced: Option<usize>,
    de2000_max: Option<f64>,
    #[serde(skip_serializing_if = "Why::is_empty")]
    why: Why,
}

#[derive(Serialize)]
struct Confidence<'a> {
    #[serde(flatten)]
    bands: &'a Regions<Option<Band>>,
    #[serde(skip_serializing_if = "Why::is_empty")]
    why: Why,
}

/// The JSON of a fit, schema [`FIT_SCHEMA`].
#[must_use]
pub fn fit_json(report: &FitReport) -> String {
    let mut why = Why::from([("seconds", "left out so that equal inputs give equal bytes")]);
    if report.drift.is_none() {
        why.insert("drift", "no patch came back later to tell it");
    }
    if report.gradation.is_none() {
        why.insert("constraints", "no constraint is held between nodes");
    }
    if report.sharing.is_none() {
        why.insert(
            "sharing",
            "no white sub-pixel and no saturation was worth modelling",
        );
    }
    if report.shaper.is_none() {
        why.insert("shaper", "not asked for");
    }
    for (field, is_known) in [
        ("confidence", report.confidence.is_some()),
        ("next_patches", report.next_patches.is_some()),
    ] {
        if !is_known {
            why.insert(field, "no part of these readings can be left out");
        }
    }
    for (field, is_known) in [
        ("encoding", report.encoding.is_some()),
        ("form", report.form.is_some()),
        ("smoothing", report.smoothing.is_some()),
        ("choice", report.choice.is_some()),
    ] {
        if !is_known {
            why.insert(field, BASE_ONLY);
        }
    }
    // The report carries the base's own error in both fields; only one of them is leave-one-out.
    let leave_one_out = report
        .leave_one_out
        .as_ref()
        .filter(|_| report.form.is_some());
    if leave_one_out.is_none() {
        why.insert(
            "leave_one_out",
            "the base correction alone was fitted; base_error is over the readings it was fitted to",
        );
    }
    if report.base_error.is_none() {
        why.insert(
            "base_error",
            if leave_one_out.is_some() {
                "the readings allow no base correction"
            } else {
                BASE_ONLY
            },
        );
    }
    pretty(&Document {
        schema: FIT_SCHEMA,
        target: target(&report.target),
        scheme: &report.scheme,
        encoding: report.encoding.as_deref(),
        form: report.form.as_deref(),
        smoothing: report.smoothing,
        sharing: report.sharing.as_ref(),
        patches: patches(report),
        noise: &report.noise,
        drift: report.drift.as_ref(),
        leave_one_out,
        base_error: report.base_error.as_ref(),
        base_suffices: report.base_suffices,
        choice: report.choice.as_ref(),
        confidence: report.confidence.as_ref().map(confidence),
        gamut: gamut(report),
        solve: solve(report),
        constraints: report.gradation.as_ref(),
        next_patches: report.next_patches.as_deref(),
        nodes: report.nodes,
        node_bits: report.node_bits,
        notes: &report.notes,
        shaper: report.shaper.as_ref(),
        seconds: None,
        why,
    })
}

fn solve(report: &FitReport) -> &'static str {
    if report.gradation.is_some() {
        "gradation"
    } else {
        "pointwise"
    }
}

fn target(target: &TargetReport) -> Target<'_> {
    Target {
        primaries: &target.primaries,
        transfer: &target.transfer,
        white_cd_m2: target.white_cd_m2,
        white_xy: target.white_xy,
        black_xyz: target.black_xyz,
        reach_cd_m2: target.reach_cd_m2,
        lowered: target.lowered,
        neutral_codes_missed: target.neutral_codes_missed,
    }
}

fn patches(report: &FitReport) -> Patches<'_> {
    let mut why = Why::default();
    if report.outliers.is_none() {
        why.insert("outliers", BASE_ONLY);
    }
    if report.at_floor.is_none() {
        why.insert("at_floor", "no patch but black read 0");
    }
    Patches {
        used: report.patches.used,
        averaged: report.patches.averaged,
        outliers: report.outliers.as_deref(),
        below_floor: report.patches.below_floor,
        at_floor: report.at_floor.as_ref(),
        neutral_levels: report.patches.neutral_levels,
        interior: report.patches.interior,
        why,
    }
}

fn confidence(bands: &Regions<Option<Band>>) -> Confidence<'_> {
    let each = [
        ("all", bands.all),
        ("near_black", bands.near_black),
        ("neutral", bands.neutral),
        ("skin", bands.skin),
        ("saturated", bands.saturated),
    ];
    let unknown = each.into_iter().filter(|(_, band)| band.is_none());
    Confidence {
        bands,
        why: unknown
            .map(|(region, _)| (region, "the panel reaches no target of this region"))
            .collect(),
    }
}

fn gamut(report: &FitReport) -> Gamut {
    let mut why = Why::new();
    match (report.gamut.nodes_reduced, report.gamut.de2000_max) {
        (None, _) => {
            why.insert(
                "nodes_reduced",
                "the base correction clips without counting",
            );
            why.insert("de2000_max", "the base correction clips without counting");
        }
        (_, None) => {
            why.insert("de2000_max", "every node's target is within reach");
        }
        _ => {}
    }
    Gamut {
        nodes_reduced: report.gamut.nodes_reduced,
        de2000_max: report.gamut.de2000_max,
        why,
    }
}
