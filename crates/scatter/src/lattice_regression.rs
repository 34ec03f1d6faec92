//! Node values of a lattice fitted to scattered sites.

use faer::Mat;
use nalgebra::Matrix3;
use rayon::prelude::*;

use crate::rbf::largest_side;
use crate::sites::singular;
use crate::sparse::{SparseCholesky, Symmetric};
use crate::{FitError, Interpolant, Kernel, LeaveOneOut, Rbf, Sites};

/// Least smoothing used, so that nodes no site reaches are determined: below it the system has no definite factor in
/// double precision.
const LEAST_SMOOTHING: f64 = 1e-7;
/// A site is indispensable where its own share 1 − H of the smoother is below this: rounding of the solve.
const INDISPENSABLE: f64 = 1e-9;

/// What lattice regression keeps small.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Penalty {
    /// Squared first differences of neighbouring nodes: h Σ (Δb)², about ∫|∇s|².
    Laplacian,
    /// Squared second differences along the axes and mixed ones on the faces of cells, counted twice:
    /// h⁻¹ Σ (Δ²b)², about the integral of the squared second derivatives.
    Hessian,
}

/// Lattice regression: the n³ node values whose trilinear interpolant comes closest to the values, kept smooth.
///
/// To choose where the result is evaluated from a lattice anyway: the error is measured after interpolation. Minimises
/// Σ (s(xᵢ) − fᵢ)²/vᵢ + λ · penalty. The lattice spans the cube of the sites' largest side from the lower corner of
/// their bounding box; outside it the edge cell's polynomial goes on.
///
/// | parameter | default | range |
/// | --- | --- | --- |
/// | `penalty` | Hessian | [`Penalty`] |
/// | `nodes` | 17 | 2 to 33, along each axis: beyond, the factor fills gigabytes |
/// | smoothing λ | – | ≥ 0, in units of the sites; less than 10⁻⁷ counts as 10⁻⁷ |
///
/// Passes through the values only as λ falls, and only where cells are no fuller than the lattice can bend. Continuous,
/// with kinks at the faces of cells. Ill-posed for the Hessian when the sites lie in one plane. Cost: one sparse system
/// of n³ unknowns.
///
/// # Source
/// Garcia & Gupta (2009); Garcia, Arora & Gupta (2012) (from memory for the scaling of the penalties; definitions in
/// `docs/methods/lattice-regression.md`).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LatticeRegression {
    /// What is kept small.
    pub penalty: Penalty,
    /// Nodes along each axis.
    pub nodes: usize,
}

impl LatticeRegression {
    /// Hessian, 17 nodes.
    pub const DEFAULT: Self = Self {
        penalty: Penalty::Hessian,
        nodes: 17,
    };
    /// Range of the number of nodes.
    pub const NODES: std::ops::RangeInclusive<usize> = 2..=33;

    /// Fits to n sites.
    ///
    /// # Errors
    /// [`FitError`] for bad numbers and for sites that do not determine what the penalty leaves free;
    /// [`FitError::Nodes`].
    pub fn fit(&self, data: Sites<'_>, smoothing: f64) -> Result<LatticeInterpolant, FitError> {
        let lattice = self.check(data, &[smoothing])?;
        let system = System::new(self.penalty, lattice, data);
        let factor = system
            .factor(smoothing)
            .ok_or_else(|| singular(data.sites))?;
        let right = system.right_side(data);
        Ok(LatticeInterpolant::new(
            lattice,
            &factor.solve(right.as_ref()),
        ))
    }

