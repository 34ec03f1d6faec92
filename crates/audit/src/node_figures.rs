use evenstep_lut::{Lut1d, Lut3d};
use rayon::prelude::*;

use crate::cells::{self, Cells};
use crate::context::{PanelContext, Subject};
use crate::fold_depth::{FoldDepth, fold_depth};
use crate::folds;
use crate::lattice::{self, SecondDifference};
use crate::report::{Distance, LatticeReport};
use crate::why::{NEEDS_READINGS, Why};
use evenstep_lut::CodeScale;

/// Slack within which a node value counts as being at the end of the range: a tenth of a 16-bit code.
pub(crate) const AT_END: f64 = 1e-6;
/// Bisections of a curve: 2⁻⁵² of its domain.
const HALVINGS: usize = 52;

/// Whether a channel of a node stands at an end of its range, 0 to 1 of drive, before its own input does, or beyond it.
///
/// `node` is (r, g, b), each below the lattice's size, `channel` 0, 1 or 2; other indices panic.
#[must_use]
pub fn is_clipped(lattice: &Lut3d, node: [usize; 3], channel: usize) -> bool {
    let [r, g, b] = node;
    let (at, v) = (node[channel], lattice.node(r, g, b)[channel]);
    let low = v < -AT_END || v <= AT_END && at > 0;
    let high = v > 1.0 + AT_END || v >= 1.0 - AT_END && at < lattice.size() - 1;
    low || high
}

/// Whether any channel of any node of the cell above `low` is clipped.
pub(crate) fn cell_is_clipped(lattice: &Lut3d, low: [usize; 3]) -> bool {
    (0..8).any(|bits| {
        let node = [0, 1, 2].map(|c| low[c] + (bits >> c & 1));
        (0..3).any(|c| is_clipped(lattice, node, c))
    })
}

/// A value and the node where it is.
type AtNode = Option<(f64, [usize; 3])>;

/// What was found on the way to the figures, for the places where they are worst.
pub(crate) struct LatticeFinds {
    pub(crate) cells: Cells,
    /// How deep folds are in what the panel shows.
    pub(crate) fold_depth: Option<FoldDepth>,
    /// Largest local step variance.
    pub(crate) local_variance: AtNode,
    /// Second difference of the largest magnitude.
    pub(crate) second_difference: AtNode,
    /// Smallest neighbour step.
    pub(crate) least_step: AtNode,
}

/// All lattice figures. `ramp_signals` are the signals of the named ramps, `weight_bits` the places of the weights whose
/// rounding is measured.
pub(crate) fn lattice_report<'s>(
    subject: &Subject,
    lattice: &Lut3d,
    scale: CodeScale,
    context: Option<&PanelContext>,
    ramp_signals: impl Iterator<Item = &'s [f64; 3]>,
    weight_bits: u8,
) -> (LatticeReport, LatticeFinds) {
    let n = lattice.size();
    let ((axes, variances), found) = rayon::join(
        || lattice::axes(lattice),
        || cells::walk(lattice, weight_bits),
    );

    let mut crossed = vec![false; n * n * n];
    for signal in ramp_signals {
        let [r, g, b] = cell_of(lattice, subject.curves, *signal, scale);
        crossed[lattice.index(r, g, b)] = true;
    }
    let on_ramp = |[r, g, b]: [usize; 3]| crossed[lattice.index(r, g, b)];
    let cell_is_reached = |cell: [usize; 3]| {
        context.is_none_or(|context| {
            (0..8).all(|bits| {
                let corner = [0, 1, 2].map(|c| cell[c] + (bits >> c & 1));
                (context.reachable)(node_signal(lattice, subject.curves, scale, corner))
            })
        })
    };
    let reached: Option<&(dyn Fn([usize; 3]) -> bool + Sync)> =
        context.map(|_| &cell_is_reached as _);
    let clipped = |cell| cell_is_clipped(lattice, cell);
    let folds = folds::count(&found.bad, on_ramp, reached, clipped);
    let depth =
        context.map(|context| fold_depth(lattice, subject.curves, &found, on_ramp, scale, context));

    let mut why = Why::default();
    let three =
        |of: &dyn Fn(&lattice::AxisFigures) -> f64| [of(&axes[0]), of(&axes[1]), of(&axes[2])];
    let step_variance = three(&|a| a.steps.variance);
    let second_difference = SecondDifference {
        rms: three(&|a| a.second_rms),
        p99: three(&|a| a.second_p99),
    };
    let larger = |of: &dyn Fn(&lattice::AxisFigures) -> AtNode| {
        let all = axes.iter().filter_map(of);
        // The first of equals.
        all.fold(None, |best: AtNode, here| match best {
            Some(most) if most.0.abs() >= here.0.abs() => best,
            _ => Some(here),
        })
    };
    let finds = LatticeFinds {
        local_variance: larger(&|a| a.worst_local),
        second_difference: larger(&|a| a.worst_second),
        least_step: axes
            .iter()
            .map(|a| (a.steps.min, a.steps.min_node))
            .reduce(|best, here| if here.0 < best.0 { here } else { best }),
        cells: found,
        fold_depth: depth,
    };
    let neighbour_steps = axes.into_iter().map(|axis| axis.steps).collect();
    let local =
        lattice::local_step_variance(n, variances).ok_or("needs a lattice of six nodes or more");
    let values = node_values(lattice);
    let report = LatticeReport {
        nodes: n,
        step_variance,
        neighbour_steps,
        local_step_variance: why.note("local_step_variance", local),
        second_difference,
        folds,
        fold_depth_itp: why.note("fold_depth_itp", depth.map(|d| d.itp).ok_or(NEEDS_READINGS)),
        fold_depth_cell: depth.and_then(|d| d.cell),
        clipped_nodes: values.clipped,
        clipped_low: values.clipped_low,
        clipped_high: values.clipped_high,
        min: values.min,
        max: values.max,
        non_finite: values.non_finite,
        distance_from_identity: values.distance,
        duplicate_planes: [0, 1, 2].map(|axis| duplicate_planes(lattice, axis)),
        why,
    };
    (report, finds)
}

