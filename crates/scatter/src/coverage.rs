//! How well sites cover the space between them, whatever is read there, and where one more would help most.

use faer::Mat;

use crate::Smoothness;
use crate::cholesky::Cholesky;
use crate::kriging::Correlation;
use crate::projection::product;

/// What sites tell of a process of unit variance: the variance left at any place, before anything is read.
///
/// With C the correlation, ν the variance of a reading and K = C(X, X) + νI, the variance left at a place a is
///
/// ```text
/// v(a) = 1 − C(a, X) K⁻¹ C(X, a).
/// ```
///
/// It depends on where the sites lie alone. Multiplied with the size of what is looked for it says how sure a model is
/// between its sites, for models that have no standard error of their own.
///
/// Cost: n³/3 for n sites, then 2 n² for each place.
///
/// # Source
/// Rasmussen & Williams (2006), equation 2.26 (from memory).
pub struct Coverage {
    sites: Vec<[f64; 3]>,
    correlation: Correlation,
    noise: f64,
    factor: Cholesky,
}

impl Coverage {
    /// Coverage by `sites` under an isotropic correlation of a `length` in the units of the sites; `noise` is the
    /// variance of a reading over that of the process.
    ///
    /// `None` where the covariance of the sites is not positive definite: with noise far below 1e-12, or numbers that
    /// are not finite.
    #[must_use]
    pub fn new(
        sites: &[[f64; 3]],
        smoothness: Smoothness,
        length: f64,
        noise: f64,
    ) -> Option<Self> {
        let correlation = Correlation::Isotropic { smoothness, length };
        let mut covariance = between(&correlation, sites, sites);
        for i in 0..sites.len() {
            covariance[(i, i)] += noise;
        }
        Some(Self {
            sites: sites.to_vec(),
            correlation,
            noise,
            factor: Cholesky::new(covariance)?,
        })
    }

    /// Variance left at places, from 0 (known) to 1 (nothing known).
    #[must_use]
    pub fn variance(&self, at: &[[f64; 3]]) -> Vec<f64> {
        let known = between(&self.correlation, &self.sites, at);
        let solved = self.factor.solve(known.as_ref());
        (0..at.len())
            .map(|j| {
                let told: f64 = (0..self.sites.len())
                    .map(|i| known[(i, j)] * solved[(i, j)])
                    .sum();
                (1.0 - told).clamp(0.0, 1.0)
            })
            .collect()
    }

    /// Indices of the `count` candidates whose reading lowers the weighted variance Σ wₚ v(p) over `points` most, best
    /// first: each is chosen as if those before it had been read, so that they spread. Fewer where the candidates run
    /// out; of equal ones the first.
    ///
    /// Cost: for n sites, p points and c candidates n (p + c) c, then (p + c) c for each index.
    ///
    /// # Source
    /// The criterion is that of Cohn, Ghahramani & Jordan (1996), "Active learning with statistical models", J. Artif.
    /// Intell. Res. 4 (from memory).
    ///
    /// # Panics
    /// If `points` and `weights` differ in length.
    #[must_use]
    pub fn next(
        &self,
        points: &[[f64; 3]],
        weights: &[f64],
        candidates: &[[f64; 3]],
        count: usize,
    ) -> Vec<usize> {
        assert_eq!(
            points.len(),
            weights.len(),
            "next: one weight for each point"
        );
        let told = between(&self.correlation, &self.sites, candidates);
        let solved = self.factor.solve(told.as_ref());
        let left = |at: &[[f64; 3]]| {
            let prior = between(&self.correlation, at, candidates);
            let known = between(&self.correlation, at, &self.sites);
            prior - product(known.as_ref(), solved.as_ref())
        };
        let (mut to_points, mut to_each) = (left(points), left(candidates));
        let mut chosen = Vec::new();
        while chosen.len() < count.min(candidates.len()) {
            let spread = |c: usize| to_each[(c, c)].max(0.0) + self.noise;
            let gain = |c: usize| {
                let column = to_points.col(c).iter().zip(weights);
                column.map(|(g, w)| w * g * g).sum::<f64>() / spread(c)
            };
            let mut best: Option<(usize, f64)> = None;
            for c in (0..candidates.len()).filter(|c| !chosen.contains(c)) {
                let gain = gain(c);
                if best.is_none_or(|(_, most)| gain > most) {
                    best = Some((c, gain));
                }
            }
            let Some((best, _)) = best else { break };
            let spread = spread(best);
            let row: Vec<f64> = to_each.col(best).iter().map(|v| v / spread).collect();
            for left in [&mut to_points, &mut to_each] {
                let taken: Vec<f64> = left.col(best).iter().copied().collect();
                for (c, share) in row.iter().enumerate() {
                    for (p, taken) in taken.iter().enumerate() {
                        left[(p, c)] -= taken * share;
                    }
                }
            }
            chosen.push(best);
        }
        chosen
    }
}

