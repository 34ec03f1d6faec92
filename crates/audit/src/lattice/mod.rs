mod line;

use evenstep_lut::Lut3d;
use rayon::prelude::*;
use serde::Serialize;

use evenstep_colour::{percentile, root_mean_square};
use line::{Line, WINDOW, above};

/// Smallest lattice with a whole window of five steps.
const SMALLEST_FOR_WINDOW: usize = 6;

/// How the own channel of a lattice moves from node to node along one axis. Identity: mean 1, variance 0.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NeighbourSteps {
    /// Mean of the steps in units of the identity's step.
    pub mean: f64,
    /// Population variance of the steps.
    pub variance: f64,
    /// Smallest step; negative where the channel falls.
    pub min: f64,
    /// Node from which the smallest step starts, as (r, g, b) indices.
    pub min_node: [usize; 3],
    /// Largest step.
    pub max: f64,
    /// Node from which the largest step starts.
    pub max_node: [usize; 3],
    /// First node of the line with the largest variance of steps about its own mean.
    pub worst_line: [usize; 3],
    /// That variance.
    pub worst_line_variance: f64,
}

/// Variance of the step about its least-squares line in each window of five steps: Σ residual² / 3.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct LocalStepVariance {
    /// Mean over all windows of all lines of the three axes.
    pub mean: f64,
    /// 95th percentile.
    pub p95: f64,
    /// Largest.
    pub max: f64,
}

/// Second differences of the own channel along each axis, in units where a parabola x² gives 2.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SecondDifference {
    /// Root of the mean square per axis.
    pub rms: [f64; 3],
    /// 99th percentile of the magnitude per axis.
    pub p99: [f64; 3],
}

/// Figures of one axis.
pub(crate) struct AxisFigures {
    pub(crate) steps: NeighbourSteps,
    pub(crate) second_rms: f64,
    pub(crate) second_p99: f64,
    /// Largest local variance with the middle node of its window; `None` under six nodes.
    pub(crate) worst_local: Option<(f64, [usize; 3])>,
    /// Second difference of the largest magnitude with its middle node; `None` under three nodes.
    pub(crate) worst_second: Option<(f64, [usize; 3])>,
}

/// Steps and second differences along each axis, and the local step variances of all of them. Lines are visited in index
/// order.
pub(crate) fn axes(lattice: &Lut3d) -> (Vec<AxisFigures>, Vec<f64>) {
    let n = lattice.size();
    let windows = n.saturating_sub(WINDOW);
    // One stretch of memory for all, because the system clears every fresh page before it is written.
    let mut variances = vec![0.0; 3 * n * n * windows];
    let parts: Vec<&mut [f64]> = if windows == 0 {
        vec![&mut [], &mut [], &mut []]
    } else {
        variances.chunks_mut(n * n * windows).collect()
    };
    let figures = parts
        .into_par_iter()
        .enumerate()
        .map(|(axis, variances)| one_axis(lattice, axis, variances))
        .collect();
    (figures, variances)
}

/// `variances` has room for those of every line.
fn one_axis(lattice: &Lut3d, axis: usize, variances: &mut [f64]) -> AxisFigures {
    let n = lattice.size();
    let width = lattice.domain_max()[axis] - lattice.domain_min()[axis];
    let scale = (n - 1) as f64 / width;
    let stride = n.pow(axis as u32);
    let nodes = lattice.nodes();
    let (first, second) = ((axis + 1) % 3, (axis + 2) % 3);

    let mut steps = NeighbourSteps {
        mean: 0.0,
        variance: 0.0,
        min: f64::INFINITY,
        min_node: [0; 3],
        max: f64::NEG_INFINITY,
        max_node: [0; 3],
        worst_line: [0; 3],
        worst_line_variance: -1.0,
    };
    let lines = n * n;
    let mut curvatures = Vec::with_capacity(lines * n.saturating_sub(2));
    let (mut worst_local, mut worst_second) = (None, None);
    let mut line = Line::new(n);
    let windows = line.variances.len();
    let (mut sum, mut squares) = (0.0, 0.0);
    for j in 0..n {
        for i in 0..n {
            let mut start = [0; 3];
            start[first] = i;
            start[second] = j;
            let origin = lattice.index(start[0], start[1], start[2]);
            let along = nodes[origin..].iter().step_by(stride);
            for (value, node) in line.values.iter_mut().zip(along) {
                *value = node[axis];
            }
            line.measure(scale);
            let node = |k: usize| {
                let mut at = start;
                at[axis] = k;
                at
            };
            if let Some((fall, k)) = above(-steps.min, line.steps.iter().map(|s| -s)) {
                (steps.min, steps.min_node) = (-fall, node(k));
            }
            if let Some((rise, k)) = above(steps.max, line.steps.iter().copied()) {
                (steps.max, steps.max_node) = (rise, node(k));
            }
            let (mut line_sum, mut line_squares) = (0.0, 0.0);
            for &step in &line.steps {
                // About 1, the identity's step: an honest lattice stays near it, so little cancels.
                line_sum += step - 1.0;
                line_squares += (step - 1.0) * (step - 1.0);
            }
            let mean = line_sum / line.steps.len() as f64;
            let variance = (line_squares / line.steps.len() as f64 - mean * mean).max(0.0);
            if variance > steps.worst_line_variance {
                (steps.worst_line_variance, steps.worst_line) = (variance, start);
            }
            sum += line_sum;
            squares += line_squares;
            keep_larger(&mut worst_local, &line.variances, |k| node(k + WINDOW / 2));
            keep_larger(&mut worst_second, &line.curvatures, |k| node(k + 1));
            let at = (i + n * j) * windows;
            variances[at..at + windows].copy_from_slice(&line.variances);
            curvatures.extend(line.curvatures.iter().map(|c| c.abs()));
        }
    }
    let count = (lines * (n - 1)) as f64;
    let mean = sum / count;
    steps.mean = 1.0 + mean;
    steps.variance = (squares / count - mean * mean).max(0.0);
    AxisFigures {
        steps,
        second_rms: root_mean_square(curvatures.iter().copied()).unwrap_or(0.0),
        second_p99: percentile(&mut curvatures, 99.0).unwrap_or(0.0),
        worst_local,
        worst_second,
    }
}

