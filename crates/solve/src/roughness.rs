use crate::Grid;
use rayon::prelude::*;

/// Adds `λ · RᵀR v` to `out`, with R the second differences along the three axes and along the neutral diagonal.
///
/// `v` and `out` hold one triple for each node of `grid`. A lattice of fewer than 3 nodes along an axis has none.
pub fn add_roughness(grid: Grid, lambda: f64, v: &[[f64; 3]], out: &mut [[f64; 3]]) {
    if grid.size() < 3 {
        return;
    }
    let slab = grid.strides()[2];
    out.par_chunks_mut(slab).enumerate().for_each(|(b, out)| {
        for (k, out) in out.iter_mut().enumerate() {
            let sum = roughness_at(grid, v, b * slab + k);
            for (out, sum) in out.iter_mut().zip(sum) {
                *out += lambda * sum;
            }
        }
    });
}

/// Entry `here` of `RᵀR v`; `grid` has 3 nodes or more along an axis.
pub(crate) fn roughness_at(grid: Grid, v: &[[f64; 3]], here: usize) -> [f64; 3] {
    let (n, strides, at) = (grid.size(), grid.strides(), grid.at(here));
    let mut sum = [0.0; 3];
    for axis in 0..3 {
        add_line(v, here, strides[axis], at[axis], n, &mut sum);
    }
    if at[0] == at[1] && at[1] == at[2] {
        add_line(v, here, strides.iter().sum(), at[0], n, &mut sum);
    }
    sum
}

/// Adds entry `at` of `D₂ᵀD₂ v` on a line of `n` nodes that are `step` apart in index.
fn add_line(v: &[[f64; 3]], here: usize, step: usize, at: usize, n: usize, sum: &mut [f64; 3]) {
    if at >= 2 && at + 2 < n {
        // The same five nodes at once: most of the lattice, and three times as quick.
        let (a, b, m) = (v[here - 2 * step], v[here - step], v[here]);
        let (d, e) = (v[here + step], v[here + 2 * step]);
        for c in 0..3 {
            sum[c] += a[c] + e[c] + 6.0 * m[c] - 4.0 * (b[c] + d[c]);
        }
        return;
    }
    let mut second = |middle: usize, factor: f64| {
        let (low, mid, high) = (v[middle - step], v[middle], v[middle + step]);
        for c in 0..3 {
            sum[c] += factor * (low[c] - 2.0 * mid[c] + high[c]);
        }
    };
    if at >= 2 {
        second(here - step, 1.0);
    }
    if at >= 1 && at + 1 < n {
        second(here, -2.0);
    }
    if at + 2 < n {
        second(here + step, 1.0);
    }
}

/// Diagonal of [`add_roughness`] for λ = 1 at a node.
pub(crate) fn diagonal(grid: Grid, at: [usize; 3]) -> f64 {
    let n = grid.size();
    if n < 3 {
        return 0.0;
    }
    let line = |at: usize| {
        f64::from(u8::from(at >= 2))
            + 4.0 * f64::from(u8::from(at >= 1 && at + 1 < n))
            + f64::from(u8::from(at + 2 < n))
    };
    let neutral = if at[0] == at[1] && at[1] == at[2] {
        line(at[0])
    } else {
        0.0
    };
    at.iter().map(|&at| line(at)).sum::<f64>() + neutral
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A plane has no second difference; the diagonal is what a unit vector gets back.
    #[test]
    fn planes_are_smooth_and_the_diagonal_is_its_own() {
        let grid = Grid::new(5);
        let plane: Vec<[f64; 3]> = (0..grid.count())
            .map(|i| grid.at(i).map(|k| 2.0 * k as f64))
            .collect();
        let mut out = vec![[0.0; 3]; grid.count()];
        add_roughness(grid, 3.0, &plane, &mut out);
        assert!(out.iter().flatten().all(|v| *v == 0.0));
        for node in [[0, 0, 0], [1, 1, 1], [2, 2, 2], [4, 1, 0], [2, 3, 4]] {
            let mut unit = vec![[0.0; 3]; grid.count()];
            unit[grid.index(node)][1] = 1.0;
            let mut out = vec![[0.0; 3]; grid.count()];
            add_roughness(grid, 1.0, &unit, &mut out);
            assert_eq!(out[grid.index(node)][1], diagonal(grid, node), "{node:?}");
        }
    }
}
