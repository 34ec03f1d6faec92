//! Sites sorted, scaled and with coincident ones merged, as a triangulation needs them.

use std::cmp::Ordering;

use crate::Sites;

/// Coordinates below this part of the largest one count as 0.
///
/// All coordinates are then multiples of 2⁻¹¹⁴ up to 4, so that the exact predicates, polynomials of
/// degree 5 at most, neither underflow nor overflow.
const LEAST: f64 = 1.0 / (1_u64 << 60) as f64;

/// Queries farther out than this many times the sites' largest coordinate have no answer: their
/// products would overflow.
const FARTHEST: f64 = (1_u128 << 100) as f64;

/// Distinct places in lexicographic order: the same whatever the order of the sites.
#[derive(Clone, Debug)]
pub(crate) struct Distinct {
    /// In units of `1 / scale`, the largest coordinate about 1.
    pub(crate) points: Vec<[f64; 3]>,
    /// Mean of the values observed at each.
    pub(crate) values: Vec<[f64; 3]>,
    /// Indices of the sites at each.
    pub(crate) members: Vec<Vec<usize>>,
    /// A power of two, so that scaling does not round.
    pub(crate) scale: f64,
}

impl Distinct {
    pub(crate) fn new(data: Sites<'_>) -> Self {
        let scale = scale(data.sites);
        let points: Vec<[f64; 3]> = data.sites.iter().map(|at| scaled(*at, scale)).collect();
        // By value within a place, so that the mean is summed in the same order whatever the sites' order.
        let key = |a: &usize, b: &usize| {
            order(points[*a], points[*b]).then(order(data.values[*a], data.values[*b]))
        };
        let mut sorted: Vec<usize> = (0..points.len()).collect();
        sorted.sort_by(key);
        let members: Vec<Vec<usize>> = sorted
            .chunk_by(|a, b| points[*a] == points[*b])
            .map(<[usize]>::to_vec)
            .collect();
        Self {
            points: members.iter().map(|group| points[group[0]]).collect(),
            values: members
                .iter()
                .map(|group| mean(group.iter().map(|i| data.values[*i])))
                .collect(),
            members,
            scale,
        }
    }

    /// A query in the units of the points; `None` if it is not finite or too far out.
    pub(crate) fn query(&self, at: [f64; 3]) -> Option<[f64; 3]> {
        let at = scaled(at, self.scale);
        at.iter().all(|v| v.abs() <= FARTHEST).then_some(at)
    }
}

/// Mean of values as the first one plus the mean difference, so that equal ones stay as they are.
pub(crate) fn mean(values: impl Iterator<Item = [f64; 3]>) -> [f64; 3] {
    let (mut first, mut excess, mut count) = (None, [0.0; 3], 0.0);
    for value in values {
        let first = first.get_or_insert(value);
        for k in 0..3 {
            excess[k] += value[k] - first[k];
        }
        count += 1.0;
    }
    first.map_or([f64::NAN; 3], |first: [f64; 3]| {
        std::array::from_fn(|k| first[k] + excess[k] / count)
    })
}

/// The power of two that brings the largest coordinate between 1 and 2, but for rounding and the ends of the range.
fn scale(sites: &[[f64; 3]]) -> f64 {
    let largest = sites.iter().flatten().fold(0.0, |m: f64, v| m.max(v.abs()));
    if largest == 0.0 {
        return 1.0;
    }
    // Within the range whose reciprocal is a normal number.
    2_f64.powi(-(largest.log2().floor().clamp(-1022.0, 1022.0) as i32))
}

/// Adding 0 makes −0 equal to +0.
fn scaled(at: [f64; 3], scale: f64) -> [f64; 3] {
    at.map(|v| v * scale)
        .map(|v| if v.abs() < LEAST { 0.0 } else { v + 0.0 })
}

fn order(a: [f64; 3], b: [f64; 3]) -> Ordering {
    (a[0].total_cmp(&b[0]))
        .then(a[1].total_cmp(&b[1]))
        .then(a[2].total_cmp(&b[2]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coincident_sites_become_their_mean_in_any_order() {
        let sites = [
            [3.0, 0.0, 1.0],
            [-0.0, 2.0, 0.0],
            [3.0, 0.0, 1.0],
            [0.0, 2.0, -0.0],
        ];
        let values = [0.1, 0.7, 0.3, 0.7].map(|v| [v; 3]);
        let got = Distinct::new(Sites::new(&sites, &values));
        assert_eq!(got.points, [[0.0, 1.0, 0.0], [1.5, 0.0, 0.5]]);
        assert_eq!(got.members, [[1, 3], [0, 2]]);
        assert_eq!(got.values[0], [0.7; 3]);
        let (mut sites, mut values) = (sites, values);
        sites.reverse();
        values.reverse();
        let turned = Distinct::new(Sites::new(&sites, &values));
        assert_eq!(turned.points, got.points);
        assert_eq!(turned.values, got.values);
    }

    #[test]
    fn scaling_is_a_power_of_two_and_survives_extremes() {
        for largest in [1e-300, 0.3, 1.0, 7e5, f64::MAX] {
            let sites = [[0.0, 0.5 * largest, -largest]];
            let got = Distinct::new(Sites::new(&sites, &[[0.0; 3]]));
            let top = got.points[0][2].abs();
            assert!((1.0..4.0).contains(&top), "{largest:e}: {top}");
            assert_eq!(got.points[0][1], -0.5 * got.points[0][2]);
            assert!(got.query([f64::INFINITY, 0.0, 0.0]).is_none());
        }
        let tiny = Distinct::new(Sites::new(&[[1e-320, 0.0, 0.0]], &[[0.0; 3]]));
        assert!((0.0..1.0).contains(&tiny.points[0][0]));
    }
}
