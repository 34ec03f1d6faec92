use evenstep_lut::tetrahedron_volumes;

use super::{Field, GradationReport};

/// Volume, the identity's being 1, below which a tetrahedron is unfolded: a little above what an audit calls folded, so
/// that rounding does not fold it again.
const LEAST: f64 = -1e-7;
/// Rounds of relaxing what is folded.
const ROUNDS: usize = 20;
/// Rounds for cells at the edge of what is reached, where a clipped channel may leave nothing to unfold.
const STRADDLING_ROUNDS: usize = 8;

/// Relaxes the nodes of folded tetrahedra in cells within reach towards the middle of their neighbours. Says whether
/// anything was moved.
pub(super) fn unfold(
    field: &mut Field,
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
        let moved: Vec<[f64; 3]> = nodes.iter().map(|i| relaxed(field, *i)).collect();
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

/// Half-way to the middle of the neighbours along the axes that have both.
fn relaxed(field: &Field, index: usize) -> [f64; 3] {
    let (grid, own) = (field.grid, field.drives[index]);
    let at = grid.at(index);
    let (mut sum, mut count) = ([0.0; 3], 0.0);
    for (axis, step) in grid.strides().into_iter().enumerate() {
        if at[axis] > 0 && at[axis] + 1 < grid.size() {
            for other in [index - step, index + step] {
                for (sum, v) in sum.iter_mut().zip(field.drives[other]) {
                    *sum += v;
                }
                count += 1.0;
            }
        }
    }
    if count == 0.0 {
        return own;
    }
    std::array::from_fn(|c| 0.5 * (own[c] + sum[c] / count))
}
