use evenstep_colour::{Itp, itp_from_xyz};
use evenstep_display::PanelModel;
use evenstep_lut::{CodeScale, Lut3d};
use evenstep_solve::{Grid, Moving, smooth_held};
use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

/// Repaired values are whole multiples of this: finer than a 16-bit code (1.5e-5), and short in a file.
const VALUE_STEP: f64 = 1e-6;
/// Half-width of the differences that give the slope of ITP with drive: a code of 10 bits.
const HALF_WIDTH: f64 = 1e-3;
/// Share of a change's mean visibility over directions that it has at least in each: nothing drifts for free.
const LEAST_WEIGHT: f64 = 1e-2;
/// Pull of a node's own value against the smoothness of its surroundings at level 1; about that of the surroundings.
const FIRST_PULL: f64 = 16.0;
/// By how much the pull weakens from level to level.
const WEAKER: f64 = 0.25;
/// The last level: a ten-millionth of the first pull, so that the surroundings alone decide.
pub(crate) const LAST_LEVEL: u8 = 13;
/// From this level on a node takes its neighbours along, this many levels behind.
const TAKES_ALONG: u8 = 5;
/// From this level on the corners of the lattice may move: the ends of every ramp are what a calibrator set.
const CORNERS_FROM: u8 = 10;

/// Moves nodes towards the smooth continuation of what surrounds them.
pub(crate) struct Smoother<'a> {
    pub(crate) panel: &'a dyn PanelModel,
    pub(crate) scale: CodeScale,
    /// A correction whose own curvature is left alone.
    pub(crate) base: Option<&'a [[f64; 3]]>,
}

impl Smoother<'_> {
    /// The lattice with the nodes above level 0 moved, each the less the more a change there is seen, and the more the
    /// higher its level. All others keep their bits, and so do nodes that would move by less than a step.
    pub(crate) fn moved(&self, lattice: &Lut3d, levels: &[u8]) -> Lut3d {
        let nodes = lattice.nodes();
        let grid = Grid::new(lattice.size());
        let shape: Vec<[f64; 3]> = match self.base {
            Some(base) => {
                let pairs = nodes.iter().zip(base);
                pairs.map(|(v, b)| [0, 1, 2].map(|c| v[c] - b[c])).collect()
            }
            None => nodes.to_vec(),
        };
        let seen: Vec<(usize, Matrix3<f64>)> = levels
            .par_iter()
            .enumerate()
            .filter(|(i, level)| **level > 0 && (**level >= CORNERS_FROM || !is_corner(grid, *i)))
            .map(|(node, _)| (node, self.visibility(nodes[node])))
            .collect();
        // Relative to what a change costs on the whole stretch: the level alone says how strong the pull is.
        let traces: f64 = seen.iter().map(|(_, seen)| seen.trace() / 3.0).sum();
        let mean = (traces / seen.len().max(1) as f64).max(f64::MIN_POSITIVE);
        let moving: Vec<Moving> = seen
            .into_iter()
            .map(|(node, seen)| {
                let pull = FIRST_PULL * WEAKER.powi(i32::from(levels[node]) - 1);
                Moving {
                    node,
                    weight: seen * (pull / mean),
                }
            })
            .collect();
        let changes = smooth_held(grid, &shape, &moving);
        let (low, high) = ends(nodes);
        let mut out = lattice.clone();
        for (m, change) in moving.iter().zip(changes) {
            for c in 0..3 {
                let old = nodes[m.node][c];
                if change[c].abs() < VALUE_STEP || !change[c].is_finite() {
                    continue;
                }
                // A quotient of whole numbers: the shortest decimal in a file reads back as the same.
                let value = ((old + change[c]) / VALUE_STEP).round() / (1.0 / VALUE_STEP).round();
                out.nodes_mut()[m.node][c] = value.clamp(low, high);
            }
        }
        out
    }

    /// How much a change of a node's value is seen: the square of the change in ITP by that in drive, at least a little everywhere.
    fn visibility(&self, value: [f64; 3]) -> Matrix3<f64> {
        let drive = value.map(|v| self.scale.signal_from_position(v).clamp(0.0, 1.0));
        let slopes = [0, 1, 2].map(|c| {
            let (mut a, mut b) = (drive, drive);
            a[c] = (drive[c] - HALF_WIDTH).max(0.0);
            b[c] = (drive[c] + HALF_WIDTH).min(1.0);
            (self.itp(b) - self.itp(a)) / (b[c] - a[c])
        });
        let slope = Matrix3::from_columns(&slopes);
        let seen = slope.transpose() * slope;
        // The sum is above 0 also where the panel stands still.
        let least = LEAST_WEIGHT * seen.trace() / 3.0 + f64::MIN_POSITIVE.sqrt();
        seen + Matrix3::from_diagonal_element(least)
    }

    fn itp(&self, drive: [f64; 3]) -> Vector3<f64> {
        let Itp { i, t, p } = itp_from_xyz(self.panel.xyz(drive));
        Vector3::new(i, t, p)
    }
}

/// Raises the level of nodes by one and takes neighbours of high ones along; whether any level rose.
pub(crate) fn raise(grid: Grid, levels: &mut [u8], nodes: impl Iterator<Item = usize>) -> bool {
    let before = levels.to_vec();
    for node in nodes {
        // Once for each round, however many faults a node has.
        levels[node] = (before[node] + 1).min(LAST_LEVEL);
    }
    let high: Vec<usize> = (0..levels.len())
        .filter(|i| levels[*i] > TAKES_ALONG)
        .collect();
    for i in high {
        let (at, level) = (grid.at(i), levels[i] - TAKES_ALONG);
        for step in 0..27 {
            let offset = [step % 3, step / 3 % 3, step / 9];
            let inside = |c: usize| (1..=grid.size()).contains(&(at[c] + offset[c]));
            if (0..3).all(inside) {
                let near = grid.index([0, 1, 2].map(|c| at[c] + offset[c] - 1));
                levels[near] = levels[near].max(level);
            }
        }
    }
    levels != before.as_slice()
}

fn is_corner(grid: Grid, index: usize) -> bool {
    grid.at(index)
        .iter()
        .all(|k| *k == 0 || *k == grid.size() - 1)
}

/// The range that repaired values stay in: 0 to 1, and beyond it no farther than the values given.
fn ends(nodes: &[[f64; 3]]) -> (f64, f64) {
    let values = || nodes.iter().flatten().copied();
    (values().fold(0.0, f64::min), values().fold(1.0, f64::max))
}
