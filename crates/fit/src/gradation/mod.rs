//! The gradation-safe solve: node values whose ramps do not fall, with colour as near the pointwise answer as that and
//! the lattice allow. `docs/methods/gradation.md`.

mod cells;
mod codes;
mod folds;
mod ramps;
mod rounded;
mod smooth;

use evenstep_display::{PanelModel, Target};
use evenstep_lut::{Correction, Lut3d};
use evenstep_solve::{Grid, round_rising};
use nalgebra::Vector3;
use rayon::prelude::*;
use serde::Serialize;

use self::codes::Codes;
use crate::invert::itp_from_lms;
use crate::range::{position_from_signal, signal_from_position};
use crate::shaper::Placement;
use crate::{BaseCorrection, Filled, UNREACHABLE_ITP};

/// What a gradation-safe solve starts from.
pub(crate) struct Problem<'a> {
    /// What the panel shows.
    pub(crate) panel: &'a dyn PanelModel,
    /// What it should show.
    pub(crate) target: &'a Target,
    /// The correction whose own bends are left alone; without one, no bend is.
    pub(crate) base: Option<&'a BaseCorrection>,
    /// Where the nodes lie.
    pub(crate) placement: &'a Placement,
    /// Depth of node values.
    pub(crate) node_bits: u8,
    /// Error of the model between patches, in ΔE ITP.
    pub(crate) model_itp: f64,
}

/// What a gradation-safe solve did.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GradationReport {
    /// Weight of second differences, in ΔE ITP² per drive².
    pub lambda: f64,
    /// Root mean square by which smoothing moved the nodes from the pointwise answer, in ΔE ITP.
    pub smoothed_itp: f64,
    /// Largest move of a neutral node for the sake of the codes between nodes, in drive.
    pub cells_moved: f64,
    /// Codes of the ramps' conditions that rounding alone would have broken, or values before it.
    pub active: usize,
    /// Ramps whose luminance fell on the model and was set right.
    pub resolved_ramps: Vec<String>,
    /// Ramps whose luminance still falls on the model.
    pub unresolved_ramps: Vec<String>,
    /// Steps of the named ramps that rise too little on the model where what is read is rounded to codes as well, either way
    /// of reading counted.
    pub short_rounded: usize,
    /// Folded tetrahedra in reachable cells that were unfolded, and those that were not.
    pub folds: [usize; 2],
}

/// The lattice in work: drives, not limited to 0 to 1 beyond the legal signals of a narrow range.
#[derive(Clone)]
pub(crate) struct Field {
    pub(crate) grid: Grid,
    pub(crate) placement: Placement,
    pub(crate) drives: Vec<[f64; 3]>,
}

impl Field {
    /// Signal of a place along an axis.
    pub(crate) fn signal(&self, at: usize) -> f64 {
        self.placement
            .signal(at as f64 / (self.grid.size() - 1) as f64)
    }

    /// Signal of a node.
    pub(crate) fn signal_of(&self, index: usize) -> [f64; 3] {
        self.grid.at(index).map(|k| self.signal(k))
    }

    /// Position along an axis of a signal, in nodes.
    pub(crate) fn place(&self, signal: f64) -> f64 {
        self.placement.position(signal) * (self.grid.size() - 1) as f64
    }

    /// What a file stores, before rounding.
    pub(crate) fn stored(&self) -> Vec<[f64; 3]> {
        let stored = |d: &[f64; 3]| {
            d.map(|v| position_from_signal(self.placement.range(), v).clamp(0.0, 1.0))
        };
        self.drives.iter().map(stored).collect()
    }

    /// Takes codes of `bits` back.
    fn take(&mut self, codes: &[[u32; 3]], bits: u8) {
        let largest = f64::from((1_u32 << bits) - 1);
        for (drive, code) in self.drives.iter_mut().zip(codes) {
            *drive =
                code.map(|v| signal_from_position(self.placement.range(), f64::from(v) / largest));
        }
    }
}

/// Times the limit of reach within which a node may truly be reached, whatever the model says. Our choice.
const NEARLY: f64 = 4.0;
/// ΔE ITP by which a node may change what it shows for a fold that rounding left: what is just noticeable where a named
/// ramp reads the node, more elsewhere. What rounding alone has folded takes less; at the edge of what is reached a fold
/// would take a hundred codes, and ramps fall for it. Our choice.
const MOST_ON_RAMPS_ITP: f64 = 1.0;
const MOST_ELSEWHERE_ITP: f64 = 8.0;
/// Codes by which it may, whatever that shows: where codes are coarse, rounding itself moves it as far.
const FEW_CODES: u32 = 2;
/// Rounds of ramps, folds and rounding: each may disturb the others, by a code or so.
const ROUNDS: usize = 4;

