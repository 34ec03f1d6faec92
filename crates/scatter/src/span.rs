//! The polynomials that a set of sites determines.

use nalgebra::DMatrix;

use crate::polynomial::Basis;

/// Singular values below this share of the largest count as 0: far above rounding, and a slab a hundred-millionth as
/// thick as wide still has a slope across. Our choice.
const UNDETERMINED: f64 = 1e-9;

/// Combinations ψ of R monomials (3 for degree 1, 9 for degree 2) that have mean 0 over the sites, unit mean square and
/// no correlation; where the sites determine fewer than R, the last ones are 0 everywhere.
///
/// With the constant they span all polynomials of the degree, or, on a line, in a plane or with few sites, those without
/// a part that vanishes at every site.
pub(crate) struct Span<const R: usize> {
    basis: Basis,
    mean: [f64; R],
    /// ψ = combine · (monomials − mean).
    combine: Box<[[f64; R]; R]>,
}

impl<const R: usize> Span<R> {
    pub(crate) fn new(sites: &[[f64; 3]]) -> Self {
        let basis = Basis::new(if R == 3 { 1 } else { 2 }, sites);
        let count = sites.len().max(1) as f64;
        let monomials: Vec<[f64; R]> = sites.iter().map(|s| without_constant(&basis, *s)).collect();
        let mut mean = [0.0; R];
        for row in &monomials {
            for (mean, value) in mean.iter_mut().zip(row) {
                *mean += value / count;
            }
        }
        // Rows of zeros, so that there are at least R singular values.
        let matrix = DMatrix::from_fn(sites.len().max(R), R, |i, j| {
            monomials.get(i).map_or(0.0, |row| row[j] - mean[j])
        });
        let parts = matrix.svd(false, true);
        let largest = parts.singular_values.max();
        let mut combine = Box::new([[0.0; R]; R]);
        if let Some(v_t) = parts.v_t {
            for (k, row) in combine.iter_mut().enumerate() {
                let sigma = parts.singular_values[k];
                if sigma > UNDETERMINED * largest {
                    *row = std::array::from_fn(|j| v_t[(k, j)] * count.sqrt() / sigma);
                }
            }
        }
        Self {
            basis,
            mean,
            combine,
        }
    }

    /// ψ at a point.
    pub(crate) fn values(&self, at: [f64; 3]) -> [f64; R] {
        let monomials = without_constant::<R>(&self.basis, at);
        std::array::from_fn(|k| {
            (0..R)
                .map(|j| self.combine[k][j] * (monomials[j] - self.mean[j]))
                .sum()
        })
    }

    /// Derivatives of ψ by each coordinate.
    pub(crate) fn gradients(&self, at: [f64; 3]) -> [[f64; 3]; R] {
        let mut monomials = [[0.0; 3]; R];
        for (into, gradient) in monomials.iter_mut().zip(self.basis.gradients(at).skip(1)) {
            *into = gradient;
        }
        std::array::from_fn(|k| {
            std::array::from_fn(|axis| {
                (0..R)
                    .map(|j| self.combine[k][j] * monomials[j][axis])
                    .sum()
            })
        })
    }
}

fn without_constant<const R: usize>(basis: &Basis, at: [f64; 3]) -> [f64; R] {
    let mut monomials = [0.0; R];
    for (into, value) in monomials.iter_mut().zip(basis.values(at).skip(1)) {
        *into = value;
    }
    monomials
}
