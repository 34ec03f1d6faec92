use std::ops::Range;

use crate::audit::AuditOptions;
use crate::context::{PanelContext, Subject};
use crate::figures::Chain;
use crate::plateau;
use crate::report::{NearBlack, RampReport, ReferenceRamp, RoundedFigures};
use crate::reversal;
use crate::roughness;
use crate::trend;
use crate::walk::{Guide, Trace, drive_of_positions};
use evenstep_lut::Ramp;
use evenstep_lut::{CodeScale, Correction};

/// One ramp with everything that was found along it.
pub(crate) struct Walked {
    pub(crate) guide: Guide,
    pub(crate) report: RampReport,
    pub(crate) base: Option<ReferenceRamp>,
    pub(crate) uncorrected: Option<ReferenceRamp>,
    /// Largest chroma wobble and its code, of a neutral ramp on a known panel.
    pub(crate) wobble: Option<(f64, usize)>,
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
    let report = RampReport {
        name: ramp.name().to_owned(),
        from: ramp.from(),
        to: ramp.to(),
        figures,
        rounded: traces.rounded(&guide, &whole),
        near_black,
    };

    let neutral = traces.shown.light.as_ref().zip(guide.target.as_ref());
    let wobble = neutral
        .filter(|_| guide.is_neutral)
        .and_then(|(light, target)| roughness::wobble(&guide, light, &target.light));
    let base = context.map(|c| {
        let drive = match base_in_lattice {
            Some(base) => drive_of_positions(base, &guide.signals, source),
            None => guide.signals.iter().map(|&s| c.base.drive(s)).collect(),
        };
        reference(ramp, &guide, &Trace::new(drive, panel))
    });
    let uncorrected =
        context.map(|_| reference(ramp, &guide, &Trace::new(guide.signals.clone(), panel)));
    Walked {
        report,
        base,
        uncorrected,
        wobble,
        non_finite: traces.shown.non_finite,
        guide,
    }
}

/// The figures a reference is compared by.
fn reference(ramp: &Ramp, guide: &Guide, trace: &Trace) -> ReferenceRamp {
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
    }
}