/// Solves for a lattice whose ramps do not fall, from the pointwise answer.
pub(crate) fn solve(problem: &Problem<'_>, filled: &Filled) -> (Lut3d, GradationReport) {
    let grid = Grid::new(filled.lut.size());
    let mut field = Field {
        grid,
        placement: problem.placement.clone(),
        drives: Vec::new(),
    };
    // Beyond the legal signals every channel goes on with slope 1, as the files do.
    let beyond = |index: usize, drive: [f64; 3]| -> [f64; 3] {
        let signal = field.signal_of(index);
        std::array::from_fn(|c| drive[c] + signal[c] - signal[c].clamp(0.0, 1.0))
    };
    let base: Vec<[f64; 3]> = (0..grid.count())
        .into_par_iter()
        .map(|i| {
            let legal = field.signal_of(i).map(|s| s.clamp(0.0, 1.0));
            beyond(i, problem.base.map_or(legal, |base| base.drive(legal)))
        })
        .collect();
    let aim: Vec<[f64; 3]> = filled
        .found
        .iter()
        .enumerate()
        .map(|(i, f)| beyond(i, f.drive))
        .collect();
    let reached: Vec<bool> = filled
        .found
        .iter()
        .map(|f| f.miss_itp <= UNREACHABLE_ITP)
        .collect();
    let nearly: Vec<bool> = filled
        .found
        .iter()
        .map(|f| f.miss_itp <= NEARLY * UNREACHABLE_ITP)
        .collect();
    let smoothed = smooth::smooth(problem, grid, &base, &aim, &reached);
    field.drives = smoothed.drives;
    let cells_moved = cells::settle(problem, &mut field, &reached);
    let mut report = GradationReport {
        lambda: smoothed.lambda,
        smoothed_itp: smoothed.misfit_itp,
        cells_moved,
        active: 0,
        resolved_ramps: Vec::new(),
        unresolved_ramps: Vec::new(),
        short_rounded: 0,
        folds: [0; 2],
    };
    let plain = |stored: &[[f64; 3]]| -> Vec<[u32; 3]> {
        let largest = f64::from((1_u32 << problem.node_bits) - 1);
        stored
            .iter()
            .map(|v| v.map(|v| (v * largest).round() as u32))
            .collect()
    };
    let mut seen = ramps::Seen::default();
    for round in 0..ROUNDS {
        let stored = field.stored();
        let codes = round_rising(grid, &stored, problem.node_bits);
        if round == 0 {
            let differ = |(a, b): (&[u32; 3], &[u32; 3])| (0..3).filter(|c| a[*c] != b[*c]).count();
            report.active = codes.iter().zip(&plain(&stored)).map(differ).sum();
        }
        field.take(&codes, problem.node_bits);
        let fallen = ramps::lift(problem, &mut field, &reached, &mut seen, &mut report);
        let folded = folds::unfold(&mut field, &base, &reached, &nearly, &mut report);
        if !fallen && !folded {
            break;
        }
    }
    let rising = round_rising(grid, &field.stored(), problem.node_bits);
    let mut codes = Codes::new(grid, rising, problem.node_bits);
    let largest = f64::from(codes.largest);
    let itp = itp_from_lms();
    let shown = |code: [u32; 3]| {
        let signal = |v| signal_from_position(problem.placement.range(), f64::from(v) / largest);
        let drive = code.map(|v| signal(v).clamp(0.0, 1.0));
        itp * Vector3::from(problem.panel.pq_lms(drive))
    };
    let (rounded, read) = (codes.values.clone(), rounded::read_by_ramps(&field));
    let may = |node: usize, code: [u32; 3]| {
        let most = if read[node] {
            MOST_ON_RAMPS_ITP
        } else {
            MOST_ELSEWHERE_ITP
        };
        let apart = code.iter().zip(rounded[node]).map(|(a, b)| a.abs_diff(b));
        apart.max() <= Some(FEW_CODES) || (shown(code) - shown(rounded[node])).norm() <= most
    };
    folds::unfold_codes(&mut codes, &nearly, &may);
    report.short_rounded = rounded::lift_rounded(problem, &field, &mut codes, &reached);
    report.folds[1] = folds::unfold_codes(&mut codes, &nearly, &may);
    // What rounding and ramps did to nodes that all ask for one light is nothing but noise.
    let top = (0..grid.size())
        .find(|k| field.signal(*k) >= problem.target.clipped_from())
        .unwrap_or(grid.size() - 1);
    // Signals beyond the legal ones go on with slope 1, each for itself.
    let asks_as = |k: usize| match field.signal(k) {
        beyond if beyond > 1.0 + f64::EPSILON => k,
        _ => k.min(top),
    };
    for node in 0..grid.count() {
        codes.values[node] = codes.values[grid.index(grid.at(node).map(asks_as))];
    }
    let mut lut = filled.lut.clone();
    for (node, code) in lut.nodes_mut().iter_mut().zip(&codes.values) {
        *node = code.map(|v| f64::from(v) / largest);
    }
    (lut, report)
}
