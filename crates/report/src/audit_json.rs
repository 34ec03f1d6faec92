use evenstep_audit::AuditReport;
use serde::Serialize;

use crate::json::pretty;

/// Name and version of the document that holds the audits of several LUTs.
pub const AUDITS_SCHEMA: &str = "evenstep/audits/1";

/// One of several audits.
#[derive(Serialize)]
struct Named<'a> {
    lut: &'a str,
    audit: &'a AuditReport,
}

#[derive(Serialize)]
struct Audits<'a> {
    schema: &'static str,
    audits: Vec<Named<'a>>,
}

/// The audit of one LUT, schema `evenstep/audit/1`.
#[must_use]
pub fn audit_json(report: &AuditReport) -> String {
    pretty(report)
}

/// The audits of several LUTs, schema [`AUDITS_SCHEMA`]: `audits` is an array in the order given, each entry with
/// the name of its `lut` and its `audit`, a whole `evenstep/audit/1`.
#[must_use]
pub fn audits_json(reports: &[(String, AuditReport)]) -> String {
    pretty(&Audits {
        schema: AUDITS_SCHEMA,
        audits: reports
            .iter()
            .map(|(lut, audit)| Named { lut, audit })
            .collect(),
    })
}
