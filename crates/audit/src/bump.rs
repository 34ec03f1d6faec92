use crate::light::{ITP_SCALE, Light};
use crate::walk::Guide;

/// A bend shorter than this is rounding, in ΔE ITP and in drive.
const NOTHING: f64 = 1e-12;

/// A colour on the scale of ΔE ITP, or a drive.
type Point = [f64; 3];

/// A place of a ramp that leaves the course of the places before and after it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Bump {
    /// How far, in ΔE ITP or in drive.
    pub(crate) size: f64,
    /// The code, as its place on the ramp.
    pub(crate) at: usize,
}

/// How many codes a place is from those it is held against: a cell of the lattice along the channel that changes most, so
/// that one node is seen in full; without a lattice the half-width of the moving mean.
pub(crate) fn lag(guide: &Guide, nodes: Option<usize>) -> usize {
    let cells = nodes.map(|n| n - 1).filter(|&cells| cells > 0);
    cells.map_or(guide.half, |cells| {
        let codes = (guide.codes.len() - 1) as f64 / cells as f64;
        (codes.round() as usize).max(1)
    })
}

/// Bumps of the light, code by code: how far a bend of what is shown lies outside everything between the target's bend and
/// the base correction's, where those on both its sides go the other way. Out of the panel's reach as well: what is shown
/// there is seen.
///
/// None on ramps too short for one.
pub(crate) fn of_light(shown: &Light, target: &Light, base: &Light, lag: usize) -> Vec<Bump> {
    let bend = |light: &Light, i: usize| bend([i - lag, i, i + lag].map(|at| point(light, at)));
    let beyond = |i: usize| {
        let (shown, wanted, base) = (bend(shown, i), bend(target, i), bend(base, i));
        outside(minus(shown, wanted), minus(base, wanted))
    };
    bumps(shown.itp.len(), lag, beyond)
}

/// Bumps of the drive, code by code: bends where those on both their sides go the other way.
pub(crate) fn of_drive(drive: &[Point], lag: usize) -> Vec<Bump> {
    let beyond = |i: usize| bend([drive[i - lag], drive[i], drive[i + lag]]);
    bumps(drive.len(), lag, beyond)
}

/// The largest, the first of equals.
pub(crate) fn largest(bumps: impl IntoIterator<Item = Bump>) -> Option<Bump> {
    bumps
        .into_iter()
        .reduce(|most, here| if here.size > most.size { here } else { most })
}

/// The largest of each stretch of codes whose bumps reach a limit.
pub(crate) fn from(bumps: &[Bump], limit: f64) -> Vec<Bump> {
    bumps
        .chunk_by(|a, b| (a.size >= limit) == (b.size >= limit))
        .filter_map(|stretch| largest(stretch.iter().copied()))
        .filter(|most| most.size >= limit)
        .collect()
}

/// A smooth curve bends one way, a change of slope once; a node that is moved bends the ramp at itself and half as much the
/// other way at both its neighbours. So no bend counts for more than twice what the bends on both its sides go the other way.
fn bumps(count: usize, lag: usize, bend: impl Fn(usize) -> Point) -> Vec<Bump> {
    let bends: Vec<Point> = (lag..count.saturating_sub(lag)).map(bend).collect();
    let size = |i: usize| {
        let here = bends[i];
        let length = dot(here, here).sqrt();
        // Where nothing bends there is no direction either.
        if length < NOTHING {
            return 0.0;
        }
        let against = |beside: Point| -2.0 * dot(here, beside) / length;
        let both = against(bends[i - lag]).min(against(bends[i + lag]));
        length.min(both.max(0.0))
    };
    (lag..bends.len().saturating_sub(lag))
        .map(|i| Bump {
            size: size(i),
            at: i + lag,
        })
        .collect()
}

fn point(light: &Light, at: usize) -> Point {
    let itp = light.itp[at];
    [itp.i, itp.t, itp.p].map(|v| ITP_SCALE * v)
}

/// How far the middle of three lies from the mean of its neighbours.
fn bend([before, here, after]: [Point; 3]) -> Point {
    [0, 1, 2].map(|c| here[c] - 0.5 * (before[c] + after[c]))
}

/// From the nearest point of the straight line between the origin and `end` to `at`.
fn outside(at: Point, end: Point) -> Point {
    let length = dot(end, end);
    let share = if length > 0.0 {
        (dot(at, end) / length).clamp(0.0, 1.0)
    } else {
        0.0
    };
    [0, 1, 2].map(|c| at[c] - share * end[c])
}

fn minus(a: Point, b: Point) -> Point {
    [0, 1, 2].map(|c| a[c] - b[c])
}

fn dot(a: Point, b: Point) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Few operations on numbers about 1.
    const ROUNDOFF: f64 = 1e-12;

    fn ramp(shift: impl Fn(usize) -> f64) -> Vec<Point> {
        (0..65).map(|i| [i as f64 / 64.0 + shift(i); 3]).collect()
    }

    #[test]
    fn a_node_that_is_moved_is_seen_in_full() {
        // Node 4 of cells of 8 codes, straight to its neighbours on both sides; three channels together.
        let moved = ramp(|i| -0.01 * (1.0 - (i as f64 - 32.0).abs() / 8.0).max(0.0));
        let all = of_drive(&moved, 8);
        let found = largest(all.iter().copied()).unwrap();
        assert!((found.size - 0.01 * 3.0_f64.sqrt()).abs() < ROUNDOFF);
        assert_eq!(found.at, 32);
        assert_eq!(from(&all, 0.5 * found.size), [found]);
        assert!(from(&all, 1.1 * found.size).is_empty());
    }

    #[test]
    fn curves_and_single_changes_of_slope_are_no_bumps() {
        let curve = ramp(|i| 0.1 * (i as f64 / 64.0).powi(2));
        let kink = ramp(|i| (i as f64 - 30.0).max(0.0) / 100.0);
        for smooth in [curve, kink] {
            assert!(of_drive(&smooth, 8).iter().all(|b| b.size < ROUNDOFF));
        }
        assert!(of_drive(&ramp(|_| 0.0)[..32], 8).is_empty());
    }

    #[test]
    fn what_lies_between_target_and_base_is_not_outside() {
        let between = outside([0.5, 0.0, 0.0], [1.0, 0.0, 0.0]);
        assert_eq!(between, [0.0; 3]);
        assert_eq!(outside([2.0, 1.0, 0.0], [1.0, 0.0, 0.0]), [1.0, 1.0, 0.0]);
        assert_eq!(outside([-1.0, 0.0, 2.0], [0.0; 3]), [-1.0, 0.0, 2.0]);
    }
}
