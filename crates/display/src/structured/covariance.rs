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

/// Covariance of two places for each component.
fn between(scales: &Scales, a: &Place, b: &Place) -> [f64; 3] {
    let of = |a: f64, b: f64, length: f64| SMOOTHNESS.correlation((a - b) / length).0;
    let variance = scales.bends();
    let bend: [f64; PARTS] =
        std::array::from_fn(|p| variance[p] * of(a.warped[p], b.warped[p], scales.channel_length));
    let [x, y, z]: [f64; 3] = std::array::from_fn(|c| of(a.drive[c], b.drive[c], scales.length));
    let [one, two, three] = scales.orders();
    let mixed = scales.interaction.powi(2)
        * (one * (x + y + z) / 3.0 + two * (x * y + x * z + y * z) / 3.0 + three * x * y * z);
    std::array::from_fn(|k| {
        let parts = (0..PARTS).map(|p| a.share[k][p] * b.share[k][p] * bend[p]);
        parts.sum::<f64>() + mixed
    })
}

/// Lower triangles of the covariance of the readings, a matrix for each component.
pub(super) fn covariance(sites: &Sites, scales: &Scales) -> [Mat<f64>; 3] {
    let n = sites.places.len();
    let mut all: [Mat<f64>; 3] = std::array::from_fn(|_| Mat::zeros(n, n));
    for (j, b) in sites.places.iter().enumerate() {
        for (i, a) in sites.places.iter().enumerate().skip(j) {
            for (matrix, value) in all.iter_mut().zip(between(scales, a, b)) {
                matrix[(i, j)] = value;
            }
        }
        for (k, matrix) in all.iter_mut().enumerate() {
            matrix[(j, j)] += scales.noise.powi(2) * sites.noise[j][k] + JITTER;
        }
    }
    all
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
