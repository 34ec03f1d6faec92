use evenstep_audit::{AuditReport, Load, MeasuredOn, RampReport};
use maud::{Markup, html};

use super::figure::cell;
use crate::audit_text::{effects, kinds};

/// The answer in plain words, and what speaks against it.
pub(crate) fn verdict(name: &str, report: &AuditReport) -> Markup {
    let (tone, answer) = match report.verdict.load {
        Load::Load => ("good", "Load it."),
        Load::WithCare => ("care", "Load it with care."),
        Load::DoNotLoad => ("stop", "Do not load it."),
    };
    let kinds = kinds(&report.verdict.reasons);
    html! {
        section aria-label={ "Verdict on " (name) } {
            div class={ "verdict " (tone) } {
                p.answer { (answer) }
                p { strong { (name) } ": " (report.verdict) ". " (effects(report)) }
                @if report.measured_on == MeasuredOn::Drive {
                    p { "The panel is not known: these are the LUT's own faults only. With readings (" code { "--panel" }
                        ") the page shows light, colour and the base correction beside it." }
                }
            }
            @if kinds.is_empty() {
                p { "No fault was found." }
            } @else {
                h2 { "Why" }
                ol.reasons {
                    @for (reason, others) in &kinds {
                        @let (tone, words) = match reason.severity {
                            Load::DoNotLoad => ("stop", "do not load"),
                            Load::Load | Load::WithCare => ("care", "with care"),
                        };
                        li {
                            span class={ "tag " (tone) } { (words) } " – " (unbroken(&reason.sentence))
                            @if !others.is_empty() { ". Also, less: " (others.join(", ")) }
                            "."
                        }
                    }
                }
            }
        }
    }
}

/// No line ends between a number and its unit.
fn unbroken(sentence: &str) -> String {
    sentence
        .replace(" %", "\u{a0}%")
        .replace(" cd/m²", "\u{a0}cd/m²")
}

/// Figures of every ramp.
pub(crate) fn ramp_table(report: &AuditReport) -> Markup {
    let base = |i: usize| {
        report
            .references
            .as_ref()
            .and_then(|r| r.base.get(i)?.unevenness)
    };
    let percent = |v: Option<f64>| cell(v.map(|v| 100.0 * v), 0);
    let near = |ramp: &RampReport| ramp.near_black.as_ref().and_then(|n| n.figures.unevenness);
    html! {
        p.quiet {
            "Ramps walk every code of " (report.source_bits.bits()) " bits, " (report.evaluation) " evaluation, unrounded. \
             Reversed steps get darker where they should not; depth is the deepest of these falls, 1 is just noticeable; \
             unevenness is how far steps differ from the ideal, root mean square; near black is up to "
            (format!("{:.1}", 100.0 * report.near_black_end)) " % signal."
        }
        div.scroll tabindex="0" role="region" aria-label="Figures of every ramp" {
            table {
                thead { tr {
                    th scope="col" { "ramp" } th scope="col" { "codes" } th scope="col" { "out of reach" }
                    th scope="col" { "reversed steps" } th scope="col" { "depth, ΔE ITP" } th scope="col" { "unevenness, %" }
                    th scope="col" { "near black, %" } th scope="col" { "base beside it, %" } th scope="col" { "largest step, ΔE ITP" }
                } }
                tbody {
                    @for (i, ramp) in report.ramps.iter().enumerate() {
                        tr {
                            th scope="row" { (ramp.name) }
                            td { (ramp.figures.codes) }
                            td { (ramp.figures.codes_unreachable.map_or("–".to_owned(), |n| n.to_string())) }
                            td { (ramp.figures.reversed_steps) }
                            td { (cell(ramp.figures.reversal_depth_itp, 2)) }
                            td { (percent(ramp.figures.unevenness)) }
                            td { (percent(near(ramp))) }
                            td { (percent(base(i))) }
                            td { (cell(ramp.figures.step_itp_max, 2)) }
                        }
                    }
                }
            }
        }
    }
}
