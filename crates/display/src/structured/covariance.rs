use std::collections::VecDeque;

use faer::Mat;
use nalgebra::Matrix3;
use rayon::prelude::*;

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
    /// Noise covariance of the encoded components.
    pub(super) noise: Vec<Matrix3<f64>>,
}

/// Axes along which places are correlated, and what the process makes of those correlations.
struct Axes<const N: usize> {
    along: fn(&Place) -> [f64; N],
    joined: fn([f64; N]) -> [f64; N],
}

/// Each bend has an axis of its own.
const BENDS: Axes<PARTS> = Axes {
    along: |place| place.warped,
    joined: |k| k,
};

/// Means of the products of one, two and three correlations along the axes of drive.
const ORDERS: Axes<3> = Axes {
    along: |place| place.drive,
    joined: |[x, y, z]| [(x + y + z) / 3.0, (x * y + x * z + y * z) / 3.0, x * y * z],
};

impl<const N: usize> Axes<N> {
    /// Of the first place with every one, itself among them.
    fn column(&self, places: &[Place], length: f64) -> Vec<[f64; N]> {
        let first = (self.along)(&places[0]);
        let away = |place: &Place| {
            let own = (self.along)(place);
            std::array::from_fn::<f64, N, _>(|axis| (own[axis] - first[axis]) / length)
        };
        let mut all: Vec<[f64; N]> = places.iter().map(away).collect();
        let flat = all.as_flattened_mut();
        let mut slopes = vec![0.0; flat.len()];
        SMOOTHNESS.correlations(flat, &mut slopes);
        all.into_iter().map(self.joined).collect()
    }

    fn pair(&self, a: &Place, b: &Place, length: f64) -> [f64; N] {
        let (a, b) = ((self.along)(a), (self.along)(b));
        let each = |axis: usize| SMOOTHNESS.correlation((a[axis] - b[axis]) / length).0;
        (self.joined)(std::array::from_fn(each))
    }
}

/// Variances of the bends, and of the interaction by its orders.
struct Variances {
    bends: [f64; PARTS],
    orders: [f64; 3],
}

impl Variances {
    fn new(scales: &Scales) -> Self {
        Self {
            bends: scales.bends(),
            orders: scales.orders().map(|w| scales.interaction.powi(2) * w),
        }
    }

    /// Covariance of two places for each component, from their correlations.
    fn weigh(&self, a: &Place, b: &Place, bend: &[f64; PARTS], order: &[f64; 3]) -> [f64; 3] {
        let mixed: f64 = self.orders.iter().zip(order).map(|(w, e)| w * e).sum();
        std::array::from_fn(|k| {
            let parts = (0..PARTS).map(|p| a.share[k][p] * b.share[k][p] * self.bends[p] * bend[p]);
            parts.sum::<f64>() + mixed
        })
    }

    /// Of the first place with every one, itself among them, from their correlations.
    fn column(
        &self,
        places: &[Place],
        bends: &[[f64; PARTS]],
        orders: &[[f64; 3]],
    ) -> impl Iterator<Item = [f64; 3]> {
        let each = places.iter().zip(bends.iter().zip(orders));
        each.map(|(place, (bend, order))| self.weigh(place, &places[0], bend, order))
    }

    fn between(&self, scales: &Scales, a: &Place, b: &Place) -> [f64; 3] {
        let bend = BENDS.pair(a, b, scales.channel_length);
        self.weigh(a, b, &bend, &ORDERS.pair(a, b, scales.length))
    }
}

/// Columns that a thread takes at least.
const SHARED_COLUMNS: usize = 128;

/// Correlations of every site with those from it on, which stay when the process is linearised anew: seven numbers a
/// pair.
pub(super) struct Correlated(Vec<Correlations>);

/// Of one site, along the axes of the bends and by orders of interaction.
type Correlations = (Vec<[f64; PARTS]>, Vec<[f64; 3]>);

