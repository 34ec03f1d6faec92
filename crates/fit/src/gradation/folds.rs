use std::collections::HashSet;

use evenstep_lut::tetrahedron_volumes;
use evenstep_solve::{Grid, chains};

use super::{Field, GradationReport};

/// Volume, the identity's being 1, below which a tetrahedron is unfolded: a little above what an audit calls folded, so
/// that rounding does not fold it again.
const LEAST: f64 = -1e-7;
/// Rounds of relaxing what is folded.
const ROUNDS: usize = 30;
/// Rounds for cells at the edge of what is reached, where a clipped channel may leave nothing to unfold.
const STRADDLING_ROUNDS: usize = 8;

/// Relaxes the nodes of folded tetrahedra in cells within reach towards their neighbours and the base. Says whether
/// anything was moved.
pub(super) fn unfold(
    field: &mut Field,
    base: &[[f64; 3]],
    reached: &[bool],
    nearly: &[bool],
    report: &mut GradationReport,
) -> bool {
    let grid = field.grid;
    let n = grid.size();
    let scale = ((n - 1) as f64).powi(3);
    let corners = |cell: usize| -> [usize; 8] {
        let [r, g, b] = grid.strides();
        std::array::from_fn(|i| cell + (i & 1) * r + (i >> 1 & 1) * g + (i >> 2) * b)
    };
    let folded = |field: &Field, cell: usize| -> usize {
        let at = corners(cell).map(|i| field.drives[i]);
        let volumes = tetrahedron_volumes(&at);
        volumes.iter().filter(|v| **v * scale < LEAST).count()
    };
    let cells: Vec<usize> = (0..grid.count())
        .filter(|i| grid.at(*i).iter().all(|k| k + 1 < n))
        .filter(|i| {
            let [r, g, b] = grid.at(*i);
            r == g && g == b || corners(*i).iter().all(|k| nearly[*k])
        })
        .collect();
    let mut bad: Vec<usize> = cells
        .iter()
        .copied()
        .filter(|c| folded(field, *c) > 0)
        .collect();
    let before: usize = bad.iter().map(|c| folded(field, *c)).sum();
    if bad.is_empty() {
        return false;
    }
    let kept = field.drives.clone();
    for round in 0..ROUNDS {
        if round == STRADDLING_ROUNDS {
            bad.retain(|c| corners(*c).iter().all(|k| reached[*k]));
        }
        let mut nodes: Vec<usize> = bad.iter().flat_map(|c| corners(*c)).collect();
        nodes.sort_unstable();
        nodes.dedup();
        let moved: Vec<[f64; 3]> = nodes.iter().map(|i| relaxed(field, base, *i)).collect();
        for (i, drive) in nodes.iter().zip(moved) {
            field.drives[*i] = drive;
        }
        bad = cells
            .iter()
            .copied()
            .filter(|c| folded(field, *c) > 0)
            .filter(|c| round < STRADDLING_ROUNDS || corners(*c).iter().all(|k| reached[*k]))
            .collect();
        if bad.is_empty() {
            break;
        }
    }
    let after: usize = bad.iter().map(|c| folded(field, *c)).sum();
    if after >= before {
        field.drives = kept;
        report.folds[1] = before;
        return false;
    }
    report.folds[0] += before.saturating_sub(after);
    report.folds[1] = after;
    true
}

/// Half-way to where the neighbours along the axes stand against the base, and a tenth nearer to the base itself, which
/// has no folds: repeated, this ends there.
fn relaxed(field: &Field, base: &[[f64; 3]], index: usize) -> [f64; 3] {
    let grid = field.grid;
    let away = |i: usize, c: usize| field.drives[i][c] - base[i][c];
    let at = grid.at(index);
    let (mut sum, mut count) = ([0.0; 3], 0.0);
    for (axis, step) in grid.strides().into_iter().enumerate() {
        let below = (at[axis] > 0).then(|| index - step);
        let above = (at[axis] + 1 < grid.size()).then(|| index + step);
        for other in below.into_iter().chain(above) {
            for (c, sum) in sum.iter_mut().enumerate() {
                *sum += away(other, c);
            }
            count += 1.0;
        }
    }
    std::array::from_fn(|c| base[index][c] + 0.5 * away(index, c) + 0.45 * sum[c] / count)
}

/// A determinant below this is a fold, the identity's being 1 (method, section 6).
const FOLDED: f64 = -1e-6;
/// Passes over what rounding has folded, and codes by which a node may move.
const PASSES: usize = 6;
const MOVES: [i64; 4] = [-1, 1, -2, 2];

/// Moves single codes where rounding alone turns a nearly collapsed tetrahedron inside out. Nodes that a ramp's condition
/// holds stay. Gives the folds that are left in cells nearly within reach.
pub(super) fn unfold_codes(grid: Grid, codes: &mut [[u32; 3]], bits: u8, nearly: &[bool]) -> usize {
    let n = grid.size();
    let largest = i64::from((1_u32 << bits) - 1);
    let scale = ((n - 1) as f64 / largest as f64).powi(3);
    let strides = grid.strides();
    let corner = |cell: usize, i: usize| -> usize {
        cell + (0..3).map(|a| (i >> a & 1) * strides[a]).sum::<usize>()
    };
    let folded = |codes: &[[u32; 3]], cell: usize| -> usize {
        let at: [[f64; 3]; 8] = std::array::from_fn(|i| codes[corner(cell, i)].map(f64::from));
        let volumes = tetrahedron_volumes(&at);
        volumes.iter().filter(|v| **v * scale < FOLDED).count()
    };
    let cells: Vec<usize> = (0..grid.count())
        .filter(|i| grid.at(*i).iter().all(|k| k + 1 < n))
        .filter(|i| (0..8).all(|k| nearly[corner(*i, k)]))
        .collect();
    let held: HashSet<usize> = chains(grid)
        .into_iter()
        .flat_map(|c| c.links)
        .flatten()
        .collect();
    // Cells that a node is a corner of.
    let around = |node: usize| -> Vec<usize> {
        let at = grid.at(node);
        let cells = (0..8_usize).filter(|i| {
            (0..3).all(|a| {
                if i >> a & 1 == 1 {
                    at[a] > 0
                } else {
                    at[a] + 1 < n
                }
            })
        });
        cells
            .map(|i| node - (0..3).map(|a| (i >> a & 1) * strides[a]).sum::<usize>())
            .collect()
    };
    for _ in 0..PASSES {
        let bad: Vec<usize> = cells
            .iter()
            .copied()
            .filter(|c| folded(codes, *c) > 0)
            .collect();
        if bad.is_empty() {
            return 0;
        }
        for cell in bad {
            for node in (0..8).map(|i| corner(cell, i)) {
                if held.contains(&node) {
                    continue;
                }
                let count = |codes: &[[u32; 3]]| -> usize {
                    around(node).iter().map(|c| folded(codes, *c)).sum()
                };
                for channel in 0..3 {
                    let (own, mut least) = (codes[node][channel], count(codes));
                    let mut best = own;
                    for step in MOVES {
                        let moved = (i64::from(own) + step).clamp(0, largest) as u32;
                        codes[node][channel] = moved;
                        let now = count(codes);
                        if now < least {
                            (least, best) = (now, moved);
                        }
                    }
                    codes[node][channel] = best;
                }
            }
        }
    }
    cells.iter().map(|c| folded(codes, *c)).sum()
}
