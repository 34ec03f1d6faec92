//! An ANOVA sum as a tensor product of cubic splines on the unit cube: its cost does not grow with the sites.

use multiversion::multiversion;

use super::anova_sum::AnovaSum;
use super::correlation::Smoothness;

/// Intervals of an axis for each length of the correlation. A clamped cubic spline with step h misses a function by
/// 5/384 h⁴ max|f⁗| at most (Hall & Meyer 1976, from memory): for Matérn 5/2, |f⁗| ≤ 25/ℓ⁴, that is 3e-5 of a correlation.
const PER_LENGTH: f64 = 10.0;
/// Fewest and most intervals: the table of the most is 9.2 MiB, and lengths that ask for more carry little between sites.
const FEWEST: usize = 16;
const MOST: usize = 64;

/// [`AnovaSum`] on `[0, 1]³`, tabulated.
///
/// The correlation along each axis is replaced by its cubic spline interpolant with the slopes at both ends; since the
/// sum is one of products along axes, its table is that of the products of the spline coefficients.
///
/// Each output is within 3·10⁻⁵ Σ|α| of the sum for each axis whose correlation is replaced, three at most, where the
/// lengths are at least 10/64 ≈ 0.16; with a shorter length ℓ the part of its axis grows as (10/(64 ℓ))⁴. The slopes
/// along an axis are within 1.2·10⁻³ Σ|α| / ℓ where all lengths are so, and grow as the third power below. Both with weights of the orders that add up to 1.
/// Takes 9.2 MiB at most.
///
/// # Source
/// C. A. Hall and W. W. Meyer, "Optimal error bounds for cubic spline interpolation", J. Approx. Theory 16 (1976), from
/// memory: 5/384 h⁴ max|f⁗| for the value, 1/24 h³ max|f⁗| for the slope.
pub struct AnovaTable {
    /// Intervals along each axis; it has 3 more coefficients.
    intervals: [usize; 3],
    /// Padded to four, the first axis fastest.
    coefficients: Vec<[f64; 4]>,
}

impl AnovaTable {
    /// Tabulates a sum; `None` for [`Smoothness::Matern32`], whose third derivative jumps at a site, so that the bound
    /// does not hold.
    #[must_use]
    pub fn new(sum: &AnovaSum) -> Option<Self> {
        match sum.smoothness() {
            Smoothness::Matern32 => return None,
            Smoothness::Matern52 | Smoothness::SquaredExponential => {}
        }
        let mut intervals = [0; 3];
        let factors = std::array::from_fn(|axis| {
            let (sites, shape) = sum.along(axis);
            let per_axis = (PER_LENGTH * shape / sum.smoothness().shape(1.0)).ceil();
            let n = (per_axis as usize).clamp(FEWEST, MOST);
            intervals[axis] = n;
            let mut rows = vec![vec![0.0; sites.len()]; n + 3];
            for (i, site) in sites.iter().enumerate() {
                let spline = spline(n, |x| correlation(sum.smoothness(), shape, x - site));
                for (row, c) in rows.iter_mut().zip(spline) {
                    row[i] = c;
                }
            }
            rows
        });
        let count = intervals.map(|n| n + 3).iter().product();
        let mut all = vec![[0.0; 3]; count];
        sum.add_products(factors, &mut all);
        Some(Self {
            intervals,
            coefficients: all.into_iter().map(|[x, y, z]| [x, y, z, 0.0]).collect(),
        })
    }

    /// The three outputs at a point; one outside the cube is moved to its face.
    #[must_use]
    pub fn value(&self, at: [f64; 3]) -> [f64; 3] {
        let [x, y, z] = std::array::from_fn(|c| Piece::new(self.intervals[c], at[c]));
        let [a, b, c, _] = value(self, &x, &y, &z);
        [a, b, c]
    }