/// Lowest node of the cell a signal falls into; `curves` are those in front of the lattice.
pub(crate) fn cell_of(
    lattice: &Lut3d,
    curves: Option<&Lut1d>,
    signal: [f64; 3],
    scale: CodeScale,
) -> [usize; 3] {
    let position = signal.map(|v| scale.position_from_signal(v));
    let position = curves.map_or(position, |curves| curves.sample(position));
    let (min, max) = (lattice.domain_min(), lattice.domain_max());
    let last = lattice.size() - 1;
    [0, 1, 2].map(|c| {
        let at = (position[c] - min[c]) / (max[c] - min[c]) * last as f64;
        // A cast saturates: below the domain is cell 0.
        (at as usize).min(last - 1)
    })
}

/// The signal in 0 to 1 that lands on a node of a lattice, or comes nearest to it.
///
/// `curves` are those in front of the lattice; `scale` says which positions are signals.
#[must_use]
pub fn node_signal(
    lattice: &Lut3d,
    curves: Option<&Lut1d>,
    scale: CodeScale,
    [r, g, b]: [usize; 3],
) -> [f64; 3] {
    let node = lattice.position(r, g, b);
    let position = curves.map_or(node, |curves| before_curves(curves, node));
    position.map(|v| scale.signal_from_position(v).clamp(0.0, 1.0))
}

/// The input for which rising curves give `wanted`; a flat stretch gives its lower end.
fn before_curves(curves: &Lut1d, wanted: [f64; 3]) -> [f64; 3] {
    let (mut low, mut high) = (curves.domain_min(), curves.domain_max());
    for _ in 0..HALVINGS {
        let middle = [0, 1, 2].map(|c| 0.5 * (low[c] + high[c]));
        let got = curves.sample(middle);
        for c in 0..3 {
            if got[c] < wanted[c] {
                low[c] = middle[c];
            } else {
                high[c] = middle[c];
            }
        }
    }
    high
}

struct NodeValues {
    clipped: usize,
    clipped_low: [usize; 3],
    clipped_high: [usize; 3],
    min: [f64; 3],
    max: [f64; 3],
    non_finite: usize,
    distance: Distance,
}

fn node_values(lattice: &Lut3d) -> NodeValues {
    let n = lattice.size();
    // Once for each level rather than for each node: a position costs a division.
    let levels: Vec<Level> = (0..n).map(|i| Level::new(lattice, i)).collect();
    let planes: Vec<PlaneValues> = lattice
        .nodes()
        .par_chunks(n * n)
        .enumerate()
        .map(|(b, nodes)| PlaneValues::of(nodes, b, &levels))
        .collect();
    let count = |of: &dyn Fn(&PlaneValues) -> usize| planes.iter().map(of).sum();
    let each = |of: &dyn Fn(&PlaneValues, usize) -> usize| [0, 1, 2].map(|c| count(&|p| of(p, c)));
    let ends = |of: &dyn Fn(&PlaneValues, usize) -> f64, end: fn(f64, f64) -> f64, from: f64| {
        [0, 1, 2].map(|c| planes.iter().map(|p| of(p, c)).fold(from, end))
    };
    // Plane by plane, so that the order of the sum, and its last bits, do not depend on the threads.
    let squares: f64 = planes.iter().map(|p| p.squares).sum();
    NodeValues {
        clipped: count(&|p| p.clipped),
        clipped_low: each(&|p, c| p.clipped_low[c]),
        clipped_high: each(&|p, c| p.clipped_high[c]),
        min: ends(&|p, c| p.min[c], f64::min, f64::INFINITY),
        max: ends(&|p, c| p.max[c], f64::max, f64::NEG_INFINITY),
        non_finite: count(&|p| p.non_finite),
        distance: Distance {
            rms: (squares / (3 * n * n * n) as f64).sqrt(),
            max: planes.iter().map(|p| p.farthest).fold(0.0, f64::max),
        },
    }
}

