use evenstep_display::PanelModel;
use evenstep_lut::{CodeScale, Correction, Lut, Lut3d, Ramp};
use rayon::prelude::*;

use crate::audit::AuditOptions;
use crate::bump::{self, Bump};
use crate::carried::base_in_lattice;
use crate::context::{PanelContext, Subject};
use crate::light::Light;
use crate::node_figures::AT_END;
use crate::thresholds::Thresholds;
use crate::walk::{Guide, Span, Trace, drive_of_positions};
use crate::{plateau, reversal, roughness};

/// The ramps of an audit, prepared once so that every place of a fault can be found in many corrections.
///
/// An audit names the worst place of each ramp; who mends a correction has to know them all. Definitions and limits are
/// those of the audit.
pub struct RampSearch<'a> {
    ramps: Vec<SearchedRamp>,
    scale: CodeScale,
    panel: Option<&'a dyn PanelModel>,
    limits: Thresholds,
}

/// What is known of a ramp before any correction is looked at.
struct SearchedRamp {
    name: String,
    guide: Guide,
    /// Codes from a place to those that a bump is held against.
    lag: usize,
    /// What the base correction shows, in a lattice like that of the LUTs, on a known panel.
    base: Option<Light>,
}

/// A stretch of a ramp with a fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// Its ends.
    pub span: Span,
    /// How large the fault is, in the unit of the list that holds it.
    pub size: f64,
    /// Signals of all codes of the stretch.
    pub signals: Vec<[f64; 3]>,
}

/// All places of faults on one ramp.
#[derive(Clone, Debug, PartialEq)]
pub struct RampPlaces {
    /// The ramp's name.
    pub ramp: String,
    /// Stretches over which luminance falls, in ΔE ITP along luminance; without a panel those over which the drive of
    /// a channel that should rise falls, in drive.
    pub falls: Vec<Place>,
    /// Runs of equal output of as many codes as the limit of the audit, in codes.
    pub plateaus: Vec<Place>,
    /// Such runs where every rising channel is at an end of its range and no panel says that it should not be, in codes.
    pub clips: Vec<Place>,
    /// Stretches whose neutral chroma leaves its trend by more than the limit of the audit, in ΔE ITP.
    pub wobbles: Vec<Place>,
    /// Places that leave the course of those before and after them by as much as the limit of the audit, in ΔE ITP;
    /// without a panel in drive. A stretch is the one code at which a bump is largest.
    pub bumps: Vec<Place>,
}

impl<'a> RampSearch<'a> {
    /// Prepares the ramps for LUTs with the curves and the size of lattice of `lut`: signals, targets, what the panel
    /// reaches of them, and what the base correction shows.
    #[must_use]
    pub fn new(lut: &Lut, options: &AuditOptions, context: Option<&PanelContext<'a>>) -> Self {
        let scale = CodeScale {
            depth: options.source_bits,
            range: options.range,
        };
        let near_black_end = context.map_or(options.near_black, |c| {
            c.target.near_black_end(options.near_black)
        });
        let correction = lut.evaluated(options.evaluation);
        let subject = Subject::of_lut(&correction, lut);
        let carried = context.and_then(|c| base_in_lattice(c.base, &subject, scale));
        let carried = carried
            .as_ref()
            .map(|lut| lut.evaluated(options.evaluation));
        let base = |guide: &Guide, context: &PanelContext| {
            let drive = match &carried {
                Some(carried) => drive_of_positions(carried, &guide.signals, scale),
                None => guide
                    .signals
                    .iter()
                    .map(|&s| context.base.drive(s))
                    .collect(),
            };
            Trace::new(drive, Some(context.panel)).light
        };
        let searched = |ramp: Ramp| {
            let guide = Guide::new(&ramp, scale, near_black_end, options.viewing, context);
            SearchedRamp {
                name: ramp.name().to_owned(),
                lag: bump::lag(&guide, subject.lattice.map(Lut3d::size)),
                base: context.and_then(|context| base(&guide, context)),
                guide,
            }
        };
        let ramps = Ramp::named()
            .into_iter()
            .chain(options.extra_ramps.iter().cloned());
        Self {
            ramps: ramps.map(searched).collect(),
            scale,
            panel: context.map(|c| c.panel),
            limits: options.thresholds,
        }
    }

    /// Finds every place, ramp by ramp in the order of the audit.
    #[must_use]
    pub fn places(&self, correction: &dyn Correction) -> Vec<RampPlaces> {
        self.ramps
            .par_iter()
            .map(|ramp| {
                let guide = &ramp.guide;
                let drive = drive_of_positions(correction, &guide.signals, self.scale);
                let trace = Trace::new(drive, self.panel);
                let (plateaus, clips) = self.plateaus(guide, &trace);
                RampPlaces {
                    ramp: ramp.name.clone(),
                    falls: falls(guide, &trace),
                    plateaus,
                    clips,
                    wobbles: self.wobbles(guide, &trace),
                    bumps: self.bumps(ramp, &trace),
                }
            })
            .collect()
    }

    fn bumps(&self, ramp: &SearchedRamp, trace: &Trace) -> Vec<Place> {
        let (guide, lag) = (&ramp.guide, ramp.lag);
        let sight = trace.light.as_ref().zip(guide.target.as_ref());
        let found = match sight.zip(ramp.base.as_ref()) {
            Some(((shown, target), base)) => bump::from(
                &bump::of_light(shown, &target.light, base, lag),
                self.limits.visible_bump_itp,
            ),
            None => bump::from(&bump::of_drive(&trace.drive, lag), self.limits.bump_drive),
        };
        let place = |Bump { size, at }| place(guide, at, at, size);
        found.into_iter().map(place).collect()
    }

