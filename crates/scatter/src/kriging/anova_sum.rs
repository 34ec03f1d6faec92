//! Sums of ANOVA correlations over all sites, eight at a time.

#![expect(
    clippy::needless_range_loop,
    reason = "loops over lanes and axes read several arrays at one index"
)]

use faer::linalg::matmul::matmul;
use faer::{Accum, Mat, Par};
use multiversion::{multiversion, target::target_cfg_f};
use rayon::prelude::*;

use super::correlation::Smoothness;
use crate::radial::{self, Radial};

/// Sites per run.
const RUN: usize = 8;

/// Sites with the weights of their three outputs; the last run is filled up with weights of 0.
#[derive(Clone, Debug)]
struct Run {
    site: [[f64; RUN]; 3],
    weight: [[f64; RUN]; 3],
}

/// Σ αᵢ C(x, xᵢ) for three outputs, C = w₁ e₁ + w₂ e₂ + w₃ e₃ with e the means of the products of one, two and three
/// per-axis correlations.
#[derive(Clone, Debug)]
pub struct AnovaSum {
    smoothness: Smoothness,
    /// ε of each axis.
    shape: [f64; 3],
    /// w₁/3, w₂/3, w₃.
    order: [f64; 3],
    runs: Vec<Run>,
}

/// Value and Jacobian `[output][input]`.
type Both = ([f64; 3], [[f64; 3]; 3]);

impl AnovaSum {
    /// `lengths` of the axes, in the units of the sites; `weights` w₁, w₂, w₃; one triple of `alpha` for each site.
    pub fn new(
        smoothness: Smoothness,
        lengths: [f64; 3],
        weights: [f64; 3],
        sites: &[[f64; 3]],
        alpha: &[[f64; 3]],
    ) -> Self {
        let shape = lengths.map(|l| smoothness.shape(l));
        let pack = |triples: &[[f64; 3]], scale: [f64; 3]| {
            std::array::from_fn(|c| {
                std::array::from_fn(|lane| triples.get(lane).map_or(0.0, |t| t[c] * scale[c]))
            })
        };
        let runs = sites.chunks(RUN).zip(alpha.chunks(RUN));
        Self {
            smoothness,
            shape,
            order: [weights[0] / 3.0, weights[1] / 3.0, weights[2]],
            runs: runs
                .map(|(site, alpha)| Run {
                    site: pack(site, shape),
                    weight: pack(alpha, [1.0; 3]),
                })
                .collect(),
        }
    }

    /// The three outputs at a point.
    pub fn value(&self, at: [f64; 3]) -> [f64; 3] {
        sum::<false>(self, at).0
    }

    /// The three outputs and their Jacobian, `[output][input]`.
    pub fn value_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], [[f64; 3]; 3]) {
        sum::<true>(self, at)
    }
}

impl AnovaSum {
    /// The sums at every node of a lattice, the first axis fastest, added to `out`.
    pub(super) fn add_to_lattice(&self, axes: [&[f64]; 3], out: &mut [[f64; 3]]) {
        let along = |c: usize| -> Vec<Vec<f64>> {
            let sites: Vec<f64> = self.lanes(|run| &run.site).iter().map(|s| s[c]).collect();
            let row = |x: &f64| {
                let at = x * self.shape[c];
                let squares = sites.iter().map(|s| (at - s) * (at - s));
                squares.map(|s| self.axis_correlation(s)).collect()
            };
            axes[c].iter().map(row).collect()
        };
        self.add_products([along(0), along(1), along(2)], out);
    }

    /// Σ αᵢ (w₁ e₁ + w₂ e₂ + w₃ e₃) for all triples of rows of three factors, `factors[axis][row][site]`, added to `out`.
    ///
    /// With k₁, k₂, k₃ the factors, the sum is one over k₁ u + v, where u and v depend on the other two axes only: for
    /// each plane of the last axis that is one matrix product.
    pub(super) fn add_products(&self, factors: [Vec<Vec<f64>>; 3], out: &mut [[f64; 3]]) {
        let alpha: Vec<[f64; 3]> = self.lanes(|run| &run.weight);
        let [first, second, third] = factors;
        let (n, nx, ny) = (alpha.len(), first.len(), second.len());
        // α k₁ for the three outputs, one below the other.
        let left = Mat::from_fn(3 * nx, n, |row, s| alpha[s][row / nx] * first[row % nx][s]);
        let [one, two, three] = self.order;
        out.par_chunks_mut(nx * ny)
            .zip(&third)
            .for_each(|(plane, k3)| {
                let u = Mat::from_fn(n, ny, |s, y| {
                    let k2 = second[y][s];
                    one + two * (k2 + k3[s]) + three * k2 * k3[s]
                });
                let mut product = Mat::<f64>::zeros(3 * nx, ny);
                // One thread: planes are what is shared out.
                matmul(
                    product.as_mut(),
                    Accum::Replace,
                    left.as_ref(),
                    u.as_ref(),
                    1.0,
                    Par::Seq,
                );
                for (y, row) in plane.chunks_mut(nx).enumerate() {
                    let mut rest = [0.0; 3];
                    for (s, alpha) in alpha.iter().enumerate() {
                        let (k2, k3) = (second[y][s], k3[s]);
                        let v = one * (k2 + k3) + two * k2 * k3;
                        for (rest, alpha) in rest.iter_mut().zip(alpha) {
                            *rest += alpha * v;
                        }
                    }
                    for (x, value) in row.iter_mut().enumerate() {
                        for (k, value) in value.iter_mut().enumerate() {
                            *value += product[(k * nx + x, y)] + rest[k];
                        }
                    }
                }
            });
    }