/// Keeps the value of the largest magnitude, and the first of equals.
fn keep_larger(
    worst: &mut Option<(f64, [usize; 3])>,
    values: &[f64],
    node: impl Fn(usize) -> [usize; 3],
) {
    // Below every magnitude, so that a first one of 0 counts.
    let most = worst.map_or(-1.0, |(value, _)| value.abs());
    if let Some((_, k)) = above(most, values.iter().map(|v| v.abs())) {
        *worst = Some((values[k], node(k)));
    }
}

/// Statistics of the local step variances of all axes; `None` for lattices under six nodes.
pub(crate) fn local_step_variance(size: usize, mut values: Vec<f64>) -> Option<LocalStepVariance> {
    if size < SMALLEST_FOR_WINDOW {
        return None;
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let max = values.iter().copied().fold(0.0, f64::max);
    Some(LocalStepVariance {
        mean,
        p95: percentile(&mut values, 95.0)?,
        max,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_has_unit_steps_and_no_variance() {
        for size in [2, 17, 33] {
            for axis in axes(&Lut3d::identity(size)).0 {
                assert!((axis.steps.mean - 1.0).abs() < 1e-13);
                assert!(axis.steps.variance < 1e-24, "{}", axis.steps.variance);
                assert!(axis.second_rms < 1e-10);
            }
        }
        assert_eq!(local_step_variance(5, Vec::new()), None);
    }

    #[test]
    fn a_parabola_has_second_difference_two_and_no_local_variance() {
        // out = x²: steps (2i + 1)/(n − 1) lie on a line, second difference 2 everywhere.
        let lattice = Lut3d::from_fn(9, |s| s.map(|v| v * v));
        let (axes, variances) = axes(&lattice);
        for axis in &axes {
            assert!((axis.second_rms - 2.0).abs() < 1e-12);
            assert!((axis.second_p99 - 2.0).abs() < 1e-12);
            assert!((axis.steps.min - 0.125).abs() < 1e-12);
            assert!((axis.steps.max - 15.0 / 8.0).abs() < 1e-12);
        }
        assert!(local_step_variance(9, variances).unwrap().max < 1e-24);
    }

    #[test]
    fn one_raised_node_has_the_variance_computed_by_hand() {
        // Node 3 of the red line (g, b) = (1, 2) raised by half a step: its steps are 1 1 1.5 0.5 1 1 1.
        let mut lattice = Lut3d::identity(8);
        let at = lattice.index(3, 1, 2);
        lattice.nodes_mut()[at][0] += 0.5 / 7.0;
        let mut variances = vec![0.0; 8 * 8 * 3];
        let red = one_axis(&lattice, 0, &mut variances);
        assert_eq!(red.steps.max_node, [2, 1, 2]);
        assert_eq!(red.steps.min_node, [3, 1, 2]);
        assert_eq!(red.steps.worst_line, [0, 1, 2]);
        // (0.25 + 0.25) / 7 on that line, and over all 64 lines a 64th of it.
        assert!((red.steps.worst_line_variance - 0.5 / 7.0).abs() < 1e-12);
        assert!((red.steps.variance - 0.5 / 448.0).abs() < 1e-12);
        // Window 1 1 1.5 0.5 1 about its line: mean 1, slope −0.5/10; residuals −0.1, −0.05, 0.5, −0.45, 0.1
        // have squares 0.01 + 0.0025 + 0.25 + 0.2025 + 0.01 = 0.475.
        let largest = variances.iter().copied().fold(0.0, f64::max);
        assert!((largest - 0.475 / 3.0).abs() < 1e-12, "{largest}");
        // A window of five steps has six nodes; the place named is the third, and the first of the largest counts.
        let (most, node) = red.worst_local.unwrap();
        assert_eq!(most, largest);
        assert_eq!(node[1..], [1, 2]);
        // Second differences (s₁ − s₀)·7 of 1 1 1.5 0.5: 0, 3.5, −7 at node 3.
        let (second, node) = red.worst_second.unwrap();
        assert!((second + 7.0).abs() < 1e-9, "{second}");
        assert_eq!(node, [3, 1, 2]);
    }
}
