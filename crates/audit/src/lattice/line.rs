//! Figures along one line of nodes, as vector instructions.

#![allow(
    clippy::needless_range_loop,
    reason = "windows are read from five slices at one index"
)]

use multiversion::multiversion;

/// Steps per window of the local step variance, and its degrees of freedom: five steps less a line.
pub(super) const WINDOW: usize = 5;
const FREEDOM: f64 = 3.0;

/// Room for the figures of one line of `n` nodes.
pub(super) struct Line {
    /// The nodes' own channel.
    pub(super) values: Vec<f64>,
    /// Steps in units of the identity's.
    pub(super) steps: Vec<f64>,
    /// Variances of windows of steps.
    pub(super) variances: Vec<f64>,
    /// Second differences.
    pub(super) curvatures: Vec<f64>,
}

impl Line {
    pub(super) fn new(n: usize) -> Self {
        Self {
            values: vec![0.0; n],
            steps: vec![0.0; n - 1],
            variances: vec![0.0; n.saturating_sub(WINDOW)],
            curvatures: vec![0.0; n - 2],
        }
    }

    /// Fills in what follows from the values; `scale` is steps per unit of the domain.
    pub(super) fn measure(&mut self, scale: f64) {
        measure(
            &self.values,
            scale,
            &mut self.steps,
            &mut self.variances,
            &mut self.curvatures,
        );
    }
}

#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl", "x86_64+avx2"))]
fn measure(
    values: &[f64],
    scale: f64,
    steps: &mut [f64],
    variances: &mut [f64],
    curvatures: &mut [f64],
) {
    for (step, (a, b)) in steps.iter_mut().zip(values.iter().zip(&values[1..])) {
        *step = (b - a) * scale;
    }
    let count = variances.len();
    if count > 0 {
        let (a, b, c) = (&steps[..count], &steps[1..][..count], &steps[2..][..count]);
        let (d, e) = (&steps[3..][..count], &steps[4..][..count]);
        for k in 0..count {
            variances[k] = residual_variance([a[k], b[k], c[k], d[k], e[k]]);
        }
    }
    for (curvature, (a, b)) in curvatures.iter_mut().zip(steps.iter().zip(&steps[1..])) {
        *curvature = (b - a) * scale;
    }
}

/// Σ residual² / 3 of five values about their least-squares line.
#[inline(always)]
fn residual_variance([a, b, c, d, e]: [f64; WINDOW]) -> f64 {
    let mean = (a + b + c + d + e) / WINDOW as f64;
    // Abscissae −2..=2, whose squares sum to 10.
    let slope = (2.0 * (e - a) + d - b) / 10.0;
    let square = |value: f64, x: f64| {
        let residual = value - mean - slope * x;
        residual * residual
    };
    let squares = square(a, -2.0) + square(b, -1.0) + square(c, 0.0) + square(d, 1.0);
    (squares + square(e, 2.0)) / FREEDOM
}

/// The largest of `sizes` with its place, the first of equals, if it exceeds `most`.
pub(super) fn above(most: f64, sizes: impl Iterator<Item = f64> + Clone) -> Option<(f64, usize)> {
    let largest = sizes
        .clone()
        .fold(most, |most, size| if size > most { size } else { most });
    if largest > most {
        let mut places = sizes.enumerate();
        places
            .find(|&(_, size)| size == largest)
            .map(|(at, size)| (size, at))
    } else {
        None
    }
}