    /// The three outputs and their Jacobian, `[output][input]`.
    #[must_use]
    pub fn value_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], [[f64; 3]; 3]) {
        let [x, y, z] = std::array::from_fn(|c| Piece::new(self.intervals[c], at[c]));
        let [value, by_x, by_y, by_z] = with_gradient(self, &x, &y, &z);
        (
            [value[0], value[1], value[2]],
            std::array::from_fn(|k| [by_x[k], by_y[k], by_z[k]]),
        )
    }

    fn row(&self, x: usize, y: usize, z: usize) -> &[[f64; 4]] {
        let [nx, ny, _] = self.intervals.map(|n| n + 3);
        let start = x + nx * (y + ny * z);
        &self.coefficients[start..start + 4]
    }
}

/// Correlation along an axis at a distance, and its slope.
fn correlation(smoothness: Smoothness, shape: f64, distance: f64) -> (f64, f64) {
    let per_length = shape / smoothness.shape(1.0);
    let (value, slope) = smoothness.correlation(distance * per_length);
    (value, slope * per_length)
}

/// Coefficients of the cubic spline on `n` intervals of `[0, 1]` with the values of `f` at the knots and its slopes at
/// the ends.
fn spline(n: usize, f: impl Fn(f64) -> (f64, f64)) -> Vec<f64> {
    let step = 1.0 / n as f64;
    let (first, last) = (f(0.0), f(1.0));
    let mut right: Vec<f64> = (0..=n).map(|i| 6.0 * f(i as f64 * step).0).collect();
    right[0] += 2.0 * step * first.1;
    right[n] -= 2.0 * step * last.1;
    // 1, 4, 1 along the diagonal; 4, 2 in the first row and 2, 4 in the last, from the slopes there.
    let mut above = vec![0.0; n + 1];
    let mut pivot = 4.0;
    above[0] = 2.0 / pivot;
    right[0] /= pivot;
    for i in 1..=n {
        let below = if i == n { 2.0 } else { 1.0 };
        pivot = 4.0 - below * above[i - 1];
        above[i] = 1.0 / pivot;
        right[i] = (right[i] - below * right[i - 1]) / pivot;
    }
    for i in (0..n).rev() {
        right[i] -= above[i] * right[i + 1];
    }
    let mut all = Vec::with_capacity(n + 3);
    all.push(right[1] - 2.0 * step * first.1);
    all.extend(&right);
    all.push(right[n - 1] + 2.0 * step * last.1);
    all
}

/// The interval a coordinate lies in, with the four basis values and their slopes.
struct Piece {
    first: usize,
    value: [f64; 4],
    slope: [f64; 4],
}

impl Piece {
    fn new(intervals: usize, at: f64) -> Self {
        let n = intervals as f64;
        let position = at.clamp(0.0, 1.0) * n;
        let first = (position as usize).min(intervals - 1);
        let t = position - first as f64;
        let s = 1.0 - t;
        Self {
            first,
            value: [
                s * s * s / 6.0,
                (3.0 * t * t * t - 6.0 * t * t + 4.0) / 6.0,
                (3.0 * s * s * s - 6.0 * s * s + 4.0) / 6.0,
                t * t * t / 6.0,
            ],
            slope: [
                -0.5 * s * s * n,
                (1.5 * t * t - 2.0 * t) * n,
                (2.0 * s - 1.5 * s * s) * n,
                0.5 * t * t * n,
            ],
        }
    }
}

#[multiversion(targets("x86_64+avx2+fma"))]
fn value(table: &AnovaTable, x: &Piece, y: &Piece, z: &Piece) -> [f64; 4] {
    let mut total = [0.0; 4];
    for k in 0..4 {
        for j in 0..4 {
            let row = table.row(x.first, y.first + j, z.first + k);
            let weight = y.value[j] * z.value[k];
            for (c, w) in row.iter().zip(x.value) {
                for (total, c) in total.iter_mut().zip(c) {
                    *total += weight * w * c;
                }
            }
        }
    }
    total
}