/// C(aᵢ, bⱼ).
fn between(correlation: &Correlation, a: &[[f64; 3]], b: &[[f64; 3]]) -> Mat<f64> {
    let mut all = Mat::zeros(a.len(), b.len());
    let mut column = vec![0.0; a.len()];
    for (j, at) in b.iter().enumerate() {
        correlation.column(*at, a, &mut column);
        for (i, value) in column.iter().enumerate() {
            all[(i, j)] = *value;
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const LENGTH: f64 = 0.5;
    const NOISE: f64 = 1e-3;
    /// A condition number of at most n / NOISE = 1e4 leaves twelve digits.
    const ROUNDOFF: f64 = 1e-9;

    fn coverage(sites: &[[f64; 3]]) -> Coverage {
        Coverage::new(sites, Smoothness::Matern32, LENGTH, NOISE).unwrap()
    }

    fn sites(count: usize) -> impl Strategy<Value = Vec<[f64; 3]>> {
        prop::collection::vec(prop::array::uniform3(0.0..1.0_f64), count)
    }

    proptest! {
        /// Another site never leaves more variance anywhere, and a site itself keeps less than the noise of a reading.
        #[test]
        fn more_sites_leave_less(all in sites(12), at in prop::array::uniform3(0.0..1.0_f64)) {
            let (few, many) = (coverage(&all[..8]), coverage(&all));
            prop_assert!(many.variance(&[at])[0] <= few.variance(&[at])[0] + ROUNDOFF);
            prop_assert!(many.variance(&all).iter().all(|v| *v <= NOISE + ROUNDOFF));
        }

        /// The first candidate chosen leaves the least weighted variance of all when it is joined to the sites, and the
        /// second the least of all pairs with the first.
        #[test]
        fn the_choice_is_the_best_one(all in sites(8), candidates in sites(6), points in sites(7)) {
            let weights = [1.0, 2.0, 0.5, 1.0, 3.0, 0.0, 1.0];
            let left = |joined: &[[f64; 3]]| -> f64 {
                let sites = [&all[..], joined].concat();
                coverage(&sites).variance(&points).iter().zip(weights).map(|(v, w)| v * w).sum()
            };
            let chosen = coverage(&all).next(&points, &weights, &candidates, 2);
            let mut before = Vec::new();
            for (round, c) in chosen.iter().enumerate() {
                let with = |i: usize| left(&[&before[..], &[candidates[i]]].concat());
                let mine = with(*c);
                for other in (0..candidates.len()).filter(|o| !chosen[..round].contains(o)) {
                    prop_assert!(mine <= with(other) + ROUNDOFF);
                }
                before.push(candidates[*c]);
            }
        }
    }

    #[test]
    fn a_candidate_is_chosen_once() {
        let corner = [[0.0; 3]];
        let candidates = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let chosen = coverage(&corner).next(&[[0.9, 0.1, 0.0]], &[1.0], &candidates, 5);
        assert_eq!(chosen, [0, 1]);
    }
}
