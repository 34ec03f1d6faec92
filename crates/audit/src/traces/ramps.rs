use std::ops::Range;

use evenstep_colour::Xyz;
use evenstep_lut::{CodeScale, Correction, Ramp};

use crate::context::PanelContext;
use crate::light::{ITP_SCALE, Light};
use crate::unevenness;
use crate::walk::{Guide, Trace, drive_of_positions};

use super::balance::ChannelBalance;

/// One ramp, code by code: what is wanted and what each chain does.
///
/// All lists have one entry a code; those of steps have one for each pair of neighbouring codes, at the first of them.
#[derive(Clone, Debug)]
pub struct RampTrace {
    /// The ramp's name.
    pub name: String,
    /// Whether it lies on the neutral axis.
    pub is_neutral: bool,
    /// Codes of the leading channel.
    pub codes: Vec<u32>,
    /// Signals, 0 to 1.
    pub signals: Vec<[f64; 3]>,
    /// Codes near black; empty where the ramp has none.
    pub near_black: Range<usize>,
    /// Whether a step is judged: its target rises and can be reached.
    pub judged: Vec<bool>,
    /// Drive of the correction, 0 to 1.
    pub drive: Vec<[f64; 3]>,
    /// The light that is wanted.
    pub target: Option<LightTrace>,
    /// The light shown through the correction.
    pub correction: Option<LightTrace>,
    /// The light shown through the base correction, in a lattice like the subject's where it has one.
    pub base: Option<LightTrace>,
    /// The light shown without a correction.
    pub uncorrected: Option<LightTrace>,
}

/// The light of one chain along a ramp.
#[derive(Clone, Debug)]
pub struct LightTrace {
    /// Luminance in cd/m².
    pub luminance_cd_m2: Vec<f64>,
    /// PQ code of that luminance, 0 to 1: an axis on which equal distances look about equal.
    ///
    /// # Source
    /// SMPTE ST 2084:2014.
    pub perceptual: Vec<f64>,
    /// ΔE ITP of each step, negative where luminance falls.
    pub step_itp: Vec<f64>,
    /// How far each step departs from the target's, 0 is even; `None` where the pair is not judged. Empty for the target.
    pub unevenness: Vec<Option<f64>>,
    /// Distance of the colour from the target's along T and P alone, in ΔE ITP. Empty for the target.
    pub tint_itp: Vec<f64>,
    /// Red, green and blue above or below the target's, as a share of it. Empty for the target.
    pub balance: Vec<[Option<f64>; 3]>,
}

/// Walks one ramp along its guide.
pub(crate) fn trace(
    ramp: &Ramp,
    guide: Guide,
    correction: &dyn Correction,
    scale: CodeScale,
    context: Option<&PanelContext>,
    base_in_lattice: Option<&dyn Correction>,
    balance: Option<&ChannelBalance>,
) -> RampTrace {
    let panel = context.map(|c| c.panel);
    let own = Trace::new(drive_of_positions(correction, &guide.signals, scale), panel);
    let base = context.map(|c| {
        let drive = match base_in_lattice {
            Some(base) => drive_of_positions(base, &guide.signals, scale),
            None => guide.signals.iter().map(|&s| c.base.drive(s)).collect(),
        };
        Trace::new(drive, panel)
    });
    let uncorrected = context.map(|_| Trace::new(guide.signals.clone(), panel));
    let shown = |trace: &Trace| {
        let (light, target) = trace.light.as_ref().zip(guide.target.as_ref())?;
        Some(against(&guide, light, &target.light, balance))
    };
    RampTrace {
        name: ramp.name().to_owned(),
        is_neutral: ramp.is_neutral(),
        near_black: guide.near_black.clone(),
        judged: guide.judged.clone(),
        target: guide.target.as_ref().map(|t| alone(&t.light)),
        correction: shown(&own),
        base: base.as_ref().and_then(shown),
        uncorrected: uncorrected.as_ref().and_then(shown),
        drive: own.drive,
        codes: guide.codes,
        signals: guide.signals,
    }
}

fn alone(light: &Light) -> LightTrace {
    let pairs = light.xyz.len() - 1;
    LightTrace {
        luminance_cd_m2: (0..=pairs).map(|i| light.luminance(i)).collect(),
        perceptual: light.luminance_codes().to_vec(),
        step_itp: (0..pairs).map(|i| light.signed_step_itp(i)).collect(),
        unevenness: Vec::new(),
        tint_itp: Vec::new(),
        balance: Vec::new(),
    }
}

fn against(
    guide: &Guide,
    light: &Light,
    target: &Light,
    balance: Option<&ChannelBalance>,
) -> LightTrace {
    let tint = |i: usize| {
        let (a, b) = (light.itp[i], target.itp[i]);
        ITP_SCALE * (a.t - b.t).hypot(a.p - b.p)
    };
    let judged = |i: usize| guide.judged[i].then(|| unevenness::step_departure(light, target, i));
    let channels = |(&shown, &wanted): (&Xyz, &Xyz)| {
        balance.map_or([None; 3], |balance| balance.error(shown, wanted))
    };
    LightTrace {
        unevenness: (0..guide.judged.len())
            .map(|i| judged(i).flatten())
            .collect(),
        tint_itp: (0..light.xyz.len()).map(tint).collect(),
        balance: light.xyz.iter().zip(&target.xyz).map(channels).collect(),
        ..alone(light)
    }
}
