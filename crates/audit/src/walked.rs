use std::ops::Range;

use crate::audit::AuditOptions;
use crate::bump::{self, Bump};
use crate::context::{PanelContext, Subject};
use crate::figures::Chain;
use crate::plateau;
use crate::report::{NearBlack, RampReport, ReferenceRamp, RoundedFigures};
use crate::reversal;
use crate::roughness;
use crate::trend;
use crate::walk::{Guide, Trace, drive_of_positions};
use crate::why::NEEDS_READINGS;
use evenstep_lut::Ramp;
use evenstep_lut::{CodeScale, Correction, Lut3d};

/// Why a ramp of a few codes has no bump.
const TOO_SHORT: &str = "the ramp has too few codes";

/// One ramp with everything that was found along it.
pub(crate) struct Walked {
    pub(crate) guide: Guide,
    pub(crate) report: RampReport,
    pub(crate) base: Option<ReferenceRamp>,
    pub(crate) uncorrected: Option<ReferenceRamp>,
    /// Largest chroma wobble and its code, of a neutral ramp on a known panel.
    pub(crate) wobble: Option<(f64, usize)>,
    /// The same over greys in which colour can be seen.
    pub(crate) wobble_seen: Option<(f64, usize)>,
    pub(crate) non_finite: usize,
}

/// The subject along one ramp: unrounded, rounded, and the smooth curve rounded alike.
struct Traces {
    shown: Trace,
    rounded: Trace,
    smooth: Trace,
    /// Moving mean of the unrounded drive.
    trend: Vec<[f64; 3]>,
}

impl Traces {
    fn chain<'a>(
        &'a self,
        trace: &'a Trace,
        guide: &'a Guide,
        part: &'a Range<usize>,
    ) -> Chain<'a> {
        Chain {
            guide,
            part,
            drive: &trace.drive,
            light: trace.light.as_ref(),
            trend: &self.trend,
        }
    }

    fn rounded(&self, guide: &Guide, part: &Range<usize>) -> RoundedFigures {
        let merged_floor = plateau::merged(guide, part, &self.smooth.drive);
        RoundedFigures {
            figures: self.chain(&self.rounded, guide, part).figures(merged_floor),
            floor: self.chain(&self.smooth, guide, part).floor(),
        }
    }
}

