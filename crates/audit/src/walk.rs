use std::ops::Range;

use evenstep_colour::Xyz;
use evenstep_display::PanelModel;
use evenstep_lut::Correction;
use rayon::prelude::*;
use serde::Serialize;

use crate::context::PanelContext;
use crate::light::Light;
use crate::trend;
use crate::viewing::Viewing;
use evenstep_lut::CodeScale;
use evenstep_lut::Ramp;

/// A target that rises by less than this share of L_w between two codes has no step to judge (method,
/// section 6).
const FLAT_TARGET: f64 = 1e-9;
/// Slack, in signal, for a code that lies on the very end of near black.
const END_SLACK: f64 = 1e-12;

/// Two codes of a ramp, with the signals they stand for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Span {
    /// Code of the leading channel at the first end.
    pub from_code: u32,
    /// Code of the leading channel at the second end.
    pub to_code: u32,
    /// Signal at the first end.
    pub from_signal: [f64; 3],
    /// Signal at the second end.
    pub to_signal: [f64; 3],
}

/// What every chain along one ramp shares: its codes, its target and which pairs may be judged.
pub(crate) struct Guide {
    pub(crate) codes: Vec<u32>,
    pub(crate) signals: Vec<[f64; 3]>,
    pub(crate) rising: [bool; 3],
    pub(crate) is_neutral: bool,
    /// Half-width of the moving mean, in codes.
    pub(crate) half: usize,
    /// Conditions under which luminance steps are looked at.
    pub(crate) viewing: Viewing,
    /// Codes near black; empty where the ramp has none.
    pub(crate) near_black: Range<usize>,
    /// Present when the panel is known.
    pub(crate) target: Option<GuideTarget>,
    /// Whether the pair of this code and the next is judged.
    pub(crate) judged: Vec<bool>,
}

/// The target along a ramp.
pub(crate) struct GuideTarget {
    pub(crate) light: Light,
    pub(crate) white: Xyz,
    /// Per code: the panel cannot show its target, or its target does not rise above the code before.
    unreachable: Vec<bool>,
}

impl Guide {
    pub(crate) fn new(
        ramp: &Ramp,
        scale: CodeScale,
        near_black_end: f64,
        viewing: Viewing,
        context: Option<&PanelContext>,
    ) -> Self {
        let walk = ramp.walk(scale);
        let pairs = walk.codes.len() - 1;
        let mut judged = vec![true; pairs];
        let target = context.map(|context| {
            let sight = |&s: &[f64; 3]| (context.target.xyz(s), (context.reachable)(s));
            let (xyz, reachable): (Vec<Xyz>, Vec<bool>) =
                walk.signals.par_iter().map(sight).unzip();
            let white = context.target.white();
            let light = Light::new(xyz);
            let flat = |i: usize| light.rise(i) < FLAT_TARGET * white.luminance_cd_m2();
            for (i, judged) in judged.iter_mut().enumerate() {
                *judged = reachable[i] && reachable[i + 1] && !flat(i);
            }
            let unreachable = (0..=pairs)
                .map(|i| !reachable[i] || i > 0 && flat(i - 1))
                .collect();
            GuideTarget {
                light,
                white,
                unreachable,
            }
        });
        let near = |s: &[f64; 3]| s.iter().all(|&v| v <= near_black_end + END_SLACK);
        let first = walk.signals.iter().position(near).unwrap_or(0);
        let count = walk.signals[first..].iter().take_while(|s| near(s)).count();
        Self {
            rising: ramp.rising(),
            is_neutral: ramp.is_neutral(),
            viewing,
            half: trend::half_width(scale.white() - scale.black()),
            near_black: first..first + count,
            target,
            judged,
            codes: walk.codes,
            signals: walk.signals,
        }
    }

    /// Light of the room on the screen, in cd/m²; 0 where the panel is not known.
    pub(crate) fn veil_cd_m2(&self) -> f64 {
        let white = self
            .target
            .as_ref()
            .map_or(0.0, |t| t.white.luminance_cd_m2());
        self.viewing.veil * white
    }

