//! The JSON against the fields the command surface names.

mod common;

use common::{Map, lattice_on_panel};
use evenstep_audit::{AuditOptions, Subject, audit};
use evenstep_lut::{Evaluation, Lut, Lut1d, Lut3d};
use serde_json::Value;

const REPORT: [&str; 13] = [
    "schema",
    "verdict",
    "lattice",
    "ramps",
    "neutral_wobble_itp",
    "neutral_wobble_seen_itp",
    "neighbours26",
    "noise_gain",
    "evaluation_sensitivity",
    "thresholds",
    "curves",
    "regions",
    "worst",
];
const LATTICE: [&str; 8] = [
    "nodes",
    "step_variance",
    "local_step_variance",
    "second_difference",
    "folds",
    "fold_depth_itp",
    "clipped_nodes",
    "non_finite",
];
const RAMP: [&str; 21] = [
    "name",
    "codes",
    "codes_unreachable",
    "reversed_steps",
    "reversed_steps_clipped",
    "reversal_depth_itp",
    "merged_codes",
    "merged_floor",
    "longest_plateau",
    "jump_after_plateau_itp",
    "first_lit_code",
    "unevenness",
    "step_itp_max",
    "step_barten_max",
    "step_gsdf_max",
    "roughness_de2000",
    "rounded",
    "near_black",
    "bump_itp",
    "bump_drive",
    "from",
];

fn has(object: &Value, names: &[&str]) {
    for name in names {
        assert!(object.get(name).is_some(), "{name} is missing");
    }
}

/// Every `null` member has a reason beside it, and every reason belongs to a `null`.
fn nulls_have_reasons(value: &Value, path: &str) {
    match value {
        Value::Object(members) => {
            let why = members.get("why").and_then(Value::as_object);
            for (name, member) in members {
                let reason = why.and_then(|why| why.get(name));
                assert_eq!(
                    member.is_null(),
                    reason.is_some(),
                    "{path}.{name}: {member}"
                );
                nulls_have_reasons(member, &format!("{path}.{name}"));
            }
            for name in why.into_iter().flatten().map(|(name, _)| name) {
                assert!(
                    members.contains_key(name),
                    "{path}: a reason for {name}, which is not there"
                );
            }
        }
        Value::Array(all) => all.iter().for_each(|v| nulls_have_reasons(v, path)),
        _ => {}
    }
}

#[test]
fn fields_are_those_of_the_command_surface() {
    let report = serde_json::to_value(lattice_on_panel(Lut3d::identity(9))).unwrap();
    assert_eq!(report["schema"], "evenstep/audit/1");
    has(&report, &REPORT);
    has(
        &report["verdict"],
        &["load", "against_base", "against_uncorrected", "reasons"],
    );
    has(&report["lattice"], &LATTICE);
    has(
        &report["lattice"]["local_step_variance"],
        &["mean", "p95", "max"],
    );
    has(&report["lattice"]["second_difference"], &["rms", "p99"]);
    has(
        &report["lattice"]["folds"],
        &["folded", "collapsed", "unreachable"],
    );
    for ramp in report["ramps"].as_array().unwrap() {
        has(ramp, &RAMP);
        has(&ramp["rounded"], &["floor", "merged_floor"]);
        has(&ramp["near_black"], &["reversed_steps", "rounded"]);
        has(&ramp["roughness_de2000"], &["rms", "p95"]);
    }
    assert_eq!(report["verdict"]["load"], "load");
    assert_eq!(report["verdict"]["against_base"], "keeps");
    nulls_have_reasons(&report, "report");
}

/// A curve that falls in one channel: the others are not in the list, so that no entry of it is `null`.
#[test]
fn falls_of_curves_are_listed_by_channel() {
    let lut = Lut::from(Lut1d::from_fn(5, |v| [v, (2.0 * v).min(1.5 - v), v]));
    let correction = lut.evaluated(Evaluation::Tetrahedral);
    let subject = Subject::of_lut(&correction, &lut);
    let json = serde_json::to_value(audit(&subject, &AuditOptions::default(), None)).unwrap();
    let falls = serde_json::json!([{"channel": 1, "row": 3}]);
    assert_eq!(json["curves"]["first_fall"], falls);
    nulls_have_reasons(&json, "report");
}

#[test]
fn an_audit_in_depth_has_them_all() {
    let lut = Lut::from(Lut3d::identity(5));
    let correction = lut.evaluated(Evaluation::Tetrahedral);
    let options = AuditOptions {
        in_depth: true,
        source_bits: evenstep_audit::BitDepth::EIGHT,
        ..AuditOptions::default()
    };
    let report = common::on_panel(&Subject::of_lut(&correction, &lut), &options);
    let json = serde_json::to_value(&report).unwrap();
    has(&json["neighbours26"], &["de2000_max", "itp_max"]);
    has(&json["evaluation_sensitivity"], &["trilinear", "weights"]);
    has(
        &json["regions"],
        &["all", "near_black", "neutral", "skin", "saturated"],
    );
    nulls_have_reasons(&json, "report");
}

#[test]
fn without_readings_what_needs_them_is_null_and_says_so() {
    let lut = Lut::from(Lut3d::from_fn(5, |s| s.map(|v| v * v)));
    let correction = lut.evaluated(Evaluation::Tetrahedral);
    let report = audit(
        &Subject::of_lut(&correction, &lut),
        &AuditOptions::default(),
        None,
    );
    let json = serde_json::to_value(&report).unwrap();
    nulls_have_reasons(&json, "report");
    assert_eq!(json["verdict"]["load"], "load with care");
    assert_eq!(json["verdict"]["why"]["against_base"], "needs readings");
    assert_eq!(json["why"]["neutral_wobble_itp"], "needs readings");
    assert_eq!(
        json["ramps"][0]["why"]["reversal_depth_itp"],
        "needs readings"
    );
    assert_eq!(json["why"]["noise_gain"], "needs readings");
    assert!(json["lattice"]["local_step_variance"].is_null());
    assert_eq!(json["measured_on"], "drive");
    assert_eq!(json["evaluation"], "tetrahedral");
}

#[test]
fn values_that_are_not_numbers_stop_the_lut_and_never_panic() {
    let map = Map(|s: [f64; 3]| {
        if s[0] > 0.5 {
            [f64::NAN, f64::INFINITY, s[2]]
        } else {
            s
        }
    });
    let report = common::on_panel(&Subject::new(&map), &AuditOptions::default());
    assert!(report.non_finite > 0);
    assert_eq!(
        report.verdict.reasons[0].label,
        "values that are not numbers"
    );
    nulls_have_reasons(&serde_json::to_value(&report).unwrap(), "report");
}
