use std::sync::atomic::{AtomicUsize, Ordering};

use evenstep_colour::{Xyz, delta_e_2000, lab_from_xyz};
use evenstep_display::{PanelModel, Target};
use evenstep_lut::{Correction, Lut3d};
use rayon::prelude::*;

use crate::range::through_range;
use crate::shaper::Placement;
use crate::{BaseCorrection, CodeRange, Inversion, Inverter, UNREACHABLE_ITP};

/// A node whose drive is this far from the middle of its two neighbours on some axis is searched again from there:
/// a jump to another branch of the inverse shows as such a spike. Our choice, several times the bend of any curve
/// between nodes of a 17³ lattice.
const SPIKE: f64 = 0.06;

/// Rounds of searching again from neighbours.
const ROUNDS: usize = 3;

/// Finds the drive of lattice nodes through a forward model.
pub struct NodeSolver<'a> {
    inverter: Inverter<'a>,
    target: &'a Target,
    base: Option<&'a BaseCorrection>,
}

/// A filled lattice and what was out of reach.
#[derive(Clone, Debug)]
pub struct Filled {
    /// The lattice, full-range drives of full-range signals, not rounded.
    pub lut: Lut3d,
    /// What was found for each node, red fastest.
    pub found: Vec<Inversion>,
    /// Nodes whose target the panel does not reach within [`UNREACHABLE_ITP`].
    pub nodes_reduced: usize,
    /// Largest CIEDE2000 (white: the target's) between the target and what the model shows, over those nodes.
    pub reduced_de2000_max: f64,
}

impl<'a> NodeSolver<'a> {
    /// A solver for a target through a panel model, started from the base correction where there is one.
    #[must_use]
    pub fn new(
        panel: &'a dyn PanelModel,
        target: &'a Target,
        base: Option<&'a BaseCorrection>,
    ) -> Self {
        Self {
            inverter: Inverter::new(panel),
            target,
            base,
        }
    }

    /// Drive of one signal, started from the base correction, or without one from several drives.
    #[must_use]
    pub fn solve(&self, signal: [f64; 3]) -> Inversion {
        let aim = self.target.xyz(signal);
        match self.base {
            Some(base) => self.inverter.invert(aim, base.drive(signal)),
            None => self.solve_blind(aim, signal),
        }
    }

    /// Drive of a signal beside one whose answer is known: where that was out of reach, this probably is.
    ///
    /// A grey is worth a second look: above a panel's peak the base correction starts on flat ground, from where a search may
    /// end far from a drive that shows the grey exactly. All that a target clips asks for its white.
    fn solve_beside(&self, signal: [f64; 3], before: Option<Inversion>) -> Inversion {
        let found = self.solve_once_beside(signal, before);
        if found.miss_itp <= UNREACHABLE_ITP || signal != [signal[0]; 3] {
            return found;
        }
        let blind = self.solve_blind(self.target.xyz(signal), signal);
        if found.is_worse_than(&blind) {
            blind
        } else {
            found
        }
    }

    fn solve_once_beside(&self, signal: [f64; 3], before: Option<Inversion>) -> Inversion {
        match (self.base, before) {
            (Some(base), Some(before)) if before.miss_itp > UNREACHABLE_ITP => {
                let aim = self.target.xyz(signal);
                self.inverter
                    .invert_beside(aim, base.drive(signal), &before)
            }
            _ => self.solve(signal),
        }
    }

    /// Without tone curves to start from: the signal itself and darker versions of it.
    fn solve_blind(&self, aim: Xyz, signal: [f64; 3]) -> Inversion {
        let mut best = self.inverter.invert(aim, signal);
        for scale in [0.75, 0.5, 0.25] {
            let next = self.inverter.invert(aim, signal.map(|s| s * scale));
            if best.is_worse_than(&next) {
                best = next;
            }
        }
        best
    }
}

