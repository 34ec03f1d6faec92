use evenstep_lut::Lut3d;

use crate::cells::is_clipped;
use crate::fault::{FaultKind, Found, SizeUnit};

/// Share of a step by which neighbouring steps must differ, to and fro, to be stair-steps.
///
/// Our choice, the share up to which the audit never blames unevenness (AAPM TG18 (2005) clause 4.3, from memory:
/// contrast response of primary displays within 10 %).
const UNEVEN: f64 = evenstep_audit::thresholds::UNEVENNESS_IGNORED;
/// Steps count as at least this share of the identity's, so that what hardly moves is not called uneven.
///
/// Our choice: a correction that flattens a channel to a quarter has left it all but still.
const LEAST_STEP: f64 = 0.25;
/// Differences of steps in a row that alternate: long, short, long, short. Two are what one kink in a curve leaves when
/// it falls between nodes.
const ALTERNATIONS: usize = 3;
/// The same at the end of a line, where one step is missing; only told from a kink where the base correction says what
/// the curve should be.
const AT_AN_END: usize = 2;

/// A line of nodes: its first node and the distance in index to the next.
struct Line {
    start: usize,
    stride: usize,
}

/// Windows of lines of nodes in which the steps of the channel that should rise alternate between long and short.
///
/// Lines are those along the three axes, each with its own channel, and the neutral, cyan, magenta and yellow diagonals
/// from black. `base` holds a correction whose own curvature is no fault, one triple for each node; `reached` whether
/// the panel shows the target of a node.
pub(crate) fn stairs(
    lattice: &Lut3d,
    base: Option<&[[f64; 3]]>,
    reached: Option<&[bool]>,
) -> Vec<Found> {
    let n = lattice.size();
    let strides = [1, n, n * n];
    let mut found = Vec::new();
    for axis in 0..3 {
        let (a, b) = (strides[(axis + 1) % 3], strides[(axis + 2) % 3]);
        for start in (0..n * n).map(|k| k % n * a + k / n * b) {
            let line = Line {
                start,
                stride: strides[axis],
            };
            walk(lattice, base, reached, &line, axis, &mut found);
        }
    }
    for rising in [
        [true; 3],
        [false, true, true],
        [true, false, true],
        [true, true, false],
    ] {
        let stride = (0..3).filter(|&c| rising[c]).map(|c| strides[c]).sum();
        for channel in (0..3).filter(|&c| rising[c]) {
            let line = Line { start: 0, stride };
            walk(lattice, base, reached, &line, channel, &mut found);
        }
    }
    found
}

fn walk(
    lattice: &Lut3d,
    base: Option<&[[f64; 3]]>,
    reached: Option<&[bool]>,
    line: &Line,
    channel: usize,
    found: &mut Vec<Found>,
) {
    let n = lattice.size();
    let at = |k: usize| line.start + k * line.stride;
    let value = |k: usize| lattice.nodes()[at(k)][channel];
    let shape = |k: usize| value(k) - base.map_or(0.0, |base| base[at(k)][channel]);
    let least = LEAST_STEP / (n - 1) as f64;
    // Difference of the steps to and from node k.
    let bend = |k: usize| shape(k + 1) - 2.0 * shape(k) + shape(k - 1);
    let mut window = |first: usize, count: usize| {
        let nodes = first - 1..=first + count;
        if reached.is_some_and(|reached| !nodes.clone().all(|k| reached[at(k)])) {
            return;
        }
        // Beside a clip steps are uneven, and whether a clip is meant is known with the panel alone.
        if base.is_none() && nodes.clone().any(|k| is_clipped(lattice, at(k), channel)) {
            return;
        }
        let steps: f64 = (first - 1..first + count)
            .map(|k| (value(k + 1) - value(k)).abs())
            .sum();
        let step = (steps / (count + 1) as f64).max(least);
        let bends: Vec<f64> = (first..first + count).map(bend).collect();
        let alternates = bends.windows(2).all(|w| w[0] * w[1] < 0.0);
        let smallest = bends
            .iter()
            .fold(f64::INFINITY, |least, b| least.min(b.abs()));
        if alternates && smallest > UNEVEN * step {
            let node = at(first - 1);
            found.push(Found {
                kind: FaultKind::StairSteps,
                ramp: None,
                size: smallest / step,
                unit: SizeUnit::StepShare,
                between: None,
                node: Some([node % n, node / n % n, node / (n * n)]),
                nodes: (first..first + count).map(at).collect(),
            });
        }
    };
    for first in 1..(n - 1).saturating_sub(ALTERNATIONS - 1) {
        window(first, ALTERNATIONS);
    }
    if base.is_some() && n > AT_AN_END + 1 {
        window(1, AT_AN_END);
        window(n - 1 - AT_AN_END, AT_AN_END);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Curves, clips and toes have one kink at most; raised nodes of one line are found on that line alone.
    #[test]
    fn alternating_steps_are_found_and_curves_are_not() {
        let curve = |gamma: f64| Lut3d::from_fn(17, |s| s.map(|v| v.powf(gamma)));
        for gamma in [0.45, 0.8, 1.0, 1.2, 2.2] {
            assert!(stairs(&curve(gamma), None, None).is_empty(), "{gamma}");
        }
        let kinked = Lut3d::from_fn(17, |s| s.map(|v| (1.3 * v - 0.1).clamp(0.0, 1.0)));
        assert!(stairs(&kinked, None, None).is_empty());
        let mut one = Lut3d::identity(9);
        for r in [2, 4, 6] {
            let at = one.index(r, 5, 3);
            one.nodes_mut()[at][0] += 0.25 / 8.0;
        }
        let found = stairs(&one, None, None);
        assert!(!found.is_empty());
        let line = |i: &usize| i / 9 == 5 + 9 * 3;
        assert!(found.iter().all(|f| f.nodes.iter().all(line)));
    }

    /// The curvature of the base correction is no fault, what departs from it is; also beside black.
    #[test]
    fn the_base_says_what_the_curve_should_be() {
        let wavy = Lut3d::from_fn(9, |s| s.map(|v| v + 0.04 * (v * 8.0 * 3.0).sin()));
        assert!(!stairs(&wavy, None, None).is_empty());
        assert!(stairs(&wavy, Some(wavy.nodes()), None).is_empty());
        let identity = Lut3d::identity(9);
        let crushed = Lut3d::from_fn(9, |s| s.map(|v| if v < 0.2 { 0.0 } else { v }));
        assert!(stairs(&crushed, None, None).is_empty());
        assert!(!stairs(&crushed, Some(identity.nodes()), None).is_empty());
        let out_of_reach = vec![false; 729];
        assert!(stairs(&crushed, Some(identity.nodes()), Some(&out_of_reach)).is_empty());
    }
}
