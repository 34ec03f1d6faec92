use std::ops::Range;

use serde::Serialize;

use crate::light::Light;
use crate::plateau::{self, Plateaus};
use crate::reversal;
use crate::roughness::{self, Roughness};
use crate::scales;
use crate::unevenness;
use crate::walk::{Guide, Span};
use crate::why::{Known, NEEDS_READINGS, Why};

const NO_PAIRS: &str = "no pair of codes can be judged here";
const NO_REVERSAL: &str = "no reversal";
const NO_PLATEAU: &str = "no plateau";
const NO_JUMP: &str = "no plateau that ends in a step";
const OFF_SCALE: &str = "not defined below 0.05 cd/m² and above 3993 cd/m²";

/// The gradation figures of one ramp or of its near-black part, unrounded or rounded.
///
/// Steps, reversals, plateaus and ratios concern judged pairs of consecutive codes: pairs whose target rises and
/// can be reached. Without readings every pair is judged. `null` fields have their reason in `why`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RampFigures {
    /// Codes walked.
    pub codes: usize,
    /// Codes whose target the panel cannot show, or whose target does not rise above the code before.
    pub codes_unreachable: Option<usize>,
    /// Judged pairs whose luminance falls; without readings, in which the drive of a channel that should rise
    /// falls.
    pub reversed_steps: usize,
    /// Pairs set aside whose luminance falls.
    pub reversed_steps_clipped: Option<usize>,
    /// Deepest fall of luminance below one shown before, in ΔE ITP along luminance.
    pub reversal_depth_itp: Option<f64>,
    /// From the code of that luminance to the deepest code.
    pub reversal_between: Option<Span>,
    /// Judged pairs in which each channel's drive falls, whether it should rise or not.
    pub drive_reversals: [usize; 3],
    /// Largest fall common to all rising channels over a stretch in which no channel rises, in drive.
    pub certain_fall_drive: f64,
    /// The stretch of that fall.
    pub certain_fall_between: Option<Span>,
    /// Judged pairs with the same output.
    pub merged_codes: usize,
    /// Merged codes of the smooth curve with the same end points and slope, rounded alike; 0 unrounded.
    pub merged_floor: usize,
    /// Codes in the longest run of equal output; 1 without a plateau.
    pub longest_plateau: usize,
    /// First and last code of that run.
    pub plateau_between: Option<Span>,
    /// The step that ends that run, in ΔE ITP.
    pub jump_after_plateau_itp: Option<f64>,
    /// Largest amount by which a step that ends any run exceeds its ideal, in ΔE ITP.
    pub plateau_jump_excess_itp: Option<f64>,
    /// The codes of that step.
    pub plateau_jump_between: Option<Span>,
    /// First code whose output differs from that of the ramp's first code.
    pub first_lit_code: Option<u32>,
    /// RMS(step ratio − 1); without readings against the drive's own trend.
    pub unevenness: Option<f64>,
    /// Largest step in ΔE ITP.
    pub step_itp_max: Option<f64>,
    /// The codes of that step.
    pub step_itp_max_between: Option<Span>,
    /// Largest luminance step in Barten thresholds; the report's `barten` names observer and convention.
    pub step_barten_max: Option<f64>,
    /// Largest luminance step in GSDF indices.
    pub step_gsdf_max: Option<f64>,
    /// First differences of CIEDE2000; cannot see a reversal.
    pub roughness_de2000: Option<Roughness>,
    /// Distance of the drive from its own trend.
    pub roughness_drive: Option<Roughness>,
    /// Reasons for the `null` fields.
    #[serde(skip_serializing_if = "Why::is_empty")]
    pub why: Why,
}

/// What a smooth curve rounded alike shows: the part of a rounded figure that is arithmetic, not the LUT's.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FloorFigures {
    /// As in [`RampFigures`].
    pub reversed_steps: usize,
    /// As in [`RampFigures`].
    pub reversal_depth_itp: Option<f64>,
    /// As in [`RampFigures`].
    pub longest_plateau: usize,
    /// As in [`RampFigures`].
    pub plateau_jump_excess_itp: Option<f64>,
    /// As in [`RampFigures`].
    pub unevenness: Option<f64>,
    /// Reasons for the `null` fields.
    #[serde(skip_serializing_if = "Why::is_empty")]
    pub why: Why,
}

/// One chain along one part of a ramp.
#[derive(Clone, Copy)]
pub(crate) struct Chain<'a> {
    pub(crate) guide: &'a Guide,
    pub(crate) part: &'a Range<usize>,
    pub(crate) drive: &'a [[f64; 3]],
    pub(crate) light: Option<&'a Light>,
    /// Moving mean of the unrounded drive.
    pub(crate) trend: &'a [[f64; 3]],
}