    /// Sites and the shape of the correlation along an axis, as [`add_products`](Self::add_products) counts them.
    pub(super) fn along(&self, axis: usize) -> (Vec<f64>, f64) {
        let sites = self.lanes(|run| &run.site);
        let shape = self.shape[axis];
        (sites.iter().map(|s| s[axis] / shape).collect(), shape)
    }

    /// How smooth the correlation is.
    pub(super) fn smoothness(&self) -> Smoothness {
        self.smoothness
    }

    fn lanes(&self, of: impl Fn(&Run) -> &[[f64; RUN]; 3]) -> Vec<[f64; 3]> {
        let lane = |run, i| std::array::from_fn(|c| of(run)[c][i]);
        let runs = self.runs.iter();
        runs.flat_map(|run| (0..RUN).map(move |i| (run, i)))
            .map(|(run, i)| lane(run, i))
            .collect()
    }

    /// Of one axis, at a squared distance in units of its shape.
    fn axis_correlation(&self, square: f64) -> f64 {
        match self.smoothness {
            Smoothness::Matern32 => radial::Matern32::radial::<false>(square).0,
            Smoothness::Matern52 => radial::Matern52::radial::<false>(square).0,
            Smoothness::SquaredExponential => radial::Gaussian::radial::<false>(square).0,
        }
    }
}

/// The two entry points, compiled once for each target.
fn sum<const GRADIENT: bool>(anova: &AnovaSum, at: [f64; 3]) -> Both {
    if GRADIENT {
        with_gradient(anova, at)
    } else {
        (without_gradient(anova, at), [[0.0; 3]; 3])
    }
}

#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl+avx2+fma", "x86_64+avx2+fma"))]
fn without_gradient(anova: &AnovaSum, at: [f64; 3]) -> [f64; 3] {
    const FMA: bool = target_cfg_f!(target_feature = "fma");
    match anova.smoothness {
        Smoothness::Matern32 => sum_of::<FMA, false, radial::Matern32>(anova, at).0,
        Smoothness::Matern52 => sum_of::<FMA, false, radial::Matern52>(anova, at).0,
        Smoothness::SquaredExponential => sum_of::<FMA, false, radial::Gaussian>(anova, at).0,
    }
}

#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl+avx2+fma", "x86_64+avx2+fma"))]
fn with_gradient(anova: &AnovaSum, at: [f64; 3]) -> Both {
    const FMA: bool = target_cfg_f!(target_feature = "fma");
    match anova.smoothness {
        Smoothness::Matern32 => sum_of::<FMA, true, radial::Matern32>(anova, at),
        Smoothness::Matern52 => sum_of::<FMA, true, radial::Matern52>(anova, at),
        Smoothness::SquaredExponential => sum_of::<FMA, true, radial::Gaussian>(anova, at),
    }
}

#[inline(always)]
fn sum_of<const FMA: bool, const GRADIENT: bool, R: Radial>(
    anova: &AnovaSum,
    at: [f64; 3],
) -> Both {
    let at: [f64; 3] = std::array::from_fn(|c| at[c] * anova.shape[c]);
    let [one, two, three] = anova.order;
    let mut total = [[0.0; RUN]; 3];
    let mut slope = [[[0.0; RUN]; 3]; 3];
    for run in &anova.runs {
        let (mut k, mut fall) = ([[0.0; RUN]; 3], [[0.0; RUN]; 3]);
        for c in 0..3 {
            for i in 0..RUN {
                let d = at[c] - run.site[c][i];
                let (phi, psi) = R::radial::<FMA>(d * d);
                k[c][i] = phi;
                fall[c][i] = psi * d;
            }
        }
        let mut c = [0.0; RUN];
        for i in 0..RUN {
            let (pair, sum) = (k[0][i] * k[1][i], k[0][i] + k[1][i]);
            c[i] = one * (sum + k[2][i]) + two * (pair + sum * k[2][i]) + three * pair * k[2][i];
        }
        for output in 0..3 {
            for i in 0..RUN {
                total[output][i] += run.weight[output][i] * c[i];
            }
        }
        if GRADIENT {
            for axis in 0..3 {
                let (p, q) = (&k[(axis + 1) % 3], &k[(axis + 2) % 3]);
                let mut by = [0.0; RUN];
                for i in 0..RUN {
                    by[i] = fall[axis][i] * (one + two * (p[i] + q[i]) + three * p[i] * q[i]);
                }
                for output in 0..3 {
                    for i in 0..RUN {
                        slope[output][axis][i] += run.weight[output][i] * by[i];
                    }
                }
            }
        }
    }
    let reduce = |lane: [f64; RUN]| lane.iter().sum::<f64>();
    let slope = slope.map(|row| row.map(reduce));
    (
        total.map(reduce),
        slope.map(|row| std::array::from_fn(|c| row[c] * anova.shape[c])),
    )
}