impl Correlated {
    pub(super) fn new(places: &[Place], scales: &Scales) -> Self {
        let column = |j: usize| {
            let below = &places[j..];
            (
                BENDS.column(below, scales.channel_length),
                ORDERS.column(below, scales.length),
            )
        };
        let columns = (0..places.len()).into_par_iter();
        Self(columns.with_min_len(SHARED_COLUMNS).map(column).collect())
    }

    /// Lower triangles of the covariance of the readings, a matrix for each component.
    pub(super) fn covariance(&self, sites: &Sites, scales: &Scales) -> [Mat<f64>; 3] {
        let variances = Variances::new(scales);
        let columns: Vec<Vec<[f64; 3]>> = (0..sites.places.len())
            .into_par_iter()
            .with_min_len(SHARED_COLUMNS)
            .map(|j| {
                let (bends, orders) = &self.0[j];
                variances
                    .column(&sites.places[j..], bends, orders)
                    .collect()
            })
            .collect();
        from_columns(sites, scales, columns.into_iter())
    }
}

/// The same from the covariances of every site with those from it on.
fn from_columns(
    sites: &Sites,
    scales: &Scales,
    columns: impl Iterator<Item = impl IntoIterator<Item = [f64; 3]>>,
) -> [Mat<f64>; 3] {
    let n = sites.places.len();
    let mut all: [Mat<f64>; 3] = std::array::from_fn(|_| Mat::zeros(n, n));
    for (j, values) in columns.enumerate() {
        for (i, values) in (j..n).zip(values) {
            for (matrix, value) in all.iter_mut().zip(values) {
                matrix[(i, j)] = value;
            }
        }
        for (k, matrix) in all.iter_mut().enumerate() {
            matrix[(j, j)] += scales.noise.powi(2) * sites.noise[j][(k, k)] + JITTER;
        }
    }
    all
}

/// Correlations of all pairs of sites for the lengths asked for last: a search changes one scale at a time, and most
/// are no lengths. Seven numbers a pair and a length: for the few sites of a search, where [`Correlated`] has all readings and one length.
pub(super) struct Pairs<'a> {
    sites: &'a Sites,
    bends: Recent<PARTS>,
    orders: Recent<3>,
}

/// Lengths asked for last, with the columns that came of them.
type Recent<const N: usize> = VecDeque<(f64, Vec<Vec<[f64; N]>>)>;

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

    /// As [`Correlated::covariance`].
    pub(super) fn covariance(&mut self, scales: &Scales) -> [Mat<f64>; 3] {
        let places = &self.sites.places;
        let bends = remember(&mut self.bends, &BENDS, places, scales.channel_length);
        let orders = remember(&mut self.orders, &ORDERS, places, scales.length);
        let variances = Variances::new(scales);
        let columns = bends.iter().zip(orders).enumerate();
        let columns =
            columns.map(|(j, (bends, orders))| variances.column(&places[j..], bends, orders));
        from_columns(self.sites, scales, columns)
    }
}

/// The columns of a length, from those remembered where it is one of them.
fn remember<'r, const N: usize>(
    recent: &'r mut Recent<N>,
    axes: &Axes<N>,
    places: &[Place],
    length: f64,
) -> &'r [Vec<[f64; N]>] {
    if let Some(at) = recent.iter().position(|(l, _)| *l == length) {
        recent.swap(0, at);
    } else {
        recent.truncate(REMEMBERED - 1);
        let columns = (0..places.len()).map(|j| axes.column(&places[j..], length));
        recent.push_front((length, columns.collect()));
    }
    &recent[0].1
}

/// Covariance of a place with the sites, a column for each component, and its own variance.
pub(super) fn covariance_with(
    sites: &Sites,
    scales: &Scales,
    place: &Place,
) -> ([Mat<f64>; 3], [f64; 3]) {
    let variances = Variances::new(scales);
    let mut columns: [Mat<f64>; 3] = std::array::from_fn(|_| Mat::zeros(sites.places.len(), 1));
    for (i, site) in sites.places.iter().enumerate() {
        let values = variances.between(scales, place, site);
        for (column, value) in columns.iter_mut().zip(values) {
            column[(i, 0)] = value;
        }
    }
    (columns, variances.between(scales, place, place))
}
