use maud::{Markup, PreEscaped, html};

use super::chart::Chart;
use super::ink::Ink;

/// A picture with all that belongs to it.
pub(crate) struct Figure {
    /// Name for links and scripts, unique on a page.
    pub(crate) id: String,
    /// Heading.
    pub(crate) title: String,
    /// What is drawn, what it means and where it would hurt.
    pub(crate) caption: String,
    /// The picture in words, for who does not see it.
    pub(crate) alt: String,
    /// What the strokes stand for.
    pub(crate) legend: Vec<(Ink, String)>,
    /// The picture.
    pub(crate) chart: Chart,
    /// The numbers.
    pub(crate) table: Table,
    /// Whether it takes the whole width of the page.
    pub(crate) is_wide: bool,
}

/// Numbers of a figure, one row for each place that can be read.
pub(crate) struct Table {
    /// What the rows are, if not every code or node.
    pub(crate) note: &'static str,
    /// Headings of the columns, units among them.
    pub(crate) head: Vec<String>,
    /// Cells.
    pub(crate) rows: Vec<Vec<String>>,
}

impl Figure {
    pub(crate) fn markup(&self) -> Markup {
        let chart = &self.chart;
        let frame = chart.frame.map(|v| v.to_string()).join(" ");
        let spots: Vec<String> = chart
            .spots
            .iter()
            .map(|(x, y)| {
                if chart.along_x {
                    x.to_string()
                } else {
                    format!("{x} {y}")
                }
            })
            .collect();
        let width = self.is_wide.then_some("wide");
        html! {
            figure id=(self.id) class=[width] data-figure {
                h3 { (self.title) }
                @if !self.legend.is_empty() {
                    ul.legend aria-hidden="true" {
                        @for (ink, words) in &self.legend {
                            li { (swatch(*ink)) (words) }
                        }
                    }
                }
                div.plot role="group" tabindex="0" aria-label={ (self.title) ": arrow keys read the values" }
                    data-frame=(frame) data-size={ (chart.size.0) " " (chart.size.1) }
                    data-along=(if chart.along_x { "x" } else { "xy" }) data-spots=(spots.join(",")) {
                    div role="img" aria-label=(self.alt) { (PreEscaped(hidden(&chart.svg))) }
                    div.reading role="status" hidden {}
                }
                @if !self.caption.is_empty() { figcaption { (self.caption) } }
                (self.table.markup(&self.title))
            }
        }
    }
}

/// The picture, which the words around it stand for.
fn hidden(svg: &str) -> String {
    svg.replacen("<svg ", "<svg aria-hidden=\"true\" focusable=\"false\" ", 1)
}

/// A short stroke as it is drawn in the pictures.
fn swatch(ink: Ink) -> Markup {
    html! {
        svg.swatch viewBox="0 0 68 20" width="34" height="10" aria-hidden="true" focusable="false" {
            polyline fill="none" stroke=(ink.hex()) stroke-width=(ink.width()) points="2,10 66,10" {}
        }
    }
}

impl Table {
    fn markup(&self, title: &str) -> Markup {
        html! {
            details {
                summary { "Numbers" span.unseen { " of: " (title) } }
                @if !self.note.is_empty() { p { (self.note) } }
                div.scroll tabindex="0" role="region" aria-label={ "Numbers of: " (title) } {
                    table {
                        thead { tr { @for cell in &self.head { th scope="col" { (cell) } } } }
                        tbody {
                            @for row in &self.rows {
                                tr {
                                    @for (i, cell) in row.iter().enumerate() {
                                        @if i == 0 { th scope="row" { (cell) } } @else { td { (cell) } }
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// A number for a cell; a dash where there is none.
pub(crate) fn cell(value: Option<f64>, decimals: usize) -> String {
    match value {
        Some(v) if v.is_finite() => format!("{v:.decimals$}"),
        _ => "–".to_owned(),
    }
}

/// "0.10 to 1.29", of what is finite; "unknown" of nothing.
pub(crate) fn span_of(values: impl Iterator<Item = f64>, decimals: usize) -> String {
    let (low, high) = values
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
            (l.min(v), h.max(v))
        });
    if low > high {
        return "unknown".to_owned();
    }
    format!("{low:.decimals$} to {high:.decimals$}")
}
