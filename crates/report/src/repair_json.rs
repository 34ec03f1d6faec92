use evenstep_audit::Verdict;
use evenstep_repair::{Cost, Fault, RepairReport};
use serde::Serialize;

use crate::json::pretty;

/// Name and version of the JSON of a repair.
pub const REPAIR_SCHEMA: &str = "evenstep/repair/1";

#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    lut: &'a str,
    faults_before: &'a [Fault],
    faults_after: &'a [Fault],
    kept: usize,
    nodes: usize,
    nodes_changed: usize,
    cost: &'a Cost,
    verdict_before: &'a Verdict,
    verdict_after: &'a Verdict,
}

/// The JSON of a repair, schema [`REPAIR_SCHEMA`]; `lut` is the name the user gave.
#[must_use]
pub fn repair_json(lut: &str, report: &RepairReport) -> String {
    pretty(&Document {
        schema: REPAIR_SCHEMA,
        lut,
        faults_before: &report.faults_before,
        faults_after: &report.faults_after,
        kept: report.kept,
        nodes: report.nodes,
        nodes_changed: report.nodes_changed,
        cost: &report.cost,
        verdict_before: &report.audit_before.verdict,
        verdict_after: &report.audit_after.verdict,
    })
}