/// Where the nodes with one index stand along each axis, and from where on they are clipped: at the ends of an axis only
/// beyond the end of the range, where they should be at it.
struct Level {
    position: [f64; 3],
    low: f64,
    high: f64,
}

impl Level {
    fn new(lattice: &Lut3d, i: usize) -> Self {
        let (first, last) = (i == 0, i == lattice.size() - 1);
        Self {
            position: lattice.position(i, i, i),
            low: if first { (-AT_END).next_down() } else { AT_END },
            high: if last {
                (1.0 + AT_END).next_up()
            } else {
                1.0 - AT_END
            },
        }
    }
}

/// What is known of the nodes of one blue level.
struct PlaneValues {
    clipped: usize,
    clipped_low: [usize; 3],
    clipped_high: [usize; 3],
    min: [f64; 3],
    max: [f64; 3],
    non_finite: usize,
    /// Sum of the squared distances of channels from the identity.
    squares: f64,
    /// The largest of those distances.
    farthest: f64,
}

impl PlaneValues {
    fn of(nodes: &[[f64; 3]], b: usize, levels: &[Level]) -> Self {
        let mut found = Self {
            clipped: 0,
            clipped_low: [0; 3],
            clipped_high: [0; 3],
            min: [f64::INFINITY; 3],
            max: [f64::NEG_INFINITY; 3],
            non_finite: 0,
            squares: 0.0,
            farthest: 0.0,
        };
        for (row, g) in nodes.chunks(levels.len()).zip(levels) {
            for (out, r) in row.iter().zip(levels) {
                let at = [r, g, &levels[b]];
                let mut is_clipped = false;
                for c in 0..3 {
                    let v = out[c];
                    found.non_finite += usize::from(!v.is_finite());
                    found.min[c] = if v < found.min[c] { v } else { found.min[c] };
                    found.max[c] = if v > found.max[c] { v } else { found.max[c] };
                    let (low, high) = (v <= at[c].low, v >= at[c].high);
                    found.clipped_low[c] += usize::from(low);
                    found.clipped_high[c] += usize::from(high);
                    is_clipped |= low | high;
                    let distance = (v - at[c].position[c]).abs();
                    found.squares += distance * distance;
                    if distance > found.farthest {
                        found.farthest = distance;
                    }
                }
                found.clipped += usize::from(is_clipped);
            }
        }
        found
    }
}

/// Planes across an axis that equal the plane before them in every node.
fn duplicate_planes(lattice: &Lut3d, axis: usize) -> usize {
    let n = lattice.size();
    let (first, second) = ((axis + 1) % 3, (axis + 2) % 3);
    let value = |k: usize, i: usize, j: usize| {
        let mut at = [k; 3];
        (at[first], at[second]) = (i, j);
        lattice.node(at[0], at[1], at[2])
    };
    let same = |k: &usize| (0..n).all(|j| (0..n).all(|i| value(*k, i, j) == value(k - 1, i, j)));
    (1..n).filter(same).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_is_not_clipped_and_a_limited_channel_is() {
        let identity = node_values(&Lut3d::identity(9));
        assert_eq!((identity.clipped, identity.non_finite), (0, 0));
        assert!(identity.distance.max < 1e-15);
        // min(1.25·r, 1) reaches 1 at r = 0.8; of nine nodes 7/8 alone lies between, on 81 lines.
        let limited = Lut3d::from_fn(9, |s| [(1.25 * s[0]).min(1.0), s[1], s[2]]);
        let values = node_values(&limited);
        assert_eq!(values.clipped, 81);
        assert_eq!(values.clipped_high, [81, 0, 0]);
        assert!((values.distance.max - (1.0 - 0.875_f64).max(0.25 * 0.75)).abs() < 1e-12);
    }

    #[test]
    fn equal_planes_are_counted_per_axis() {
        let stairs = Lut3d::from_fn(5, |s| [(2.0 * s[0]).floor() / 2.0, s[1], s[2]]);
        // Red nodes 0 ¼ ½ ¾ 1 give 0 0 ½ ½ 1.
        assert_eq!(
            [0, 1, 2].map(|axis| duplicate_planes(&stairs, axis)),
            [2, 0, 0]
        );
    }

    #[test]
    fn curves_are_undone() {
        let curves = Lut1d::from_fn(257, |v| [v * v, v.sqrt(), v]);
        let back = before_curves(&curves, curves.sample([0.3, 0.6, 0.9]));
        for (got, want) in back.iter().zip([0.3, 0.6, 0.9]) {
            assert!((got - want).abs() < 1e-12, "{got} {want}");
        }
    }
}