/// Walks the subject and, where the panel is known, both references along one ramp; the base in a lattice like the
/// subject's where there is one.
pub(crate) fn walk(
    ramp: &Ramp,
    subject: &Subject,
    options: &AuditOptions,
    context: Option<&PanelContext>,
    base_in_lattice: Option<&dyn Correction>,
    near_black_end: f64,
) -> Walked {
    let source = CodeScale {
        depth: options.source_bits,
        range: options.range,
    };
    let output = CodeScale {
        depth: options.output_bits,
        range: options.range,
    };
    let guide = Guide::new(ramp, source, near_black_end, options.viewing, context);
    let panel = context.map(|c| c.panel);
    let shown = Trace::new(
        drive_of_positions(subject.correction, &guide.signals, source),
        panel,
    );
    let smooth = trend::smooth_curve(&shown.drive, guide.half);
    let traces = Traces {
        rounded: Trace::rounded(&shown.drive, output, panel),
        smooth: Trace::rounded(&smooth, output, panel),
        trend: trend::moving_mean(&shown.drive, guide.half),
        shown,
    };

    let (whole, near) = (guide.whole(), guide.near_black.clone());
    // A smooth rising curve merges nothing until it is rounded.
    let unrounded = |part| traces.chain(&traces.shown, &guide, part).figures(0);
    let mut figures = unrounded(&whole);
    let near_black = (!near.is_empty()).then(|| NearBlack {
        figures: unrounded(&near),
        rounded: traces.rounded(&guide, &near),
    });
    let near_black = figures.why.note(
        "near_black",
        near_black.ok_or("the ramp has no code near black"),
    );
    let base_trace = context.map(|c| {
        let drive = match base_in_lattice {
            Some(base) => drive_of_positions(base, &guide.signals, source),
            None => guide.signals.iter().map(|&s| c.base.drive(s)).collect(),
        };
        Trace::new(drive, panel)
    });
    let lag = bump::lag(&guide, subject.lattice.map(Lut3d::size));
    let sights = || {
        let shown = traces.shown.light.as_ref().ok_or(NEEDS_READINGS)?;
        let target = guide.target.as_ref().ok_or(NEEDS_READINGS)?;
        let base = base_trace.as_ref().and_then(|b| b.light.as_ref());
        let base = base.ok_or(NEEDS_READINGS)?;
        bump::largest(bump::of_light(shown, &target.light, base, lag)).ok_or(TOO_SHORT)
    };
    let seen = sights();
    let in_drive = bump::largest(bump::of_drive(&traces.shown.drive, lag)).ok_or(TOO_SHORT);
    let around = |bump: Bump| guide.span(bump.at - lag, bump.at + lag);
    let why = &mut figures.why;
    let (bump_itp, bump_between) = (
        why.note("bump_itp", seen.map(|b| b.size)),
        why.note("bump_between", seen.map(around)),
    );
    let (bump_drive, bump_drive_between) = (
        why.note("bump_drive", in_drive.map(|b| b.size)),
        why.note("bump_drive_between", in_drive.map(around)),
    );
    let report = RampReport {
        name: ramp.name().to_owned(),
        from: ramp.from(),
        to: ramp.to(),
        figures,
        rounded: traces.rounded(&guide, &whole),
        bump_itp,
        bump_between,
        bump_drive,
        bump_drive_between,
        near_black,
    };

    let wobbles = wobbles(&guide, &traces.shown);
    let seen_from = options.thresholds.colour_seen_cd_m2;
    let wobble = roughness::largest(wobbles.iter().copied());
    let wobble_seen = largest_seen(wobbles, &traces.shown, seen_from);
    let reference = |trace: Trace| reference(ramp, &guide, &trace, seen_from);
    let base = base_trace.map(reference);
    let uncorrected = context.map(|_| reference(Trace::new(guide.signals.clone(), panel)));
    Walked {
        report,
        base,
        uncorrected,
        wobble,
        wobble_seen,
        non_finite: traces.shown.non_finite,
        guide,
    }
}

/// Wobbles of a neutral ramp on a known panel, with their codes; none of other ramps.
fn wobbles(guide: &Guide, trace: &Trace) -> Vec<(f64, usize)> {
    let sight = trace.light.as_ref().zip(guide.target.as_ref());
    match sight.filter(|_| guide.is_neutral) {
        Some((light, target)) => roughness::wobbles(guide, light, &target.light),
        None => Vec::new(),
    }
}

/// The largest of wobbles where as much light is shown as colour needs.
fn largest_seen(wobbles: Vec<(f64, usize)>, trace: &Trace, from: f64) -> Option<(f64, usize)> {
    let light = trace.light.as_ref()?;
    let is_seen = |&(_, i): &(f64, usize)| light.luminance(i) >= from;
    roughness::largest(wobbles.into_iter().filter(is_seen))
}

/// The figures a reference is compared by; colour is seen from `seen_from` cd/m².
fn reference(ramp: &Ramp, guide: &Guide, trace: &Trace, seen_from: f64) -> ReferenceRamp {
    let (whole, near) = (guide.whole(), guide.near_black.clone());
    let chain = |part| Chain {
        guide,
        part,
        drive: &trace.drive,
        light: trace.light.as_ref(),
        // A reference is judged on its light alone.
        trend: &trace.drive,
    };
    let depth = trace
        .light
        .as_ref()
        .map(|light| reversal::depth(guide, &whole, light));
    ReferenceRamp {
        name: ramp.name().to_owned(),
        reversal_depth_itp: depth.as_ref().map(|d| d.itp),
        reversal_between: depth.and_then(|d| d.ends).map(|(a, b)| guide.span(a, b)),
        unevenness: chain(&whole).unevenness().ok(),
        near_black_unevenness: chain(&near).unevenness().ok(),
        longest_plateau: chain(&whole).longest_plateau(),
        wobble_seen_itp: largest_seen(wobbles(guide, trace), trace, seen_from).map(|(itp, _)| itp),
    }
}
