use evenstep_lut::{CodeScale, Evaluation};
use maud::{Markup, PreEscaped, html};

use super::flip_data::{FlipLut, document};

const SCRIPT: &str = include_str!("flip.js");

/// The part of a page in which pictures are seen without and with the corrections.
pub(crate) fn flip(
    luts: &[FlipLut],
    scale: CodeScale,
    evaluation: Evaluation,
    near_black: f64,
) -> Markup {
    let named = match evaluation {
        Evaluation::Trilinear => "trilinear",
        // The page does not imitate rounded weights.
        Evaluation::Tetrahedral | Evaluation::Weights { .. } => "tetrahedral",
    };
    html! {
        section #look aria-labelledby="look-title" {
            h2 #look-title { "See it" }
            ul.cautions {
                li {
                    "What is drawn here has 8 bits a channel, and the browser and the system may change its colours on the \
                     way to the screen. It shows what the correction does to a picture, not what the panel will show."
                }
                li {
                    "Is a LUT loaded in the panel, the graphics card or the system? Then a corrected picture is corrected \
                     twice. Look at the corrected views with none loaded, or at the uncorrected one with it."
                }
            }
            p #look-missing hidden { "There is nothing to look at: this browser cannot draw, or the page holds no LUT." }
            div #look-controls {
                fieldset #look-views { legend { "Picture" } }
                label { "Content " select #look-content {
                    option value="grey" { "greys" }
                    option value="primaries" { "primaries and mixtures" }
                    option value="dark" { "near black" }
                    option value="skin" { "skin" }
                    option value="sky" { "sky" }
                    option value="own" disabled { "your picture" }
                } }
                label { "Your picture " input #look-file type="file" accept="image/*"; }
                label { "Between nodes " select #look-evaluation {
                    option value="tetrahedral" selected[named == "tetrahedral"] { "tetrahedral" }
                    option value="trilinear" selected[named == "trilinear"] { "trilinear" }
                } }
                label { "Show " select #look-magnify {
                    option value="0" { "the picture" }
                    option value="4" { "what changed, 4 times" }
                    option value="8" { "what changed, 8 times" }
                } }
                button #look-full type="button" { "Full screen…" }
            }
            div #look-frame tabindex="0" role="group" aria-label="Picture. Space goes to the next view, digits choose one, arrows change the content, m magnifies what changed" {
                canvas #look-canvas width="1280" height="720" role="img" aria-label="The chosen content through the chosen view" {}
            }
            p #look-status role="status" {}
            p.keys {
                "With the picture in focus: " kbd { "Space" } " next view, " kbd { "1" } "–" kbd { "9" } " a view, "
                kbd { "←" } " " kbd { "→" } " content, " kbd { "m" } " what changed, " kbd { "Esc" } " leaves full screen. \
                 Source codes and results have 8 bits; in between the page computes unrounded."
            }
            dialog #look-dialog aria-labelledby="look-dialog-title" {
                h3 #look-dialog-title { "Before the screen is filled" }
                ul {
                    li { "The maker's guidance for this panel comes first." }
                    li { "Bright still pictures can mark a self-emissive panel for good: the full screen ends by itself after a minute." }
                    li { "Nothing flashes by itself, and views change at most twice a second. Do not hold the key down; stop if anyone feels unwell." }
                    li { "A loaded LUT and a corrected view correct twice." }
                }
                div.buttons {
                    button #look-go type="button" { "Fill the screen" }
                    button #look-stay type="button" { "Stay here" }
                }
            }
            script #look-data type="application/json" {
                (PreEscaped(document(luts, scale, named, near_black)))
            }
            script { (PreEscaped(SCRIPT)) }
        }
    }
}
