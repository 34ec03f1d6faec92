use super::codes::Codes;
use super::{Field, GradationReport};
use evenstep_lut::tetrahedron_volumes;

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

/// Passes over what rounding has folded, and codes by which a channel of a node may move in one of them, the smallest
/// move first.
const PASSES: usize = 12;
const MOVES: [i64; 10] = [-1, 1, -2, 2, -4, 4, -8, 8, -16, 16];

/// Moves single codes where rounding alone turns a nearly collapsed tetrahedron inside out: the channel of a corner whose
/// move takes most of the depth of the folds around it away, and after which the conditions of the ramps hold as before.
/// Looks at cells with a corner nearly within reach, since a model knows no better where reach ends; gives the folds that
/// are left in those wholly within. `may` says whether a node may hold a triple of codes.
pub(super) fn unfold_codes(
    codes: &mut Codes,
    nearly: &[bool],
    may: &dyn Fn(usize, [u32; 3]) -> bool,
) -> usize {
    let near =
        |codes: &Codes, cell: usize| (0..8).filter(|i| nearly[codes.corner(cell, *i)]).count();
    let cells: Vec<usize> = codes.cells().filter(|c| near(codes, *c) > 0).collect();
    for _ in 0..PASSES {
        let mut moved = false;
        for cell in &cells {
            if codes.folded(*cell) > 0 {
                moved |= unfold_cell(codes, *cell, may);
            }
        }
        if !moved {
            break;
        }
    }
    let within = cells.into_iter().filter(|c| near(codes, *c) == 8);
    within.map(|c| codes.folded(c)).sum()
}

/// Makes the best single move of a cell that a node may make; says whether there was one.
fn unfold_cell(codes: &mut Codes, cell: usize, may: &dyn Fn(usize, [u32; 3]) -> bool) -> bool {
    let mut best: Option<(usize, usize, u32)> = None;
    let mut most = 0.0;
    let corners: [usize; 8] = std::array::from_fn(|i| codes.corner(cell, i));
    for node in corners {
        let touched = codes.around(node);
        let sum = |codes: &Codes| -> f64 { touched.iter().map(|c| codes.depth(*c)).sum() };
        let before = sum(codes);
        for channel in 0..3 {
            let own = codes.values[node][channel];
            for step in MOVES {
                codes.values[node][channel] = own;
                let moved = codes.stepped(node, channel, step);
                codes.values[node][channel] = moved;
                let gain = before - sum(codes);
                let better = gain > most && codes.rise(node, channel);
                if better && may(node, codes.values[node]) {
                    (best, most) = (Some((node, channel, moved)), gain);
                }
            }
            codes.values[node][channel] = own;
        }
    }
    if let Some((node, channel, code)) = best {
        codes.values[node][channel] = code;
    }
    best.is_some()
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstep_solve::{Grid, broken, chains};
    use proptest::prelude::*;

    const SIZE: usize = 5;
    const BITS: u8 = 12;

    fn identity() -> Vec<[u32; 3]> {
        let grid = Grid::new(SIZE);
        let code = |k: usize| (k * 4095 / (SIZE - 1)) as u32;
        (0..grid.count()).map(|i| grid.at(i).map(code)).collect()
    }

    proptest! {
        /// A node pushed a little past its neighbour, on a ramp or off it, is found its way back within reach of the
        /// moves, and no ramp falls for it.
        #[test]
        fn a_small_fold_is_unfolded(node in 0_usize..125, channel in 0_usize..3, past in 1_u32..40) {
            let grid = Grid::new(SIZE);
            let at = grid.at(node);
            prop_assume!(at[channel] + 2 < SIZE);
            let mut values = identity();
            values[node][channel] = values[node + grid.strides()[channel]][channel] + past;
            let all = chains(grid);
            // The solve rounds to rising ramps before it looks for folds.
            prop_assume!(broken(&all, &values).is_empty());
            let mut codes = Codes::new(grid, values, BITS);
            let cells: Vec<usize> = codes.cells().collect();
            prop_assert!(cells.iter().any(|c| codes.folded(*c) > 0));
            let left = unfold_codes(&mut codes, &vec![true; grid.count()], &|_, _| true);
            prop_assert_eq!(left, 0);
            prop_assert_eq!(cells.iter().map(|c| codes.folded(*c)).sum::<usize>(), 0);
            prop_assert!(broken(&all, &codes.values).is_empty());
        }
    }

    /// What has no fold is left as it is.
    #[test]
    fn sound_codes_stay() {
        let grid = Grid::new(SIZE);
        let mut codes = Codes::new(grid, identity(), BITS);
        assert_eq!(
            unfold_codes(&mut codes, &vec![true; grid.count()], &|_, _| true),
            0
        );
        assert_eq!(codes.values, identity());
    }
}
