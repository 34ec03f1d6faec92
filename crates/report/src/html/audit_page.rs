use maud::html;

use super::Drawn;
use super::groups::{drawn_parts, look, shared};
use super::page::{Part, page};
use super::verdict::{ramp_table, verdict};

/// The page of an audit: each LUT's verdict, then each LUT's pictures, then a look through all of them.
#[must_use]
pub fn audit_html(drawn: &[Drawn<'_>]) -> String {
    let names: Vec<&str> = drawn.iter().map(|d| d.name).collect();
    let opening = html! { @for one in drawn { (verdict(one.name, one.report)) } };
    let mut parts = Vec::new();
    for (i, one) in drawn.iter().enumerate() {
        let (prefix, of) = if drawn.len() == 1 {
            (String::new(), "")
        } else {
            (format!("lut-{}-", i + 1), one.name)
        };
        if let Some(shared) = shared(std::slice::from_ref(one), prefix) {
            parts.extend(drawn_parts(&shared, of));
            let title = if of.is_empty() {
                "Every ramp in figures".to_owned()
            } else {
                format!("Every ramp in figures: {of}")
            };
            parts.push(Part::new(
                shared.id("figures-part"),
                title,
                &ramp_table(one.report),
            ));
        }
    }
    parts.extend(look(drawn));
    page(
        &format!("Gradation audit of {}", names.join(", ")),
        &opening,
        &parts,
    )
}
