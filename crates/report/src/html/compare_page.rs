use evenstep_compare::CompareReport;
use maud::{Markup, html};

use super::Drawn;
use super::groups::{drawn_parts, look, shared};
use super::page::{Part, page};
use super::verdict::verdict;
use crate::compare_text;

/// The page of a comparison: what the candidate is against the reference, both verdicts, and both on the same axes.
#[must_use]
pub fn compare_html(
    report: &CompareReport,
    candidate: &Drawn<'_>,
    reference: &Drawn<'_>,
) -> String {
    let both = [*candidate, *reference];
    let opening = html! {
        div.verdict { p { (report.verdict.summary) } p { "Judged on " (report.judge.description) "." } }
        (verdict(candidate.name, candidate.report))
        (verdict(reference.name, reference.report))
    };
    let mut parts = vec![Part::new(
        "side-by-side",
        "Side by side",
        &figures(report, candidate.name, reference.name),
    )];
    if let Some(shared) = shared(&both, String::new()) {
        parts.extend(drawn_parts(&shared, ""));
    }
    parts.extend(look(&both));
    page(
        &format!("{} against {}", candidate.name, reference.name),
        &opening,
        &parts,
    )
}

/// The figures of a comparison as the terminal has them.
pub(crate) fn figures(report: &CompareReport, candidate: &str, reference: &str) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label="Figures side by side" {
            pre { (compare_text(report, candidate, reference)) }
        }
    }
}