    /// Codes of a part that the panel cannot show or that do not rise; `None` when the panel is not known.
    pub(crate) fn unreachable_in(&self, part: &Range<usize>) -> Option<usize> {
        let target = self.target.as_ref()?;
        Some(
            target.unreachable[part.clone()]
                .iter()
                .filter(|&&u| u)
                .count(),
        )
    }

    /// All codes.
    pub(crate) fn whole(&self) -> Range<usize> {
        0..self.codes.len()
    }

    /// Judged pairs whose first code is in `part`, by their first code.
    pub(crate) fn pairs(&self, part: &Range<usize>) -> impl Iterator<Item = usize> {
        let end = part.end.min(self.judged.len());
        (part.start..end).filter(|&i| self.judged[i])
    }

    /// Pairs whose first code is in `part` and that are set aside.
    pub(crate) fn pairs_set_aside(&self, part: &Range<usize>) -> impl Iterator<Item = usize> {
        let end = part.end.min(self.judged.len());
        (part.start..end).filter(|&i| !self.judged[i])
    }

    /// Codes that are an end of a judged pair of `part`, in order.
    pub(crate) fn judged_codes(&self, part: &Range<usize>) -> impl Iterator<Item = usize> {
        let is_judged = |i: usize| self.judged.get(i).copied().unwrap_or(false);
        let (start, end) = (part.start, part.end);
        (start..(end + 1).min(self.codes.len()))
            .filter(move |&i| i < end && is_judged(i) || i > start && is_judged(i - 1))
    }

    pub(crate) fn span(&self, from: usize, to: usize) -> Span {
        Span {
            from_code: self.codes[from],
            to_code: self.codes[to],
            from_signal: self.signals[from],
            to_signal: self.signals[to],
        }
    }
}

/// What a chain sends to the panel along one ramp, and what the panel then shows.
pub(crate) struct Trace {
    /// In [0, 1]: the panel clips what lies beyond.
    pub(crate) drive: Vec<[f64; 3]>,
    pub(crate) light: Option<Light>,
    /// Drives that were not numbers; they count as 0.
    pub(crate) non_finite: usize,
}

/// The panel clips what lies beyond its range; what is no number counts as 0.
pub(crate) fn clipped(drive: [f64; 3]) -> [f64; 3] {
    drive.map(|v| {
        if v.is_finite() {
            v.clamp(0.0, 1.0)
        } else {
            0.0
        }
    })
}

/// The light of a drive that need not be in range.
pub(crate) fn shown_by(panel: &dyn PanelModel, drive: [f64; 3]) -> Xyz {
    panel.xyz(clipped(drive))
}

impl Trace {
    pub(crate) fn new(drive: Vec<[f64; 3]>, panel: Option<&dyn PanelModel>) -> Self {
        let non_finite = drive.iter().flatten().filter(|v| !v.is_finite()).count();
        let drive: Vec<[f64; 3]> = drive.into_iter().map(clipped).collect();
        let light =
            panel.map(|panel| Light::new(drive.par_iter().map(|&d| panel.xyz(d)).collect()));
        Self {
            drive,
            light,
            non_finite,
        }
    }

    /// The same chain with its drive rounded to output codes.
    pub(crate) fn rounded(
        drive: &[[f64; 3]],
        scale: CodeScale,
        panel: Option<&dyn PanelModel>,
    ) -> Self {
        let round = |v: f64| scale.signal_from_code(f64::from(scale.nearest_code(v)));
        Self::new(drive.iter().map(|d| d.map(round)).collect(), panel)
    }
}

/// Drive of a correction for one signal, converted at the edge when the range is narrow.
pub(crate) fn drive_at(
    correction: &dyn Correction,
    signal: [f64; 3],
    scale: CodeScale,
) -> [f64; 3] {
    let out = correction.drive(signal.map(|v| scale.position_from_signal(v)));
    out.map(|v| scale.signal_from_position(v))
}

/// Drive of a correction along a ramp.
pub(crate) fn drive_of_positions(
    correction: &dyn Correction,
    signals: &[[f64; 3]],
    scale: CodeScale,
) -> Vec<[f64; 3]> {
    signals
        .par_iter()
        .map(|&signal| drive_at(correction, signal, scale))
        .collect()
}
