use evenstep_colour::percentile;
use evenstep_lut::{CodeScale, Lut1d, Lut3d, Regions};
use rayon::prelude::*;
use serde::Serialize;

use crate::context::{PanelContext, Subject};
use crate::folds::BadCell;
use crate::node_figures::cell_of;
use crate::noise_gain::{NOISE_BITS, directions, gain, noisy_pairs};
use crate::walk::drive_at;

/// What the correction does in one part of the signal cube. Left out of the JSON: what needs readings or a lattice.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RegionFigures {
    /// Signals looked at.
    pub signals: usize,
    /// 95th percentile, over the signals, of the largest gain of the drive: move of the drive over that of the signal
    /// between plus and minus one 8-bit code, over the 26 directions. The identity has 1.
    pub drive_gain_p95: f64,
    /// Largest of them.
    pub drive_gain_max: f64,
    /// The signal of it.
    pub drive_gain_signal: [f64; 3],
    /// The same as light, over that of the target, as in the noise gain of the neutral ramp; reachable signals only.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub noise_gain_p95: Option<f64>,
    /// Largest of them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub noise_gain_max: Option<f64>,
    /// Cells of the lattice that the signals fall into.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cells: Option<usize>,
    /// Folded tetrahedra in them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub folded: Option<usize>,
    /// Collapsed tetrahedra in them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub collapsed: Option<usize>,
}

/// Summarises every region; `bad` are the faulty cells of the subject's lattice, in index order.
pub(crate) fn regions(
    subject: &Subject,
    bad: &[BadCell],
    scale: CodeScale,
    context: Option<&PanelContext>,
    near_black_end: f64,
) -> Regions<RegionFigures> {
    let noise = CodeScale {
        depth: NOISE_BITS,
        range: scale.range,
    };
    let code = noise.signal_from_code(1.0) - noise.signal_from_code(0.0);
    let directions = directions();
    Regions::from_fn(|region| {
        let signals = region.signals(near_black_end);
        let gains: Vec<f64> = signals
            .par_iter()
            .map(|&s| drive_gain(subject, s, code, &directions, scale))
            .collect();
        let (most, at) = gains
            .iter()
            .zip(&signals)
            .fold((0.0, [0.0; 3]), |best, (&gain, &at)| {
                if gain > best.0 { (gain, at) } else { best }
            });
        let seen = context.map(|context| {
            let one = |&s: &[f64; 3]| {
                (context.reachable)(s)
                    .then(|| gain(subject.correction, context, scale, s, code, &directions))
                    .flatten()
            };
            signals.par_iter().filter_map(one).collect::<Vec<f64>>()
        });
        let noise_gain = |percent| {
            seen.clone()
                .and_then(|mut gains| percentile(&mut gains, percent))
        };
        let cells = subject
            .lattice
            .map(|lattice| cells(lattice, subject.curves, &signals, scale));
        let count = |of: &dyn Fn(&BadCell) -> u8| {
            cells.as_ref().map(|cells| {
                let inside = bad
                    .iter()
                    .filter(|b| cells.binary_search(&key(b.cell)).is_ok());
                inside.map(|b| usize::from(of(b))).sum()
            })
        };
        RegionFigures {
            signals: signals.len(),
            drive_gain_p95: percentile(&mut gains.clone(), 95.0).unwrap_or(0.0),
            drive_gain_max: most,
            drive_gain_signal: at,
            noise_gain_p95: noise_gain(95.0),
            noise_gain_max: noise_gain(100.0),
            cells: cells.as_ref().map(Vec::len),
            folded: count(&|b| b.folded),
            collapsed: count(&|b| b.collapsed),
        }
    })
}

/// Largest move of the drive over that of the signal; 0 where noise leaves the range in every direction.
fn drive_gain(
    subject: &Subject,
    signal: [f64; 3],
    code: f64,
    directions: &[[f64; 3]],
    scale: CodeScale,
) -> f64 {
    let length = |a: [f64; 3], b: [f64; 3]| {
        let squares = (0..3).map(|c| (a[c] - b[c]).powi(2));
        squares.sum::<f64>().sqrt()
    };
    noisy_pairs(signal, code, directions)
        .map(|[low, high]| {
            let drive = [low, high].map(|s| drive_at(subject.correction, s, scale));
            length(drive[0], drive[1]) / length(low, high)
        })
        .filter(|gain| gain.is_finite())
        .fold(0.0, f64::max)
}

/// Cells in the order of the index, blue slowest.
fn key([r, g, b]: [usize; 3]) -> [usize; 3] {
    [b, g, r]
}

/// The cells that signals fall into, sorted, each once.
fn cells(
    lattice: &Lut3d,
    curves: Option<&Lut1d>,
    signals: &[[f64; 3]],
    scale: CodeScale,
) -> Vec<[usize; 3]> {
    let mut all: Vec<[usize; 3]> = signals
        .iter()
        .map(|s| key(cell_of(lattice, curves, *s, scale)))
        .collect();
    all.sort_unstable();
    all.dedup();
    all
}
