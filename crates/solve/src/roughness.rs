use crate::Grid;
use rayon::prelude::*;

/// Adds `λ · RᵀR v` to `out`, with R the second differences along the three axes and along the neutral diagonal.
///
/// `v` and `out` hold one triple for each node of `grid`. A lattice of fewer than 3 nodes along an axis has none.
pub fn add_roughness(grid: Grid, lambda: f64, v: &[[f64; 3]], out: &mut [[f64; 3]]) {
    if grid.size() < 3 {
        return;
    }
    let n = grid.size();
    let (v, width) = (v.as_flattened(), 3 * n);
    let row = |g: usize, b: usize| &v[width * (g + n * b)..][..width];
    // A row at a time, in which all that is added lies side by side.
    out.as_flattened_mut()
        .par_chunks_mut(width * n)
        .enumerate()
        .for_each(|(b, slab)| {
            for (g, out) in slab.chunks_exact_mut(width).enumerate() {
                let own = row(g, b);
                for (i, factor) in line(g, n) {
                    add_scaled(out, lambda * factor, row(i, b));
                }
                for (i, factor) in line(b, n) {
                    add_scaled(out, lambda * factor, row(g, i));
                }
                add_along(out, lambda, own, n);
            }
        });
    let step = grid.strides().iter().sum::<usize>();
    for at in 0..n {
        for (i, factor) in line(at, n) {
            for c in 0..3 {
                out[at * step][c] += lambda * factor * v[3 * i * step + c];
            }
        }
    }
}

/// Row `at` of `D₂ᵀD₂` on a line of `n` nodes: at most five places and their factors.
fn line(at: usize, n: usize) -> impl Iterator<Item = (usize, f64)> {
    let mut factors = [0.0; 5];
    let mut second = |middle: usize, factor: f64| {
        for (i, part) in [1.0, -2.0, 1.0].into_iter().enumerate() {
            factors[middle + 1 + i - at] += factor * part;
        }
    };
    if at >= 2 {
        second(at - 1, 1.0);
    }
    if at >= 1 && at + 1 < n {
        second(at, -2.0);
    }
    if at + 2 < n {
        second(at + 1, 1.0);
    }
    let places = factors.into_iter().enumerate();
    places
        .filter(|(_, factor)| *factor != 0.0)
        .map(move |(i, factor)| (at + i - 2, factor))
}

/// `out += t · v`.
fn add_scaled(out: &mut [f64], t: f64, v: &[f64]) {
    for (out, v) in out.iter_mut().zip(v) {
        *out += t * v;
    }
}

/// Adds `λ D₂ᵀD₂ v` along a row of `n` triples.
fn add_along(out: &mut [f64], lambda: f64, v: &[f64], n: usize) {
    let ends = |at: usize| at < 2 || at + 2 >= n;
    for at in (0..n).filter(|at| ends(*at)) {
        for (i, factor) in line(at, n) {
            for c in 0..3 {
                out[3 * at + c] += lambda * factor * v[3 * i + c];
            }
        }
    }
    if n < 5 {
        return;
    }
    let inner = 3 * (n - 4);
    let (a, b, m, d, e) = (
        &v[..inner],
        &v[3..][..inner],
        &v[6..][..inner],
        &v[9..][..inner],
        &v[12..][..inner],
    );
    for (i, out) in out[6..][..inner].iter_mut().enumerate() {
        *out += lambda * (a[i] + e[i] + 6.0 * m[i] - 4.0 * (b[i] + d[i]));
    }
}

/// Entry `here` of `RᵀR v`; `grid` has 3 nodes or more along an axis.
pub(crate) fn roughness_at(grid: Grid, v: &[[f64; 3]], here: usize) -> [f64; 3] {
    let (n, strides, at) = (grid.size(), grid.strides(), grid.at(here));
    let mut sum = [0.0; 3];
    let mut along = |step: usize, at: usize| {
        for (i, factor) in line(at, n) {
            let there = v[here - at * step + i * step];
            for c in 0..3 {
                sum[c] += factor * there[c];
            }
        }
    };
    for axis in 0..3 {
        along(strides[axis], at[axis]);
    }
    if at[0] == at[1] && at[1] == at[2] {
        along(strides.iter().sum(), at[0]);
    }
    sum
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

    /// The lattice row by row is the lattice node by node, at every size down to the least.
    #[test]
    fn rows_are_nodes() {
        for n in 3..8 {
            let grid = Grid::new(n);
            let v: Vec<[f64; 3]> = (0..grid.count())
                .map(|i| [0.618, 0.755, 0.569].map(|s: f64| (i as f64 * s).fract()))
                .collect();
            let mut out = vec![[1.0; 3]; grid.count()];
            add_roughness(grid, 2.0, &v, &mut out);
            for (i, out) in out.iter().enumerate() {
                let want = roughness_at(grid, &v, i).map(|r| 1.0 + 2.0 * r);
                // Roundoff of some twenty terms of up to 12.
                assert!((0..3).all(|c| (out[c] - want[c]).abs() < 1e-12), "{n} {i}");
            }
        }
    }

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
