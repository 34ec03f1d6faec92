use evenstep_colour::{delta_e_itp, itp_from_xyz};
use evenstep_lut::{CodeScale, Evaluation, Lut1d, Lut3d};
use rayon::prelude::*;
use serde::Serialize;

use crate::cells::{Cells, InCell};
use crate::context::{PanelContext, Subject};
use crate::node_figures::node_signal;
use crate::walk::shown_by;

/// Places of the weights that are compared where the audit is not made with weights of its own: what hardware often has.
pub(crate) const WEIGHT_BITS: u8 = 8;

/// Where two ways to read the lattice differ most.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Apart {
    /// Largest difference of a channel, in drive.
    pub drive: f64,
    /// The signal at the lowest node of the cell where it was found.
    pub signal: [f64; 3],
    /// That node, (r, g, b).
    pub node: [usize; 3],
}

/// How much the output depends on how the lattice is read: trilinear, tetrahedral, or with a position that is rounded to
/// a few binary places as hardware does. 0 for a lattice of one plane, but for the rounding.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct EvaluationSensitivity {
    /// Binary places of the rounded weights.
    pub weight_bits: u8,
    /// Trilinear against tetrahedral, at the middles of all cells and of their faces.
    pub trilinear: Apart,
    /// Rounded weights against exact ones, anywhere: the least upper bound.
    pub weights: Apart,
    /// Largest difference of a channel between any two of the three over all codes of all ramps, in drive.
    pub on_ramps: f64,
    /// The same along the neutral ramp as the panel shows it, in ΔE ITP; left out without readings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub neutral_itp: Option<f64>,
}

/// The weights compared with: those of the audit's own evaluation, else [`WEIGHT_BITS`].
pub(crate) fn weight_bits(evaluation: Evaluation) -> u8 {
    match evaluation {
        Evaluation::Weights { bits } => bits,
        Evaluation::Trilinear | Evaluation::Tetrahedral => WEIGHT_BITS,
    }
}

/// Compares the ways to read `lattice`; `ramps` are the signals of every ramp, the neutral one first.
pub(crate) fn sensitivity(
    subject: &Subject,
    lattice: &Lut3d,
    cells: &Cells,
    weight_bits: u8,
    scale: CodeScale,
    context: Option<&PanelContext>,
    ramps: &[&[[f64; 3]]],
) -> EvaluationSensitivity {
    // Values of nodes are positions, which narrow codes stretch over more than the signal.
    let full = scale.signal_from_position(1.0) - scale.signal_from_position(0.0);
    let apart = |found: InCell| Apart {
        drive: full * found.drive,
        signal: node_signal(lattice, subject.curves, scale, found.cell),
        node: found.cell,
    };
    let read = |signal: [f64; 3]| three_ways(lattice, subject.curves, signal, weight_bits, scale);
    let on_ramps = ramps
        .par_iter()
        .map(|signals| {
            let most = |most: f64, &signal: &[f64; 3]| {
                let drives = read(signal);
                pairs(&drives, |a, b| {
                    (0..3).map(|c| (a[c] - b[c]).abs()).fold(0.0, f64::max)
                })
                .max(most)
            };
            signals.iter().fold(0.0, most)
        })
        .reduce(|| 0.0, f64::max);
    let neutral_itp = context.zip(ramps.first()).map(|(context, neutral)| {
        let one = |&signal: &[f64; 3]| {
            let seen = read(signal).map(|drive| itp_from_xyz(shown_by(context.panel, drive)));
            pairs(&seen, |a, b| delta_e_itp(*a, *b))
        };
        neutral.par_iter().map(one).reduce(|| 0.0, f64::max)
    });
    EvaluationSensitivity {
        weight_bits,
        trilinear: apart(cells.trilinear),
        weights: apart(cells.weights),
        on_ramps,
        neutral_itp,
    }
}

/// The drive of a signal read trilinearly, tetrahedrally and with rounded weights.
fn three_ways(
    lattice: &Lut3d,
    curves: Option<&Lut1d>,
    signal: [f64; 3],
    bits: u8,
    scale: CodeScale,
) -> [[f64; 3]; 3] {
    let position = signal.map(|v| scale.position_from_signal(v));
    let position = curves.map_or(position, |curves| curves.sample(position));
    [
        Evaluation::Trilinear,
        Evaluation::Tetrahedral,
        Evaluation::Weights { bits },
    ]
    .map(|how| {
        lattice
            .sample(position, how)
            .map(|v| scale.signal_from_position(v))
    })
}

/// Largest of a measure over the three pairs.
fn pairs<T>(all: &[T; 3], measure: impl Fn(&T, &T) -> f64) -> f64 {
    measure(&all[0], &all[1])
        .max(measure(&all[0], &all[2]))
        .max(measure(&all[1], &all[2]))
}