    /// Left-out residuals with the lattice held: eᵢ = rᵢ ÷ (1 − Hᵢᵢ), H the smoother. One right side for each site.
    ///
    /// # Errors
    /// Those of [`LatticeRegression::fit`], and [`FitError::Indispensable`].
    pub fn leave_one_out(
        &self,
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<Vec<LeaveOneOut>, FitError> {
        let lattice = self.check(data, smoothings)?;
        let system = System::new(self.penalty, lattice, data);
        let right = system.right_side(data);
        let one = |&smoothing: &f64| {
            let factor = system
                .factor(smoothing)
                .ok_or_else(|| singular(data.sites))?;
            let fitted = LatticeInterpolant::new(lattice, &factor.solve(right.as_ref()));
            let unit = factor.solve(system.weights().as_ref());
            let residual = data.sites.iter().enumerate().map(|(i, at)| {
                let reach = system.rows[i].iter().map(|(node, w)| w * unit[(*node, i)]);
                let own = 1.0 - reach.sum::<f64>() / system.variance[i];
                if own < INDISPENSABLE {
                    return Err(FitError::Indispensable { site: i });
                }
                let s = fitted.eval(*at);
                Ok(std::array::from_fn(|k| (data.values[i][k] - s[k]) / own))
            });
            Ok(LeaveOneOut {
                smoothing,
                residual: residual.collect::<Result<_, _>>()?,
            })
        };
        let all: Vec<Result<LeaveOneOut, FitError>> = smoothings.par_iter().map(one).collect();
        all.into_iter().collect()
    }

    fn check(&self, data: Sites<'_>, smoothings: &[f64]) -> Result<Lattice, FitError> {
        if !Self::NODES.contains(&self.nodes) {
            return Err(FitError::Nodes {
                found: self.nodes,
                least: *Self::NODES.start(),
                most: *Self::NODES.end(),
            });
        }
        // The radial scheme whose polynomials are what the penalty leaves free.
        let free = match self.penalty {
            Penalty::Laplacian => Rbf::new(Kernel::Linear),
            Penalty::Hessian => Rbf::new(Kernel::ThinPlate),
        };
        let used: Vec<f64> = smoothings.iter().map(|s| held(*s)).collect();
        free.check(data, &used)?;
        free.check_polynomials(data, LEAST_SMOOTHING)?;
        Ok(Lattice::around(data.sites, self.nodes))
    }
}

/// Bad values pass, to be refused.
fn held(smoothing: f64) -> f64 {
    if (0.0..LEAST_SMOOTHING).contains(&smoothing) {
        LEAST_SMOOTHING
    } else {
        smoothing
    }
}

/// A cubic lattice.
#[derive(Clone, Copy, Debug)]
struct Lattice {
    nodes: usize,
    low: [f64; 3],
    spacing: f64,
}

/// Nodes of one cell with trilinear weights and their derivatives.
type Corner = (usize, f64, [f64; 3]);

impl Lattice {
    fn around(sites: &[[f64; 3]], nodes: usize) -> Self {
        let low = |c: usize| sites.iter().map(|s| s[c]).fold(f64::INFINITY, f64::min);
        Self {
            nodes,
            low: [low(0), low(1), low(2)],
            spacing: largest_side(sites) / (nodes - 1) as f64,
        }
    }

    fn index(&self, [x, y, z]: [usize; 3]) -> usize {
        x + self.nodes * (y + self.nodes * z)
    }

    fn corners(&self, at: [f64; 3]) -> [Corner; 8] {
        let (mut cell, mut fraction) = ([0; 3], [0.0; 3]);
        for c in 0..3 {
            let position = (at[c] - self.low[c]) / self.spacing;
            // Not a number becomes cell 0 and keeps its fraction.
            cell[c] = (position.max(0.0) as usize).min(self.nodes - 2);
            fraction[c] = position - cell[c] as f64;
        }
        std::array::from_fn(|corner| {
            let up = [corner & 1, corner >> 1 & 1, corner >> 2];
            let weight = |c: usize| {
                if up[c] == 1 {
                    fraction[c]
                } else {
                    1.0 - fraction[c]
                }
            };
            let slope = |c: usize| if up[c] == 1 { 1.0 } else { -1.0 } / self.spacing;
            (
                self.index(std::array::from_fn(|c| cell[c] + up[c])),
                weight(0) * weight(1) * weight(2),
                [
                    slope(0) * weight(1) * weight(2),
                    weight(0) * slope(1) * weight(2),
                    weight(0) * weight(1) * slope(2),
                ],
            )
        })
    }

