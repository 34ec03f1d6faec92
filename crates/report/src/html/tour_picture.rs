use maud::{Markup, PreEscaped, html};

use super::Drawn;
use super::figure::Figure;
use super::figures::ramps::{Extent, STEPS, neutral};
use super::groups::shared;

/// Room above the picture for what its strokes stand for, in its own pixels.
const LEGEND: u32 = 70;
/// Room for a name in the legend.
const NAME: usize = 440;

/// The hues and dashes that a page's style sheet gives, for a picture that stands alone; on white, since a picture does
/// not know what it lies on.
const STYLE: &str = "text{font-family:sans-serif;fill:#1B1F24}\
    polyline[stroke=\"#009E73\"]{stroke-dasharray:24 6;stroke-width:3.2}\
    polyline[stroke=\"#D55E00\"]{stroke-dasharray:10 6;stroke-width:3.2}";

/// The steps near black of the tour's LUTs beside the base correction's and the target's, as SVG: the README's picture.
///
/// Empty where there is nothing to draw.
#[must_use]
pub fn tour_picture(drawn: &[Drawn<'_>]) -> String {
    let figure = shared(drawn, String::new()).and_then(|s| neutral(&s, &STEPS, Extent::NearBlack));
    figure.map_or_else(String::new, |figure| alone(&figure).into_string())
}

fn alone(figure: &Figure) -> Markup {
    let (width, height) = figure.chart.size;
    html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (width) " " (height + LEGEND) } width=(width / 2) height=((height + LEGEND) / 2) {
            title { (figure.alt) }
            style { (PreEscaped(STYLE)) }
            rect width="100%" height="100%" fill="#FFFFFF" {}
            @for (i, (ink, name)) in figure.legend.iter().enumerate() {
                @let left = 120 + i * NAME;
                polyline fill="none" stroke=(ink.hex()) stroke-width=(ink.width())
                    points={ (left) ",40 " (left + 70) ",40" } {}
                text x=(left + 84) y="49" font-size="26" { (name) }
            }
            g transform={ "translate(0," (LEGEND) ")" } { (PreEscaped(&figure.chart.svg)) }
        }
    }
}
