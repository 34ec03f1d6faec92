use std::fmt;

use serde::Serialize;

use crate::against::Worse;
use crate::folds::Folds;
use crate::margin::{scale_of, unevenness_of};
use crate::report::{LatticeReport, RampReport};
use crate::verdict::Load;
use crate::walk::Span;

/// One reason for a verdict: a plain sentence, and the same for machines. Prints as its sentence.
///
/// In JSON, members that do not apply are left out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct VerdictReason {
    /// How grave it is; never [`Load::Load`].
    pub severity: Load,
    /// A few words for a headline.
    pub label: &'static str,
    /// The report's field that decided.
    pub figure: &'static str,
    /// What was found; `None` for missing knowledge.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// The scale of both.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scale: Option<&'static str>,
    /// The limit it passed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub threshold: Option<f64>,
    /// The ramp concerned.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ramp: Option<String>,
    /// Where on that ramp.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub between: Option<Span>,
    /// The lattice cell concerned, by its lowest node.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cell: Option<[usize; 3]>,
    /// What is wrong, how much and where, and what to do.
    pub sentence: String,
}

impl fmt::Display for VerdictReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.sentence)
    }
}

/// A value found on a ramp.
#[derive(Clone, Copy)]
pub(crate) struct Find<'a> {
    pub(crate) ramp: &'a RampReport,
    pub(crate) value: f64,
    pub(crate) between: Option<Span>,
}

const REFIT: &str = "leave this LUT out for the curves and matrix of the base correction, or read more greys there and fit again";
const JND: &str = "just-noticeable differences (ΔE ITP)";

/// "between codes 20 and 31 (2.0 % to 3.0 % signal)", with a leading space; empty without a place.
fn place(between: Option<Span>) -> String {
    let percent = |signal: [f64; 3]| 100.0 * signal.into_iter().fold(0.0, f64::max);
    between.map_or_else(String::new, |span| {
        format!(
            " between codes {} and {} ({:.1} % to {:.1} % signal)",
            span.from_code,
            span.to_code,
            percent(span.from_signal),
            percent(span.to_signal)
        )
    })
}

/// "1 reversed step", "3 reversed steps".
fn counted(count: usize, thing: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {thing}{plural}")
}

impl VerdictReason {
    fn new(severity: Load, label: &'static str, figure: &'static str, sentence: String) -> Self {
        Self {
            severity,
            label,
            figure,
            value: None,
            scale: None,
            threshold: None,
            ramp: None,
            between: None,
            cell: None,
            sentence,
        }
    }

    fn passing(mut self, value: f64, threshold: f64) -> Self {
        (self.value, self.threshold) = (Some(value), Some(threshold));
        self.scale = Some(scale_of(self.figure));
        self
    }

    fn on(mut self, ramp: &RampReport, between: Option<Span>) -> Self {
        (self.ramp, self.between) = (Some(ramp.name.clone()), between);
        self
    }

    /// How far beyond its limit, as a ratio; 0 for missing knowledge, which ranks last.
    pub(crate) fn excess(&self) -> f64 {
        match (self.value, self.threshold) {
            (Some(value), Some(threshold)) if threshold > 0.0 => value / threshold,
            (Some(_), _) => f64::INFINITY,
            _ => 0.0,
        }
    }

    pub(crate) fn visible_reversal(find: Find, limit: f64) -> Self {
        let Find {
            ramp,
            value,
            between,
        } = find;
        let sentence = format!(
            "the {} ramp gets darker by {value:.2} {JND}{}, and {limit} is visible; {REFIT}",
            ramp.name,
            place(between)
        );
        Self::new(
            Load::DoNotLoad,
            "visible neutral reversal",
            "reversal_depth_itp",
            sentence,
        )
        .passing(value, limit)
        .on(ramp, between)
    }

    pub(crate) fn visible_reversal_when_rounded(find: Find, limit: f64) -> Self {
        let Find {
            ramp,
            value,
            between,
        } = find;
        let sentence = format!(
            "rounded to the output depth the {} ramp gets darker by {value:.2} {JND} more than a smooth curve \
             would{}, and {limit} is visible; use more output bits or {REFIT}",
            ramp.name,
            place(between)
        );
        Self::new(
            Load::DoNotLoad,
            "visible neutral reversal when rounded",
            "rounded.reversal_depth_itp",
            sentence,
        )
        .passing(value, limit)
        .on(ramp, between)
    }