/// Fills a lattice of `size`³ nodes. `progress` is called with nodes done out of all, from any thread.
#[must_use]
pub fn fill_lattice(
    solver: &NodeSolver<'_>,
    size: usize,
    range: CodeRange,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Filled {
    fill_placed(solver, size, &Placement::new(range, None), progress)
}

/// Fills a lattice whose nodes lie where `placement` says.
pub(crate) fn fill_placed(
    solver: &NodeSolver<'_>,
    size: usize,
    placement: &Placement,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Filled {
    let count = size * size * size;
    let signal = |index: usize| {
        [index % size, index / size % size, index / (size * size)].map(|i| {
            placement
                .signal(i as f64 / (size - 1) as f64)
                .clamp(0.0, 1.0)
        })
    };
    // Above the target's own clip all signals ask for the same light: solved once, the same everywhere.
    let top = (0..size)
        .find(|i| signal(*i)[0] >= solver.target.clipped_from())
        .unwrap_or(size - 1);
    let asked = |index: usize| {
        let [r, g, b] = [index % size, index / size % size, index / (size * size)];
        r.min(top) + size * (g.min(top) + size * b.min(top))
    };
    // Rows in parallel, each from its dark end, so that answers do not depend on the number of threads.
    let (rows, done) = (top + 1, AtomicUsize::new(0));
    let row = |row: usize| {
        let start = size * (row % rows + size * (row / rows));
        let mut before = None;
        let one = |i| {
            let found = solver.solve_beside(signal(i), before);
            before = Some(found);
            found
        };
        let row: Vec<Inversion> = (start..=start + top).map(one).collect();
        progress(done.fetch_add(rows, Ordering::Relaxed) + rows, rows.pow(3));
        row
    };
    let solved: Vec<Inversion> = (0..rows * rows)
        .into_par_iter()
        .flat_map_iter(row)
        .collect();
    let mut found: Vec<Inversion> = (0..count)
        .map(|index| {
            let [r, g, b] = [index % size, index / size % size, index / (size * size)];
            solved[r.min(top) + rows * (g.min(top) + rows * b.min(top))]
        })
        .collect();
    for _ in 0..ROUNDS {
        let again: Vec<(usize, Inversion)> = (0..count)
            .into_par_iter()
            .filter(|i| asked(*i) == *i)
            .filter_map(|i| improved(solver, &found, size, i, signal(i)).map(|better| (i, better)))
            .collect();
        if again.is_empty() {
            break;
        }
        for (i, better) in again {
            found[i] = better;
        }
        for i in 0..count {
            found[i] = found[asked(i)];
        }
    }
    let white = solver.target.white();
    let reduced: Vec<f64> = (0..count)
        .into_par_iter()
        .filter(|i| found[*i].miss_itp > UNREACHABLE_ITP)
        .map(|i| {
            let shown = solver.inverter.panel().xyz(found[i].drive);
            delta_e_2000(
                lab_from_xyz(shown, white),
                lab_from_xyz(solver.target.xyz(signal(i)), white),
            )
        })
        .collect();
    let lut = Lut3d::from_fn(size, |position| {
        let index = position.iter().rev().fold(0, |at, p| {
            at * size + (p * (size - 1) as f64).round() as usize
        });
        let code = position.map(|p| placement.unshaped(p));
        through_range(placement.range(), code, |_| found[index].drive)
    });
    Filled {
        lut,
        found,
        nodes_reduced: reduced.len(),
        reduced_de2000_max: reduced.iter().copied().fold(0.0, f64::max),
    }
}

/// A better answer for a node, searched from its neighbours where its own looks wrong.
fn improved(
    solver: &NodeSolver<'_>,
    found: &[Inversion],
    size: usize,
    index: usize,
    signal: [f64; 3],
) -> Option<Inversion> {
    let own = found[index];
    let mut starts: Vec<[f64; 3]> = Vec::new();
    let mut spike = false;
    for (axis, step) in [1, size, size * size].into_iter().enumerate() {
        let at = index / step % size;
        let below = (at > 0).then(|| found[index - step].drive);
        let above = (at + 1 < size).then(|| found[index + step].drive);
        if let (Some(a), Some(b)) = (below, above) {
            let middle: [f64; 3] = std::array::from_fn(|c| 0.5 * (a[c] + b[c]));
            // The first cells above black bend sharply in the channel that rises there; that is no spike.
            let bent = |c: usize| c == axis && at < 3;
            spike |= (0..3).any(|c| !bent(c) && (own.drive[c] - middle[c]).abs() > SPIKE);
            starts.push(middle);
        }
        starts.extend(below.into_iter().chain(above));
    }
    if !spike {
        return None;
    }
    let aim = solver.target.xyz(signal);
    if own.miss_itp > UNREACHABLE_ITP {
        // Out of reach, where there is most to try and least to gain.
        let next = solver.inverter.invert_from_best(aim, &starts)?;
        return own.is_worse_than(&next).then_some(next);
    }
    starts
        .into_iter()
        .map(|start| solver.inverter.invert(aim, start))
        .fold(None, |best: Option<Inversion>, next| match best {
            Some(b) if !b.is_worse_than(&next) => Some(b),
            _ if own.is_worse_than(&next) => Some(next),
            other => other,
        })
}
