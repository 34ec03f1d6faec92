use evenstep_compare::{CompareReport, TourRow};
use serde::Serialize;

use crate::json::{Why, pretty};

/// Name and version of the JSON of a comparison.
pub const COMPARE_SCHEMA: &str = "evenstep/compare/1";
/// Name and version of the JSON of the tour.
pub const TOUR_SCHEMA: &str = "evenstep/tour/1";

#[derive(Serialize)]
struct Compared<'a> {
    schema: &'static str,
    candidate: &'a str,
    reference: &'a str,
    #[serde(flatten)]
    report: &'a CompareReport,
    drift: Option<f64>,
    why: Why,
}

fn compared<'a>(report: &'a CompareReport, candidate: &'a str, reference: &'a str) -> Compared<'a> {
    let mut why = Why::new();
    why.insert("drift", "not measured by this version");
    if report.colour.is_none() {
        for field in ["colour", "candidate_error", "reference_error", "base_error"] {
            why.insert(field, "needs readings");
        }
    } else if report.base_error.is_none() {
        why.insert("base_error", "the readings allow no base correction");
    }
    if report.next_patches.is_none() {
        why.insert(
            "next_patches",
            "needs readings of the panel that can be parted",
        );
    }
    if report.reference_noise.is_none() {
        why.insert(
            "reference_noise",
            "needs a reference of readings with at least six repeats",
        );
    }
    Compared {
        schema: COMPARE_SCHEMA,
        candidate,
        reference,
        report,
        drift: None,
        why,
    }
}

/// The JSON of a comparison, schema [`COMPARE_SCHEMA`]; `candidate` and `reference` are the names the user gave.
#[must_use]
pub fn compare_json(report: &CompareReport, candidate: &str, reference: &str) -> String {
    pretty(&compared(report, candidate, reference))
}

#[derive(Serialize)]
struct Toured<'a> {
    schema: &'static str,
    rows: &'a [TourRow],
    comparison: Compared<'a>,
}

/// The JSON of the tour, schema [`TOUR_SCHEMA`].
#[must_use]
pub fn tour_json(rows: &[TourRow], comparison: &CompareReport) -> String {
    pretty(&Toured {
        schema: TOUR_SCHEMA,
        rows,
        comparison: compared(comparison, "sparse readings", "dense readings"),
    })
}