/// The value and its slopes along the three axes.
#[multiversion(targets("x86_64+avx2+fma"))]
fn with_gradient(table: &AnovaTable, x: &Piece, y: &Piece, z: &Piece) -> [[f64; 4]; 4] {
    let mut total = [[0.0; 4]; 4];
    for k in 0..4 {
        for j in 0..4 {
            let row = table.row(x.first, y.first + j, z.first + k);
            let (mut own, mut by) = ([0.0; 4], [0.0; 4]);
            for ((c, value), slope) in row.iter().zip(x.value).zip(x.slope) {
                for lane in 0..4 {
                    own[lane] += value * c[lane];
                    by[lane] += slope * c[lane];
                }
            }
            let (plain, by_y, by_z) = (
                y.value[j] * z.value[k],
                y.slope[j] * z.value[k],
                y.value[j] * z.slope[k],
            );
            for lane in 0..4 {
                total[0][lane] += plain * own[lane];
                total[1][lane] += plain * by[lane];
                total[2][lane] += by_y * own[lane];
                total[3][lane] += by_z * own[lane];
            }
        }
    }
    total
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The table gives the sum and its slopes, within the bound of a cubic spline of each correlation.
        #[test]
        fn it_agrees_with_the_sum(
            sites in prop::collection::vec(prop::array::uniform3(0.0..1.0_f64), 1..20),
            alpha in prop::collection::vec(prop::array::uniform3(-1.0..1.0_f64), 20),
            lengths in prop::array::uniform3(0.05..1.5_f64),
            at in prop::array::uniform3(0.0..1.0_f64),
        ) {
            /// Of one axis: 5/384 h⁴ max|f⁗| (Hall & Meyer 1976, from memory).
            const VALUE: f64 = 5.0 / 384.0 * 25.0 / 1e4;
            /// Of its slope: 1/24 h³ max|f⁗| (the same).
            const SLOPE: f64 = 25.0 / 24.0 / 1e3;
            let alpha = &alpha[..sites.len()];
            // Steps in tenths of the length: above 1 where that asks for more intervals than there may be.
            let steps = lengths.map(|l| (PER_LENGTH / (MOST as f64 * l)).max(1.0));
            // Correlations are at most 1: products of up to three miss by no more than this; orders' weights add up to 1.
            let value_bound = steps.iter().map(|s| 1.0 + VALUE * s.powi(4)).product::<f64>() - 1.0;
            for smoothness in [Smoothness::Matern52, Smoothness::SquaredExponential] {
                let sum = AnovaSum::new(smoothness, lengths, [0.5, 0.3, 0.2], &sites, alpha);
                let table = AnovaTable::new(&sum).unwrap();
                let (value, slope) = table.value_with_gradient(at);
                let (exact, exact_slope) = sum.value_with_gradient(at);
                for k in 0..3 {
                    let weight: f64 = alpha.iter().map(|a| a[k].abs()).sum();
                    prop_assert!((value[k] - exact[k]).abs() <= value_bound * weight);
                    prop_assert!((table.value(at)[k] - value[k]).abs() <= 1e-12 * weight.max(1.0));
                    for c in 0..3 {
                        let apart = (slope[k][c] - exact_slope[k][c]).abs();
                        // Slopes of a correlation are at most 1/ℓ.
                        let slope_bound = (value_bound + SLOPE * steps[c].powi(3) * (1.0 + value_bound)) / lengths[c];
                        prop_assert!(apart <= slope_bound * weight, "{apart} {lengths:?} {weight}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_correlation_without_the_bound_is_refused() {
        let sum = |smoothness| {
            let site = [[0.5; 3]];
            AnovaSum::new(smoothness, [0.5; 3], [0.5, 0.3, 0.2], &site, &site)
        };
        assert!(AnovaTable::new(&sum(Smoothness::Matern32)).is_none());
        assert!(AnovaTable::new(&sum(Smoothness::Matern52)).is_some());
    }
}
