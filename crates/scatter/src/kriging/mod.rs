//! Kriging: the values as one draw of a Gaussian process, with a standard error between the sites.

mod anova_sum;
mod anova_table;
mod correlation;
mod estimate;
mod process;
mod scheme;

use faer::Mat;
use nalgebra::Matrix3;

pub use self::anova_sum::AnovaSum;
pub use self::anova_table::AnovaTable;
pub(crate) use self::correlation::Correlation;
pub use self::correlation::Smoothness;
pub use self::estimate::Estimate;
use self::process::Process;
pub use self::scheme::Kriging;
use crate::interpolant::each_into;
use crate::kernel_sum::Centres;
use crate::polynomial::Basis;
use crate::{Interpolant, Kernel};

/// A fitted [`Kriging`].
pub struct KrigingInterpolant {
    correlation: Correlation,
    sites: Vec<[f64; 3]>,
    sum: Sum,
    basis: Basis,
    process: Process,
    /// σ² of each output.
    variance: [f64; 3],
}

/// Σ αᵢ C(x, xᵢ), by the form of C.
enum Sum {
    Radial { centres: Centres, shape: f64 },
    Anova(AnovaSum),
}

fn rows(matrix: &Mat<f64>) -> Vec<[f64; 3]> {
    let row = |i| std::array::from_fn(|k| matrix[(i, k)]);
    (0..matrix.nrows()).map(row).collect()
}

impl Sum {
    fn new(correlation: &Correlation, sites: &[[f64; 3]], alpha: &[[f64; 3]]) -> Self {
        match *correlation {
            Correlation::Isotropic { smoothness, length } => {
                let kernel = match smoothness {
                    Smoothness::Matern32 => Kernel::Matern32,
                    Smoothness::Matern52 => Kernel::Matern52,
                    Smoothness::SquaredExponential => Kernel::Gaussian,
                };
                let shape = smoothness.shape(length);
                let scaled: Vec<[f64; 3]> = sites.iter().map(|s| s.map(|v| v * shape)).collect();
                Self::Radial {
                    centres: Centres::new(kernel, &scaled, alpha),
                    shape,
                }
            }
            Correlation::Anova {
                smoothness,
                lengths,
                weights,
            } => Self::Anova(AnovaSum::new(smoothness, lengths, weights, sites, alpha)),
        }
    }
}

impl KrigingInterpolant {
    fn new(
        correlation: Correlation,
        sites: &[[f64; 3]],
        basis: Basis,
        process: Process,
        variance: [f64; 3],
    ) -> Self {
        Self {
            correlation,
            sites: sites.to_vec(),
            sum: Sum::new(&correlation, sites, &rows(&process.weights)),
            basis,
            process,
            variance,
        }
    }

    fn trend(&self, at: [f64; 3]) -> [f64; 3] {
        let mut value = [0.0; 3];
        for (j, p) in self.basis.values(at).enumerate() {
            for (k, value) in value.iter_mut().enumerate() {
                *value += p * self.process.coefficients[(j, k)];
            }
        }
        value
    }

    /// σ² of the three outputs, in the units of the values, squared.
    pub fn signal_variance(&self) -> [f64; 3] {
        self.variance
    }

    /// Length of the isotropic correlation three times, or that of each axis, in the units of the sites.
    pub fn lengths(&self) -> [f64; 3] {
        match self.correlation {
            Correlation::Isotropic { length, .. } => [length; 3],
            Correlation::Anova { lengths, .. } => lengths,
        }
    }

    /// Shares of main effects, pairs and all three axes together in the variance; `None` for the isotropic form.
    pub fn effects(&self) -> Option<[f64; 3]> {
        match self.correlation {
            Correlation::Isotropic { .. } => None,
            Correlation::Anova { weights, .. } => Some(weights),
        }
    }
}

impl Interpolant for KrigingInterpolant {
    fn eval(&self, at: [f64; 3]) -> [f64; 3] {
        let mut value = match &self.sum {
            Sum::Radial { centres, shape } => centres.sum(at.map(|v| v * shape)),
            Sum::Anova(sum) => sum.value(at),
        };
        for (value, trend) in value.iter_mut().zip(self.trend(at)) {
            *value += trend;
        }
        value
    }

    fn eval_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        let (mut value, mut slope) = match &self.sum {
            Sum::Radial { centres, shape } => {
                let (value, slope) = centres.sum_with_gradient(at.map(|v| v * shape));
                (value, slope.map(|row| row.map(|v| v * shape)))
            }
            Sum::Anova(sum) => sum.value_with_gradient(at),
        };
        let terms = self.basis.values(at).zip(self.basis.gradients(at));
        for (j, (p, dp)) in terms.enumerate() {
            for k in 0..3 {
                let c = self.process.coefficients[(j, k)];
                value[k] += p * c;
                for axis in 0..3 {
                    slope[k][axis] += dp[axis] * c;
                }
            }
        }
        (
            value,
            Matrix3::from_fn(|output, input| slope[output][input]),
        )
    }

    fn eval_into(&self, at: &[[f64; 3]], out: &mut [[f64; 3]]) {
        match &self.sum {
            Sum::Radial { centres, shape } => {
                centres.sum_into(*shape, at, out);
                for (at, value) in at.iter().zip(out) {
                    for (value, trend) in value.iter_mut().zip(self.trend(*at)) {
                        *value += trend;
                    }
                }
            }
            Sum::Anova(_) => each_into(self, at, out),
        }
    }

    fn eval_lattice(&self, axes: [&[f64]; 3], out: &mut [[f64; 3]]) {
        assert_eq!(
            axes.iter().map(|a| a.len()).product::<usize>(),
            out.len(),
            "eval_lattice: one output for each node"
        );
        let [x, y, z] = axes;
        let rows = z.iter().flat_map(|&z| y.iter().map(move |&y| (y, z)));
        let nodes = rows.flat_map(|(y, z)| x.iter().map(move |&x| [x, y, z]));
        match &self.sum {
            Sum::Radial { .. } => {
                let at: Vec<[f64; 3]> = nodes.collect();
                self.eval_into(&at, out);
            }
            Sum::Anova(sum) => {
                for (at, out) in nodes.zip(out.iter_mut()) {
                    *out = self.trend(at);
                }
                sum.add_to_lattice(axes, out);
            }
        }
    }

    /// Of the process itself, without the noise of a new reading; n² operations.
    ///
    /// σ² (1 − kᵀC⁻¹k + uᵀ(PᵀC⁻¹P)⁻¹u), u = p(x) − PᵀC⁻¹k. The correlation is taken as known: what its estimation
    /// adds to the uncertainty is not in it.
    fn standard_error(&self, at: [f64; 3]) -> Option<[f64; 3]> {
        let n = self.sites.len();
        let mut column = vec![0.0; n];
        self.correlation.column(at, &self.sites, &mut column);
        let k = Mat::from_fn(n, 1, |i, _| column[i]);
        let solved = self.process.covariance.solve(k.as_ref());
        let mut relative = 1.0 - (k.transpose() * &solved)[(0, 0)];
        if let Some(trend) = &self.process.trend {
            let carried = self.process.solved.transpose() * &k;
            let p: Vec<f64> = self.basis.values(at).collect();
            let u = Mat::from_fn(p.len(), 1, |j, _| p[j] - carried[(j, 0)]);
            relative += (u.transpose() * trend.solve(u.as_ref()))[(0, 0)];
        }
        // Rounding can leave a tiny negative; NaN passes.
        let relative = if relative < 0.0 { 0.0 } else { relative };
        Some(self.variance.map(|v| (v * relative).sqrt()))
    }
}
