use evenstep_fit::{FitReport, PatchMiss};
use maud::html;

use super::Drawn;
use super::figure::Figure;
use super::figures::readings;
use super::groups::{drawn_parts, look, shared, side_by_side};
use super::page::{Part, page};
use super::verdict::{ramp_table, verdict};
use crate::fit_text;

/// The page of a fit: the verdict of its audit on the model it was made from, what it stands on, and its pictures.
///
/// `misses` are readings predicted from the others; without any the page lacks that figure.
#[must_use]
pub fn fit_html(report: &FitReport, misses: &[PatchMiss], drawn: &Drawn<'_>) -> String {
    let opening = html! {
        (verdict(drawn.name, drawn.report))
        p.quiet {
            "Judged on the model made from the same readings, which looks on the correction more kindly than the panel will: \
             read the panel again through the loaded LUT to be sure."
        }
    };
    let mut sure: Vec<Figure> = Vec::new();
    sure.extend(report.confidence.as_ref().and_then(readings::confidence));
    sure.extend(readings::misses(misses));
    let mut parts = Vec::new();
    parts.push(Part::new(
        "stands-on",
        "What it stands on",
        &html! {
            div.scroll tabindex="0" role="region" aria-label="Summary of the fit" { pre { (fit_text(report)) } }
        },
    ));
    if !sure.is_empty() {
        parts.push(Part::new("sure", "How sure it is", &side_by_side(&sure)));
    }
    if let Some(shared) = shared(std::slice::from_ref(drawn), String::new()) {
        parts.extend(drawn_parts(&shared, ""));
    }
    parts.push(Part::new(
        "figures-part",
        "Every ramp in figures",
        &ramp_table(drawn.report),
    ));
    parts.extend(look(std::slice::from_ref(drawn)));
    page(&format!("Correction {}", drawn.name), &opening, &parts)
}
