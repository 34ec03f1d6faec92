use evenstep_compare::{CompareReport, TourRow};
use maud::html;

use super::Drawn;
use super::compare_page::figures;
use super::groups::{drawn_parts, look, shared};
use super::page::{Part, page};
use super::verdict::verdict;
use crate::tour_text;

/// The page of the tour: all ways to correct the panel held against what it really does, on shared axes.
///
/// `drawn` are the sparse and the dense LUT, judged on the true panel.
#[must_use]
pub fn tour_html(rows: &[TourRow], comparison: &CompareReport, drawn: &[Drawn<'_>]) -> String {
    let opening = html! {
        p {
            "A small cinema hangs a self-emissive wall panel in its foyer. The panel is simulated, so the truth is known: \
             everything below is judged by it, but for what is headed as without it."
        }
        @for one in drawn { (verdict(one.name, one.report)) }
    };
    let mut parts = vec![Part::new(
        "table",
        "All corrections",
        &html! {
            div.scroll tabindex="0" role="region" aria-label="All corrections in figures" { pre { (tour_text(rows)) } }
        },
    )];
    if let Some(shared) = shared(drawn, String::new()) {
        parts.extend(drawn_parts(&shared, ""));
    }
    parts.push(Part::new(
        "without-truth",
        "Without the truth: sparse against dense readings",
        &figures(
            comparison,
            "LUT from the sparse readings",
            "LUT from the dense readings",
        ),
    ));
    parts.extend(look(drawn));
    page(
        "The foyer: one panel, several corrections",
        &opening,
        &parts,
    )
}
