//! The weights of a process whose readings have noise in common between the components.

use faer::Mat;

use super::{Process, Scales};

/// Residual at which the solve ends, relative to that of zero: far below what noise leaves.
const TOLERANCE: f64 = 1e-5;
/// Steps it takes at most; noise of light some five times that of colour takes about fifty.
const MOST_STEPS: usize = 300;

/// Readings from which threads share a solve: below, waking them takes as long.
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
    /// No product with a covariance is taken: the system is what the factors are of, M, and a little more, and M p follows
    /// the recurrence of p, with r in place of z = M⁻¹ r.
    ///
    /// # Source
    /// Hestenes & Stiefel (1952), "Methods of conjugate gradients for solving linear systems", J. Res. NBS 49(6).
    pub(super) fn joint_weights(&self, scales: &Scales, residual: &[[f64; 3]]) -> Vec<Mat<f64>> {
        let shared = scales.noise.powi(2).min(1.0);
        // Adds what the noise of one component has in common with the others'.
        let add_common = |out: &mut Columns, t: f64, x: &Columns| {
            for (i, noise) in self.sites.noise.iter().enumerate() {
                for k in 0..3 {
                    for l in (0..3).filter(|l| *l != k) {
                        out[k][i] += t * shared * noise[(k, l)] * x[l][i];
                    }
                }
            }
        };
        let right: Columns = std::array::from_fn(|k| residual.iter().map(|r| r[k]).collect());
        let mut x: Columns = std::array::from_fn(|k| self.weights[k].col_as_slice(0).to_vec());
        let end = TOLERANCE.powi(2) * dot(&right, &x);
        // M x is the right side: what is left is common noise alone.
        let mut r: Columns = std::array::from_fn(|k| vec![0.0; x[k].len()]);
        add_common(&mut r, -1.0, &x);
        let mut z = self.solved(&r);
        let mut rho = dot(&r, &z);
        let mut p = z.clone();
        let mut of_factors = r.clone();
        for _ in 0..MOST_STEPS {
            if rho <= end {
                break;
            }
            let mut q = of_factors.clone();
            add_common(&mut q, 1.0, &p);
            let alpha = rho / dot(&p, &q);
            add(&mut x, alpha, &p);
            add(&mut r, -alpha, &q);
            z = self.solved(&r);
            let next = dot(&r, &z);
            let onward = |old: &mut Columns, new: &Columns| {
                for (old, new) in old.iter_mut().flatten().zip(new.iter().flatten()) {
                    *old = new + next / rho * *old;
                }
            };
            onward(&mut p, &z);
            onward(&mut of_factors, &r);
            rho = next;
        }
        let column = |v: &Vec<f64>| Mat::from_fn(v.len(), 1, |i, _| v[i]);
        x.iter().map(column).collect()
    }

    /// Each component by its own factor, side by side where there is enough to do.
    fn solved(&self, right: &Columns) -> Columns {
        let of = |k: usize| {
            let column = Mat::from_fn(right[k].len(), 1, |i, _| right[k][i]);
            let solved = self.factors[k].solve(column.as_ref());
            solved.col_as_slice(0).to_vec()
        };
        if right[0].len() < SHARED_FROM {
            return std::array::from_fn(of);
        }
        let (x, (y, z)) = rayon::join(|| of(0), || rayon::join(|| of(1), || of(2)));
        [x, y, z]
    }
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
    use crate::structured::covariance::Correlated;
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
        let own =
            Correlated::new(&process.sites.places, &scales).covariance(&process.sites, &scales);
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
