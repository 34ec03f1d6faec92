use evenstep_lut::Lut;
use maud::{Markup, html};

use super::Drawn;
use super::figure::Figure;
use super::figures::{
    Chain, Shared, balance::balance, base_name, colours, drive::drive_steps, noise::noise,
    planes::planes, ramps,
};
use super::flip::flip;
use super::flip_data::FlipLut;
use super::ink::Ink;
use super::page::Part;

/// How corrections on one page are told apart, in their order.
const INKS: [Ink; 3] = [Ink::First, Ink::Second, Ink::Third];

/// Corrections that share their axes; no more than there are inks.
pub(crate) fn shared<'a>(drawn: &[Drawn<'a>], prefix: String) -> Option<Shared<'a>> {
    let first = drawn.first()?;
    Some(Shared {
        chains: drawn
            .iter()
            .zip(INKS)
            .map(|(one, ink)| Chain {
                name: one.name,
                ink,
                traces: one.traces,
            })
            .collect(),
        prefix,
        bits: first.report.source_bits,
    })
}

/// Figures side by side, the wide ones over both columns.
pub(crate) fn side_by_side(figures: &[Figure]) -> Markup {
    html! { div.figures { @for figure in figures { (figure.markup()) } } }
}

/// All parts that draw these corrections; `of` follows each heading where a page holds several groups.
pub(crate) fn drawn_parts(shared: &Shared, of: &str) -> Vec<Part> {
    use ramps::{Extent, LIGHT_LOG, LIGHT_SEEN, STEPS, TINT, UNEVENNESS, neutral};
    let mut steps: Vec<Figure> = Vec::new();
    steps.extend(drive_steps(shared));
    steps.extend(neutral(shared, &STEPS, Extent::Whole));
    steps.extend(neutral(shared, &STEPS, Extent::NearBlack));
    steps.extend(neutral(shared, &UNEVENNESS, Extent::Whole));
    let mut greys: Vec<Figure> = Vec::new();
    greys.extend(neutral(shared, &TINT, Extent::Whole));
    greys.extend(neutral(shared, &TINT, Extent::NearBlack));
    greys.extend(balance(shared));
    greys.extend(neutral(shared, &LIGHT_LOG, Extent::Whole));
    greys.extend(neutral(shared, &LIGHT_SEEN, Extent::Whole));
    let mut colour: Vec<Figure> = Vec::new();
    colour.extend(colours::histogram(shared));
    colour.extend(colours::chromaticity(shared));
    colour.extend(colours::by_name(shared));
    colour.extend(noise(shared));
    let parts = [
        ("steps-part", "Steps", steps),
        ("greys-part", "Greys", greys),
        ("colour-part", "Colour and noise", colour),
        ("ramps-part", "Other ramps", ramps::other_ramps(shared)),
        ("lattice-part", "Lattice", planes(shared)),
    ];
    parts
        .into_iter()
        .filter(|(_, _, figures)| !figures.is_empty())
        .map(|(id, title, figures)| {
            let title = if of.is_empty() {
                title.to_owned()
            } else {
                format!("{title}: {of}")
            };
            Part::new(shared.id(id), title, &side_by_side(&figures))
        })
        .collect()
}

/// The look through the corrections, the base's lattice after them.
pub(crate) fn look(drawn: &[Drawn]) -> Option<Part> {
    let first = drawn.first()?;
    let mut luts: Vec<FlipLut> = Vec::new();
    let base: Option<&Lut> = first.traces.base_lattice.as_ref();
    luts.extend(base.map(|lut| FlipLut {
        name: base_name(first.traces),
        ink: Ink::Base,
        lut,
    }));
    luts.extend(drawn.iter().enumerate().map(|(i, one)| FlipLut {
        name: one.name,
        ink: INKS[i % INKS.len()],
        lut: one.lut,
    }));
    Some(Part {
        id: "look".to_owned(),
        title: "See it".to_owned(),
        body: flip(
            &luts,
            first.scale(),
            first.evaluation(),
            first.report.near_black_end,
        ),
    })
}