    pub(crate) fn reversed_steps(find: Find, visible: f64) -> Self {
        let Find {
            ramp,
            value,
            between,
        } = find;
        let sentence = format!(
            "{} on the {} ramp, the deepest fall {value:.2} of a just-noticeable difference (ΔE ITP){}; look at \
             this ramp before loading, or {REFIT}",
            counted(ramp.figures.reversed_steps, "reversed step"),
            ramp.name,
            place(between)
        );
        // Ranked by depth, not by number: many shallow steps are less than one visible fall.
        Self::new(
            Load::WithCare,
            "reversed steps",
            "reversal_depth_itp",
            sentence,
        )
        .passing(value, visible)
        .on(ramp, between)
    }

    pub(crate) fn drive_reversal(ramp: &RampReport, stops: bool, limit: f64) -> Self {
        let (fall, between) = (
            ramp.figures.certain_fall_drive,
            ramp.figures.certain_fall_between,
        );
        let steps = counted(ramp.figures.reversed_steps, "step");
        let name = &ramp.name;
        let (severity, tail) = if stops {
            (
                Load::DoNotLoad,
                format!("any panel gets darker there; {REFIT}"),
            )
        } else {
            (
                Load::WithCare,
                "audit with the panel's readings to see whether it shows".into(),
            )
        };
        let depth = if fall > 0.0 {
            format!(
                ", all channels together by {:.2} %{}",
                100.0 * fall,
                place(between)
            )
        } else {
            String::new()
        };
        let sentence = format!("the drive falls in {steps} of the {name} ramp{depth}; {tail}");
        Self::new(severity, "drive falls", "certain_fall_drive", sentence)
            .passing(fall, limit)
            .on(ramp, between)
    }

    pub(crate) fn plateau_jump(find: Find, limit: f64) -> Self {
        let Find {
            ramp,
            value,
            between,
        } = find;
        let sentence = format!(
            "near black the {} ramp stands still and then jumps by {value:.2} {JND} more than it should{}, and \
             {limit} shows as an edge; {REFIT}",
            ramp.name,
            place(between)
        );
        Self::new(
            Load::DoNotLoad,
            "near-black plateau and jump",
            "near_black.plateau_jump_excess_itp",
            sentence,
        )
        .passing(value, limit)
        .on(ramp, between)
    }

    pub(crate) fn plateau(ramp: &RampReport, limit: usize) -> Self {
        let between = ramp.figures.plateau_between;
        let length = ramp.figures.longest_plateau;
        let sentence = format!(
            "{length} codes of the {} ramp give the same output{}, before any rounding; what lies there is lost; \
             check the clipping, or {REFIT}",
            ramp.name,
            place(between)
        );
        Self::new(Load::WithCare, "plateau", "longest_plateau", sentence)
            .passing(length as f64, limit as f64)
            .on(ramp, between)
    }

    pub(crate) fn merged(ramp: &RampReport, excess: usize, allowed: f64) -> Self {
        let figures = &ramp.rounded.figures;
        let sentence = format!(
            "rounding merges {} codes of the {} ramp, {excess} more than it would on a smooth curve; store the LUT \
             with more bits, or {REFIT}",
            figures.merged_codes, ramp.name
        );
        Self::new(
            Load::WithCare,
            "merged codes",
            "rounded.merged_codes",
            sentence,
        )
        .passing(excess as f64, allowed)
        .on(ramp, figures.plateau_between)
    }

    pub(crate) fn uneven(
        ramp: &RampReport,
        near_black: bool,
        stops: bool,
        value: f64,
        base: f64,
        limit: f64,
    ) -> Self {
        let severity = if stops {
            Load::DoNotLoad
        } else {
            Load::WithCare
        };
        let part = if near_black {
            "near-black part of the "
        } else {
            ""
        };
        let sentence = format!(
            "steps along the {part}{} ramp differ from the ideal by {:.0} % (root mean square), against {:.0} % \
             with the base correction; {REFIT}",
            ramp.name,
            100.0 * value,
            100.0 * base
        );
        let figure = unevenness_of(near_black);
        Self::new(severity, "uneven steps", figure, sentence)
            .passing(value, limit)
            .on(ramp, None)
    }

    pub(crate) fn worse_than_base(worse: &Worse) -> Self {
        let sentence = format!(
            "{} of the {} ramp is {:.2}, against {:.2} with the base correction; prefer the base correction, or \
             {REFIT}",
            worse.figure, worse.ramp, worse.value, worse.reference
        );
        let mut reason = Self::new(
            Load::WithCare,
            "worse than the base correction",
            worse.figure,
            sentence,
        )
        .passing(worse.value, worse.reference);
        reason.ramp = Some(worse.ramp.clone());
        reason
    }