impl Chain<'_> {
    /// What is shown and what is wanted, when the panel is known.
    fn sight(&self) -> Known<(&Light, &Light)> {
        let target = self.guide.target.as_ref().map(|t| &t.light);
        self.light.zip(target).ok_or(NEEDS_READINGS)
    }

    fn span(&self, ends: Option<(usize, usize)>, reason: &'static str) -> Known<Span> {
        ends.map(|(a, b)| self.guide.span(a, b)).ok_or(reason)
    }

    fn reversed_steps(&self, in_drive: usize) -> usize {
        self.light.map_or(in_drive, |light| {
            reversal::reversed_steps(self.guide, self.part, light)
        })
    }

    fn plateaus(&self) -> Plateaus {
        plateau::plateaus(self.guide, self.part, self.drive, self.light)
    }

    pub(crate) fn unevenness(&self) -> Known<f64> {
        match self.sight() {
            Ok((light, target)) => unevenness::against_target(self.guide, self.part, light, target),
            Err(_) => unevenness::against_trend(self.guide, self.part, self.drive, self.trend),
        }
        .ok_or(NO_PAIRS)
    }

    pub(crate) fn depth_itp(&self) -> Known<f64> {
        let (light, _) = self.sight()?;
        Ok(reversal::depth(self.guide, self.part, light).itp)
    }

    pub(crate) fn longest_plateau(&self) -> usize {
        length(self.plateaus().longest)
    }

    /// All figures; `merged_floor` is that of the smooth curve.
    pub(crate) fn figures(&self, merged_floor: usize) -> RampFigures {
        let (guide, part) = (self.guide, self.part);
        let mut why = Why::default();
        let sight = self.sight();
        let light = sight.map(|(light, _)| light);
        let depth = light.map(|light| reversal::depth(guide, part, light));
        let falls = reversal::drive_reversals(guide, part, self.drive);
        let plateaus = self.plateaus();
        let largest =
            light.and_then(|light| scales::largest_itp(guide, part, light).ok_or(NO_PAIRS));
        let white = guide.target.as_ref().map(|t| t.white).ok_or(NEEDS_READINGS);
        let jump = match (light, plateaus.longest) {
            (Err(reason), _) => Err(reason),
            (_, None) => Err(NO_PLATEAU),
            _ => plateaus
                .jump_itp
                .ok_or("the plateau does not end in a judged step"),
        };
        RampFigures {
            codes: part.len(),
            codes_unreachable: why.note(
                "codes_unreachable",
                guide.unreachable_in(part).ok_or(NEEDS_READINGS),
            ),
            reversed_steps: self.reversed_steps(falls.pairs),
            reversed_steps_clipped: why.note(
                "reversed_steps_clipped",
                light.map(|light| reversal::reversed_steps_clipped(guide, part, light)),
            ),
            reversal_depth_itp: why.note(
                "reversal_depth_itp",
                depth.as_ref().map(|d| d.itp).map_err(|e| *e),
            ),
            reversal_between: why.note(
                "reversal_between",
                depth
                    .as_ref()
                    .map_err(|e| *e)
                    .and_then(|d| self.span(d.ends, NO_REVERSAL)),
            ),
            drive_reversals: falls.per_channel,
            certain_fall_drive: falls.certain_fall,
            certain_fall_between: why
                .note("certain_fall_between", self.span(falls.ends, NO_REVERSAL)),
            merged_codes: plateaus.merged,
            merged_floor,
            longest_plateau: length(plateaus.longest),
            plateau_between: why.note("plateau_between", self.span(plateaus.longest, NO_PLATEAU)),
            jump_after_plateau_itp: why.note("jump_after_plateau_itp", jump),
            plateau_jump_excess_itp: why.note(
                "plateau_jump_excess_itp",
                plateaus.excess_itp.ok_or(NEEDS_READINGS),
            ),
            plateau_jump_between: why.note(
                "plateau_jump_between",
                light.and_then(|_| self.span(plateaus.excess_ends, NO_JUMP)),
            ),
            first_lit_code: why.note(
                "first_lit_code",
                plateau::first_lit(&self.drive[part.clone()])
                    .map(|i| guide.codes[part.start + i])
                    .ok_or("every code gives the same output"),
            ),
            unevenness: why.note("unevenness", self.unevenness()),
            step_itp_max: why.note("step_itp_max", largest.map(|(step, _)| step)),
            step_itp_max_between: why.note(
                "step_itp_max_between",
                largest.map(|(_, i)| guide.span(i, i + 1)),
            ),
            step_barten_max: why.note(
                "step_barten_max",
                light.and_then(|light| scales::largest_barten(guide, part, light).ok_or(NO_PAIRS)),
            ),
            step_gsdf_max: why.note(
                "step_gsdf_max",
                light.and_then(|light| scales::largest_gsdf(guide, part, light).ok_or(OFF_SCALE)),
            ),
            roughness_de2000: why.note(
                "roughness_de2000",
                light.and_then(|light| {
                    roughness::colour_roughness(guide, part, light, white?)
                        .ok_or("fewer than three judged codes in a row")
                }),
            ),
            roughness_drive: why.note(
                "roughness_drive",
                roughness::drive_roughness(guide, part, self.drive, self.trend).ok_or(NO_PAIRS),
            ),
            why,
        }
    }

    /// The figures a floor is stated for.
    pub(crate) fn floor(&self) -> FloorFigures {
        let mut why = Why::default();
        let falls = reversal::drive_reversals(self.guide, self.part, self.drive);
        let plateaus = self.plateaus();
        FloorFigures {
            reversed_steps: self.reversed_steps(falls.pairs),
            reversal_depth_itp: why.note("reversal_depth_itp", self.depth_itp()),
            longest_plateau: length(plateaus.longest),
            plateau_jump_excess_itp: why.note(
                "plateau_jump_excess_itp",
                plateaus.excess_itp.ok_or(NEEDS_READINGS),
            ),
            unevenness: why.note("unevenness", self.unevenness()),
            why,
        }
    }
}

/// Codes in a run, both ends counted.
fn length(run: Option<(usize, usize)>) -> usize {
    run.map_or(1, |(first, last)| last - first + 1)
}
