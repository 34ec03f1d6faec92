use std::collections::VecDeque;

use faer::Mat;

use super::{SMOOTHNESS, Scales};

/// Variance added to every reading, in PQ signal squared: a hundredth of a 12-bit step, so that patches that nearly
/// coincide leave a definite system.
const JITTER: f64 = 6e-12;

/// Parts that bend: three channels, and what lights where all do.
pub(super) const PARTS: usize = 4;

/// A drive as the process sees it.
#[derive(Clone, Copy)]
pub(super) struct Place {
    pub(super) drive: [f64; 3],
    /// On the axes of the bends.
    pub(super) warped: [f64; PARTS],
    /// Change of the encoded component k by each bend.
    pub(super) share: [[f64; PARTS]; 3],
}

/// Patches as the process sees them.
pub(super) struct Sites {
    pub(super) places: Vec<Place>,
    /// Noise variance of each encoded component.
    pub(super) noise: Vec<[f64; 3]>,
}

/// Means of the products of one, two and three correlations along the axes of drive.
fn orders(k: &[f64]) -> [f64; 3] {
    let [x, y, z] = [k[0], k[1], k[2]];
    [(x + y + z) / 3.0, (x * y + x * z + y * z) / 3.0, x * y * z]
}

/// Covariance of two places for each component, from their correlations.
fn weighed(
    scales: &Scales,
    (a, b): (&Place, &Place),
    bend: &[f64; PARTS],
    order: &[f64; 3],
) -> [f64; 3] {
    let (variance, orders) = (scales.bends(), scales.orders());
    let mixed: f64 = orders.iter().zip(order).map(|(w, e)| w * e).sum();
    let mixed = scales.interaction.powi(2) * mixed;
    std::array::from_fn(|k| {
        let parts = (0..PARTS).map(|p| a.share[k][p] * b.share[k][p] * variance[p] * bend[p]);
        parts.sum::<f64>() + mixed
    })
}

/// Covariance of two places for each component.
fn between(scales: &Scales, a: &Place, b: &Place) -> [f64; 3] {
    let of = |a: f64, b: f64, length: f64| SMOOTHNESS.correlation((a - b) / length).0;
    let bend: [f64; PARTS] =
        std::array::from_fn(|p| of(a.warped[p], b.warped[p], scales.channel_length));
    let order: [f64; 3] = std::array::from_fn(|c| of(a.drive[c], b.drive[c], scales.length));
    weighed(scales, (a, b), &bend, &orders(&order))
}

/// Correlations of all pairs of sites for the lengths asked for last: a search changes one scale at a time, and most
/// are no lengths.
pub(super) struct Pairs<'a> {
    sites: &'a Sites,
    bends: Recent<PARTS>,
    orders: Recent<3>,
}

/// Lengths asked for last, with what came of them.
type Recent<const N: usize> = VecDeque<(f64, Vec<[f64; N]>)>;

/// Lengths that are remembered: one that stands, and one that is tried on either side.
const REMEMBERED: usize = 3;

impl<'a> Pairs<'a> {
    pub(super) fn new(sites: &'a Sites) -> Self {
        Self {
            sites,
            bends: VecDeque::new(),
            orders: VecDeque::new(),
        }
    }

    /// Lower triangles of the covariance of the readings, a matrix for each component.
    pub(super) fn covariance(&mut self, scales: &Scales) -> [Mat<f64>; 3] {
        let places = &self.sites.places;
        let bend: fn(&[f64]) -> [f64; PARTS] = |k| std::array::from_fn(|p| k[p]);
        let warped: fn(&Place, usize) -> f64 = |a, p| a.warped[p];
        let drive: fn(&Place, usize) -> f64 = |a, c| a.drive[c];
        remember(
            &mut self.bends,
            places,
            scales.channel_length,
            (PARTS, warped),
            bend,
        );
        remember(&mut self.orders, places, scales.length, (3, drive), orders);
        let n = places.len();
        let mut all: [Mat<f64>; 3] = std::array::from_fn(|_| Mat::zeros(n, n));
        let mut pairs = self.bends[0].1.iter().zip(&self.orders[0].1);
        for (j, b) in places.iter().enumerate() {
            for ((i, a), (bend, order)) in places.iter().enumerate().skip(j).zip(&mut pairs) {
                let values = weighed(scales, (a, b), bend, order);
                for (matrix, value) in all.iter_mut().zip(values) {
                    matrix[(i, j)] = value;
                }
            }
            for (k, matrix) in all.iter_mut().enumerate() {
                matrix[(j, j)] += scales.noise.powi(2) * self.sites.noise[j][k] + JITTER;
            }
        }
        all
    }
}

/// Brings a length to the front, with the correlations of all pairs of the lower triangle, column by column.
fn remember<const N: usize>(
    recent: &mut Recent<N>,
    places: &[Place],
    length: f64,
    (axes, along): (usize, fn(&Place, usize) -> f64),
    joined: fn(&[f64]) -> [f64; N],
) {
    if let Some(at) = recent.iter().position(|(l, _)| *l == length) {
        recent.swap(0, at);
        return;
    }
    recent.truncate(REMEMBERED - 1);
    let mut pairs = Vec::with_capacity(places.len() * (places.len() + 1) / 2);
    let (mut distances, mut slopes) = (Vec::new(), vec![0.0; axes * places.len()]);
    for (j, b) in places.iter().enumerate() {
        let below = &places[j..];
        distances.clear();
        distances.extend(
            below.iter().flat_map(|a| {
                (0..axes).map(move |axis| (along(a, axis) - along(b, axis)) / length)
            }),
        );
        SMOOTHNESS.correlations(&mut distances, &mut slopes);
        pairs.extend(distances.chunks_exact(axes).map(joined));
    }
    recent.push_front((length, pairs));
}

/// Covariance of a place with the sites, a column for each component, and its own variance.
pub(super) fn covariance_with(
    sites: &Sites,
    scales: &Scales,
    place: &Place,
) -> ([Mat<f64>; 3], [f64; 3]) {
    let mut columns: [Mat<f64>; 3] = std::array::from_fn(|_| Mat::zeros(sites.places.len(), 1));
    for (i, site) in sites.places.iter().enumerate() {
        for (column, value) in columns.iter_mut().zip(between(scales, place, site)) {
            column[(i, 0)] = value;
        }
    }
    (columns, between(scales, place, place))
}
