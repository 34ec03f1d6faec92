//! The weights of a process whose readings have noise in common between the components.

use evenstep_scatter::Cholesky;
use faer::Mat;

use super::covariance::covariance;
use super::{Process, Scales};

/// Residual at which the solve ends, relative to that of zero: far below what noise leaves.
const TOLERANCE: f64 = 1e-5;
/// Steps it takes at most; noise of light some five times that of colour takes about fifty.
const MOST_STEPS: usize = 300;

/// Readings from which threads share a product: below, waking them takes as long.
const SHARED_FROM: usize = 400;

/// A column for each component.
type Columns = [Vec<f64>; 3];

impl Process {
    /// Weights of all components together, each reading with its whole noise covariance, by conjugate gradients from
    /// the weights that each component has by itself, whose factors precondition.
    ///
    /// A noise larger than the readings' own, which the scales may ask for, is what the model leaves. Nothing is known to
    /// be common to the components in that.
    ///
    /// # Source
    /// Hestenes & Stiefel (1952), "Methods of conjugate gradients for solving linear systems", J. Res. NBS 49(6).
    pub(super) fn joint_weights(&self, scales: &Scales, residual: &[[f64; 3]]) -> Vec<Mat<f64>> {
        let matrices = covariance(&self.sites, scales);
        let shared = scales.noise.powi(2).min(1.0);
        let apply = |x: &Columns| -> Columns {
            let mut out = each(x[0].len(), &|k| lower_times(&matrices[k], &x[k]));
            for (i, noise) in self.sites.noise.iter().enumerate() {
                for k in 0..3 {
                    for l in (0..3).filter(|l| *l != k) {
                        out[k][i] += shared * noise[(k, l)] * x[l][i];
                    }
                }
            }
            out
        };
        let precondition =
            |r: &Columns| -> Columns { each(r[0].len(), &|k| solved(&self.factors[k], &r[k])) };
        let right: Columns = std::array::from_fn(|k| residual.iter().map(|r| r[k]).collect());
        let mut x: Columns = std::array::from_fn(|k| self.weights[k].col_as_slice(0).to_vec());
        let end = TOLERANCE.powi(2) * dot(&right, &x);
        let mut r = right;
        add(&mut r, -1.0, &apply(&x));
        let mut z = precondition(&r);
        let mut rho = dot(&r, &z);
        let mut p = z.clone();
        for _ in 0..MOST_STEPS {
            if rho <= end {
                break;
            }
            let q = apply(&p);
            let alpha = rho / dot(&p, &q);
            add(&mut x, alpha, &p);
            add(&mut r, -alpha, &q);
            z = precondition(&r);
            let next = dot(&r, &z);
            for (p, z) in p.iter_mut().zip(&z) {
                for (p, z) in p.iter_mut().zip(z) {
                    *p = z + next / rho * *p;
                }
            }
            rho = next;
        }
        let column = |v: &Vec<f64>| Mat::from_fn(v.len(), 1, |i, _| v[i]);
        x.iter().map(column).collect()
    }
}

/// A symmetric matrix, of which the lower triangle is read, times a column.
fn lower_times(matrix: &Mat<f64>, x: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; x.len()];
    for (j, xj) in x.iter().enumerate() {
        let column = &matrix.col_as_slice(j)[j..];
        out[j] += column[0] * xj;
        let mut sum = 0.0;
        for (a, (out, x)) in column[1..]
            .iter()
            .zip(out[j + 1..].iter_mut().zip(&x[j + 1..]))
        {
            *out += a * xj;
            sum += a * x;
        }
        out[j] += sum;
    }
    out
}

/// The three components, side by side where there is enough to do.
fn each(n: usize, of: &(dyn Fn(usize) -> Vec<f64> + Sync)) -> Columns {
    if n < SHARED_FROM {
        return std::array::from_fn(of);
    }
    let (x, (y, z)) = rayon::join(|| of(0), || rayon::join(|| of(1), || of(2)));
    [x, y, z]
}

fn solved(factor: &Cholesky, right: &[f64]) -> Vec<f64> {
    let right = Mat::from_fn(right.len(), 1, |i, _| right[i]);
    factor.solve(right.as_ref()).col_as_slice(0).to_vec()
}

fn dot(a: &Columns, b: &Columns) -> f64 {
    let one = |(a, b): (&Vec<f64>, &Vec<f64>)| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    a.iter().zip(b).map(one).sum()
}

/// `a += t · b`.
fn add(a: &mut Columns, t: f64, b: &Columns) {
    for (a, b) in a.iter_mut().zip(b) {
        for (a, b) in a.iter_mut().zip(b) {
            *a += t * b;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::structured::tests::fitted;

    /// The weights solve the system written down from the definitions: three covariances, and the noise of each reading
    /// over its three components.
    #[test]
    fn the_weights_solve_the_whole_system() {
        /// Of a solve that ends at 1e-5 in the norm of the preconditioner.
        const RELATIVE: f64 = 1e-3;
        let (_, _, _, model) = fitted("wide-gamut");
        let (process, scales) = (&model.process, model.scales());
        let n = process.sites.places.len();
        let own = covariance(&process.sites, &scales);
        let within = |k: usize, i: usize, j: usize| own[k][(i.max(j), i.min(j))];
        // What the weights that components have by themselves are the answer to.
        let residual: Vec<[f64; 3]> = (0..n)
            .map(|i| {
                std::array::from_fn(|k| {
                    (0..n)
                        .map(|j| within(k, i, j) * process.weights[k][(j, 0)])
                        .sum()
                })
            })
            .collect();
        let joint = process.joint_weights(&scales, &residual);
        let (mut left, mut whole, mut moved) = (0.0_f64, 0.0_f64, 0.0_f64);
        for i in 0..n {
            for k in 0..3 {
                let mut sum: f64 = (0..n).map(|j| within(k, i, j) * joint[k][(j, 0)]).sum();
                for l in (0..3).filter(|l| *l != k) {
                    let shared = scales.noise.powi(2).min(1.0);
                    sum += shared * process.sites.noise[i][(k, l)] * joint[l][(i, 0)];
                }
                left += (residual[i][k] - sum).powi(2);
                whole += residual[i][k].powi(2);
                moved += (joint[k][(i, 0)] - process.weights[k][(i, 0)]).powi(2);
            }
        }
        assert!(left.sqrt() < RELATIVE * whole.sqrt(), "{left} {whole}");
        assert!(moved > 0.0);
    }
}