    fn plateaus(&self, guide: &Guide, trace: &Trace) -> (Vec<Place>, Vec<Place>) {
        let long = |&(a, b): &(usize, usize)| b + 1 - a >= self.limits.plateau_codes;
        let runs = plateau::runs(guide, &trace.drive).into_iter().filter(long);
        let is_clip = |&(a, _): &(usize, usize)| {
            let at_end = |v: f64| v <= AT_END || v >= 1.0 - AT_END;
            self.panel.is_none()
                && (0..3)
                    .filter(|&c| guide.rising[c])
                    .all(|c| at_end(trace.drive[a][c]))
        };
        let (clips, plateaus): (Vec<_>, Vec<_>) = runs.partition(is_clip);
        let places = |runs: Vec<(usize, usize)>| {
            let place = |(a, b): (usize, usize)| place(guide, a, b, (b + 1 - a) as f64);
            runs.into_iter().map(place).collect()
        };
        (places(plateaus), places(clips))
    }

    fn wobbles(&self, guide: &Guide, trace: &Trace) -> Vec<Place> {
        let sight = trace.light.as_ref().zip(guide.target.as_ref());
        let Some((light, target)) = sight.filter(|_| guide.is_neutral) else {
            return Vec::new();
        };
        let mut stretches: Vec<(usize, usize, f64)> = Vec::new();
        for (wobble, i) in roughness::wobbles(guide, light, &target.light) {
            let is_seen = light.luminance(i) >= self.limits.colour_seen_cd_m2;
            if wobble <= self.limits.wobble_itp || !is_seen {
                continue;
            }
            match stretches.last_mut() {
                Some((_, last, most)) if *last + 1 == i => (*last, *most) = (i, most.max(wobble)),
                _ => stretches.push((i, i, wobble)),
            }
        }
        let place = |(a, b, size)| place(guide, a, b, size);
        stretches.into_iter().map(place).collect()
    }
}

fn place(guide: &Guide, from: usize, to: usize, size: f64) -> Place {
    Place {
        span: guide.span(from, to),
        size,
        signals: guide.signals[from..=to].to_vec(),
    }
}

/// Falling pairs, those that adjoin taken together.
fn falls(guide: &Guide, trace: &Trace) -> Vec<Place> {
    let whole = guide.whole();
    let pairs: Vec<usize> = match &trace.light {
        Some(light) => reversal::falling_pairs(guide, &whole, light).collect(),
        None => {
            let falls = |&i: &usize| {
                let (falls, _) = reversal::drive_falls(guide, &trace.drive, i);
                (0..3).any(|c| falls[c] && guide.rising[c])
            };
            guide.pairs(&whole).filter(falls).collect()
        }
    };
    let mut stretches: Vec<(usize, usize)> = Vec::new();
    for i in pairs {
        match stretches.last_mut() {
            Some(stretch) if stretch.1 == i => stretch.1 = i + 1,
            _ => stretches.push((i, i + 1)),
        }
    }
    let size = |a: usize, b: usize| match &trace.light {
        Some(light) => light.fall_itp(a, b),
        None => (0..3)
            .filter(|&c| guide.rising[c])
            .map(|c| trace.drive[a][c] - trace.drive[b][c])
            .fold(0.0, f64::max),
    };
    stretches
        .into_iter()
        .map(|(a, b)| place(guide, a, b, size(a, b)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Subject, audit};
    use evenstep_lut::Evaluation;

    /// Two dips and one plateau of the grey axis are all found, where the audit has one place for each.
    #[test]
    fn every_place_is_found() {
        let mut lattice = Lut3d::identity(17);
        for (node, value) in [(3, 0.1), (9, 0.45), (13, 12.0 / 16.0)] {
            let at = lattice.index(node, node, node);
            lattice.nodes_mut()[at] = [value; 3];
        }
        let lut = Lut::from(lattice);
        let correction = lut.evaluated(Evaluation::Tetrahedral);
        let options = AuditOptions::default();
        let found = RampSearch::new(&lut, &options, None).places(&correction);
        let neutral = &found[0];
        assert_eq!(neutral.falls.len(), 2);
        // Nodes 3, 9 and 13 of 16.
        let codes: Vec<u32> = neutral.bumps.iter().map(|p| p.span.from_code).collect();
        assert_eq!(codes, [192, 575, 831]);
        assert_eq!((neutral.plateaus.len(), neutral.clips.len()), (1, 0));
        let report = audit(&Subject::of_lut(&correction, &lut), &options, None);
        let pairs: usize = neutral.falls.iter().map(|p| p.signals.len() - 1).sum();
        assert_eq!(report.ramps[0].figures.reversed_steps, pairs);
        // Codes 767 and 831 lie beside nodes 12 and 13.
        assert_eq!(neutral.plateaus[0].span.from_code, 768);
    }

    /// A primary that stands at full drive is a clip as long as nobody knows the panel.
    #[test]
    fn a_clip_is_no_plateau() {
        let lut = Lut::from(Lut3d::from_fn(17, |s| [(1.2 * s[0]).min(1.0), s[1], s[2]]));
        let correction = lut.evaluated(Evaluation::Tetrahedral);
        let found = RampSearch::new(&lut, &AuditOptions::default(), None).places(&correction);
        assert_eq!((found[1].plateaus.len(), found[1].clips.len()), (0, 1));
    }
}