    pub(crate) fn folds(folds: &Folds) -> Self {
        let at = folds.first_cell.map_or_else(String::new, |[r, g, b]| {
            format!(", first in the cell above node ({r}, {g}, {b})")
        });
        let sentence = format!(
            "the lattice folds back on itself in {} ({} of them on named ramps){at}; {REFIT}",
            counted(folds.folded, "place"),
            folds.folded_on_ramps
        );
        let mut reason = Self::new(Load::WithCare, "folds", "lattice.folds.folded", sentence)
            .passing(folds.folded as f64, 1.0);
        reason.cell = folds.first_cell;
        reason
    }

    pub(crate) fn visible_folds(
        lattice: &LatticeReport,
        depth: f64,
        limit: f64,
        stops: bool,
    ) -> Self {
        let severity = if stops {
            Load::DoNotLoad
        } else {
            Load::WithCare
        };
        let folds = &lattice.folds;
        let at = lattice
            .fold_depth_cell
            .map_or_else(String::new, |[r, g, b]| {
                format!(" in the cell above node ({r}, {g}, {b})")
            });
        let sentence = format!(
            "the lattice folds back on itself in {} ({} of them on named ramps), at most by {depth:.2} {JND}{at}, and \
             {limit} is visible; {REFIT}",
            counted(folds.folded, "place"),
            folds.folded_on_ramps
        );
        let mut reason =
            Self::new(severity, "folds", "lattice.fold_depth_itp", sentence).passing(depth, limit);
        reason.cell = lattice.fold_depth_cell;
        reason
    }

    pub(crate) fn bump(figure: &'static str, find: Find, limit: f64) -> Self {
        let Find {
            ramp,
            value,
            between,
        } = find;
        let sentence = if figure == "bump_drive" {
            format!(
                "the drive of the {} ramp leaves the course of its neighbours by {:.1} %{}, and {:.1} % is the limit; \
                 audit with the panel's readings to see whether it shows",
                ramp.name,
                100.0 * value,
                place(between),
                100.0 * limit
            )
        } else {
            format!(
                "the {} ramp leaves the course of its neighbours by {value:.2} {JND}{}, and {limit} is visible; {REFIT}",
                ramp.name,
                place(between)
            )
        };
        Self::new(Load::WithCare, "bump", figure, sentence)
            .passing(value, limit)
            .on(ramp, between)
    }

    pub(crate) fn wobble(value: f64, limit: f64, at: Span) -> Self {
        let sentence = format!(
            "the tint of the neutral ramp wobbles by {value:.2} {JND} about its trend at code {} ({:.1} % signal), \
             and {limit:.2} is the limit; read more greys there and fit again",
            at.from_code,
            100.0 * at.from_signal[1]
        );
        let mut reason = Self::new(
            Load::WithCare,
            "neutral tint wobbles",
            "neutral_wobble_seen_itp",
            sentence,
        )
        .passing(value, limit);
        (reason.ramp, reason.between) = (Some("neutral".into()), Some(at));
        reason
    }

    pub(crate) fn noise_gain(figure: &'static str, value: f64, limit: f64) -> Self {
        let part = if figure == "noise_gain.near_black_p95" {
            "near black"
        } else {
            "in mid-tones"
        };
        let sentence = format!(
            "noise of a picture is shown {value:.1} times as large as the target has it {part} (95th percentile), and \
             {limit} is the limit; {REFIT}"
        );
        Self::new(Load::WithCare, "noise is amplified", figure, sentence).passing(value, limit)
    }

    pub(crate) fn not_numbers(count: usize) -> Self {
        let sentence = format!(
            "{} not a finite number; write the file again",
            if count == 1 {
                "1 value is".into()
            } else {
                format!("{count} values are")
            }
        );
        Self::new(
            Load::DoNotLoad,
            "values that are not numbers",
            "non_finite",
            sentence,
        )
        .passing(count as f64, 0.0)
    }

    pub(crate) fn too_few_readings(
        figure: &'static str,
        what: &str,
        (found, need): (usize, usize),
    ) -> Self {
        let sentence = format!(
            "the readings hold {found} {what}, and the verdict needs {need}; read more of them and audit again"
        );
        let mut reason = Self::new(Load::WithCare, "readings say too little", figure, sentence);
        // Missing knowledge ranks last, so the numbers stay out of the ranking.
        reason.threshold = Some(need as f64);
        reason
    }

    pub(crate) fn panel_unknown() -> Self {
        let sentence =
            "no readings of the panel: what it shows is not known; audit again with its readings"
                .into();
        Self::new(Load::WithCare, "panel unknown", "panel", sentence)
    }
}