    /// Every pair of lattice directions with the nodes of the difference, as (node, coefficient), and its weight.
    fn differences(&self, penalty: Penalty, mut each: impl FnMut(&[(usize, f64)], f64)) {
        let n = self.nodes;
        let inside = |at: [usize; 3]| at.iter().all(|i| *i < n);
        for i in 0..n.pow(3) {
            let at = [i % n, i / n % n, i / n / n];
            let node = |step: [usize; 3]| {
                let to = std::array::from_fn(|c| at[c] + step[c]);
                inside(to).then(|| self.index(to))
            };
            let step =
                |axis: usize, by: usize| std::array::from_fn(|c| if c == axis { by } else { 0 });
            for axis in 0..3 {
                match penalty {
                    Penalty::Laplacian => {
                        if let Some(next) = node(step(axis, 1)) {
                            each(&[(i, -1.0), (next, 1.0)], self.spacing);
                        }
                    }
                    Penalty::Hessian => {
                        if let (Some(next), Some(after)) =
                            (node(step(axis, 1)), node(step(axis, 2)))
                        {
                            each(&[(i, 1.0), (next, -2.0), (after, 1.0)], 1.0 / self.spacing);
                        }
                        let other = (axis + 1) % 3;
                        let across: [usize; 3] =
                            std::array::from_fn(|c| usize::from(c == axis || c == other));
                        if let (Some(a), Some(b), Some(far)) =
                            (node(step(axis, 1)), node(step(other, 1)), node(across))
                        {
                            let mixed = [(i, 1.0), (a, -1.0), (b, -1.0), (far, 1.0)];
                            each(&mixed, 2.0 / self.spacing);
                        }
                    }
                }
            }
        }
    }
}

/// The normal equations, apart: WᵀV⁻¹W and the penalty.
struct System {
    count: usize,
    rows: Vec<Vec<(usize, f64)>>,
    variance: Vec<f64>,
    data: Symmetric,
    penalty: Symmetric,
}

impl System {
    fn new(penalty: Penalty, lattice: Lattice, data: Sites<'_>) -> Self {
        let row = |at: &[f64; 3]| lattice.corners(*at).map(|(node, w, _)| (node, w)).to_vec();
        let rows: Vec<Vec<(usize, f64)>> = data.sites.iter().map(row).collect();
        let variance = data
            .relative_variance
            .map_or(vec![1.0; rows.len()], <[f64]>::to_vec);
        let (mut fit, mut smooth) = (Symmetric::default(), Symmetric::default());
        for (row, variance) in rows.iter().zip(&variance) {
            square(&mut fit, row, 1.0 / variance);
        }
        lattice.differences(penalty, |difference, weight| {
            square(&mut smooth, difference, weight)
        });
        Self {
            count: lattice.nodes.pow(3),
            rows,
            variance,
            data: fit,
            penalty: smooth,
        }
    }

    /// `None` where the system is not positive definite to double precision.
    fn factor(&self, smoothing: f64) -> Option<SparseCholesky> {
        let matrix = self.penalty.scaled(held(smoothing)).plus(&self.data);
        SparseCholesky::new(self.count, &matrix)
    }

    /// WᵀV⁻¹f.
    fn right_side(&self, data: Sites<'_>) -> Mat<f64> {
        let mut right = Mat::zeros(self.count, 3);
        for (i, row) in self.rows.iter().enumerate() {
            for (node, w) in row {
                for k in 0..3 {
                    right[(*node, k)] += w * data.values[i][k] / self.variance[i];
                }
            }
        }
        right
    }

    /// Wᵀ: a column for each site.
    fn weights(&self) -> Mat<f64> {
        let mut weights = Mat::zeros(self.count, self.rows.len());
        for (i, row) in self.rows.iter().enumerate() {
            for (node, w) in row {
                weights[(*node, i)] += w;
            }
        }
        weights
    }
}

/// Adds weight · (Σ c b)² to a quadratic form.
fn square(form: &mut Symmetric, terms: &[(usize, f64)], weight: f64) {
    for (a, (i, c)) in terms.iter().enumerate() {
        for (j, d) in &terms[a..] {
            form.add(*i, *j, weight * c * d);
        }
    }
}

/// A fitted [`LatticeRegression`].
#[derive(Clone, Debug)]
pub struct LatticeInterpolant {
    lattice: Lattice,
    values: Vec<[f64; 3]>,
}

impl LatticeInterpolant {
    fn new(lattice: Lattice, solved: &Mat<f64>) -> Self {
        let row = |i| std::array::from_fn(|k| solved[(i, k)]);
        Self {
            lattice,
            values: (0..solved.nrows()).map(row).collect(),
        }
    }

    /// The node values, the first coordinate running fastest.
    pub fn node_values(&self) -> &[[f64; 3]] {
        &self.values
    }
}

impl Interpolant for LatticeInterpolant {
    fn eval(&self, at: [f64; 3]) -> [f64; 3] {
        let mut value = [0.0; 3];
        for (node, weight, _) in self.lattice.corners(at) {
            for (value, b) in value.iter_mut().zip(self.values[node]) {
                *value += weight * b;
            }
        }
        value
    }

    fn eval_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        let mut slope = Matrix3::zeros();
        for (node, _, by) in self.lattice.corners(at) {
            for (output, b) in self.values[node].iter().enumerate() {
                for (input, by) in by.iter().enumerate() {
                    slope[(output, input)] += by * b;
                }
            }
        }
        (self.eval(at), slope)
    }
}
