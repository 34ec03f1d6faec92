//! The nearest sites of a point, with ties settled by index.

use std::num::NonZero;

use kiddo::{ImmutableKdTree, SquaredEuclidean};

use crate::FitError;
use crate::sites::squared_distance;

/// Widens the search radius over the tree's own rounding of the squared distance, so that every
/// site at the largest distance is seen and the lowest index wins.
const RADIUS_MARGIN: f64 = 1.0 + 1e-12;

/// A search tree over sites.
pub(crate) struct Neighbours {
    tree: ImmutableKdTree<f64, 3>,
    sites: Vec<[f64; 3]>,
}

impl Neighbours {
    /// Builds the tree: n log n.
    pub(crate) fn new(sites: &[[f64; 3]]) -> Result<Self, FitError> {
        // The tree numbers its sites with 32 bits; the matrix schemes end long before.
        let tree = ImmutableKdTree::new_from_slice(sites)
            .map_err(|_| FitError::TooManySites { found: sites.len() })?;
        Ok(Self {
            tree,
            sites: sites.to_vec(),
        })
    }

    /// Indices of the `count` nearest sites (all, if there are fewer), nearest first; of equal distances the lowest
    /// index first. Empty for a point that is not finite.
    pub(crate) fn nearest(&self, at: [f64; 3], count: usize, without: Option<usize>) -> Vec<usize> {
        let count = count.min(self.sites.len());
        let Some(wanted) = NonZero::new(count + usize::from(without.is_some())) else {
            return Vec::new();
        };
        if at.iter().any(|v| !v.is_finite()) {
            return Vec::new();
        }
        let reach = self
            .tree
            .query(&at)
            .nearest_n::<SquaredEuclidean<f64>>(wanted)
            .execute()
            .iter()
            .fold(0.0, |reach: f64, found| reach.max(found.distance));
        let mut found: Vec<(f64, usize)> = self
            .tree
            .query(&at)
            .within::<SquaredEuclidean<f64>>(reach * RADIUS_MARGIN)
            .execute()
            .iter()
            .map(|found| found.item as usize)
            .filter(|i| Some(*i) != without)
            .map(|i| (squared_distance(at, self.sites[i]), i))
            .collect();
        found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        found.truncate(count);
        found.into_iter().map(|(_, i)| i).collect()
    }
}
