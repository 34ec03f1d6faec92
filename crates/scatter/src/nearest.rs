//! The value of the nearest site.

use std::num::NonZero;

use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::Matrix3;
use rayon::prelude::*;

use crate::sites::squared_distance;
use crate::{FitError, Interpolant, LeaveOneOut, Sites};

/// Widens the search radius over the tree's own rounding of the squared distance, so that every
/// site at the least distance is seen and the lowest index wins.
const RADIUS_MARGIN: f64 = 1.0 + 1e-12;

/// The value of the nearest site by Euclidean distance; of several, that of the lowest index.
///
/// To choose as a floor that every other scheme must beat. Piecewise constant: the Jacobian is 0.
///
/// Never ill-posed. Cost: n log n to fit, about log n a point. Smoothing and variances have no
/// meaning here and are ignored.
pub struct Nearest {
    tree: ImmutableKdTree<f64, 3>,
    sites: Vec<[f64; 3]>,
    values: Vec<[f64; 3]>,
}

impl Nearest {
    /// Builds the search tree.
    ///
    /// # Errors
    /// [`FitError::Length`], [`FitError::NotFinite`], [`FitError::TooFewSites`] without any site.
    pub fn fit(data: Sites<'_>) -> Result<Self, FitError> {
        data.check(1)?;
        // The tree numbers its sites with 32 bits; the matrix schemes end long before.
        let tree = ImmutableKdTree::new_from_slice(data.sites)
            .map_err(|_| FitError::TooManySites { found: data.len() })?;
        Ok(Self {
            tree,
            sites: data.sites.to_vec(),
            values: data.values.to_vec(),
        })
    }

    /// Each site predicted by the nearest of the others.
    ///
    /// # Errors
    /// Those of [`Nearest::fit`]; two sites are needed.
    pub fn leave_one_out(
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<Vec<LeaveOneOut>, FitError> {
        data.check(2)?;
        let fitted = Self::fit(data)?;
        let residual: Vec<[f64; 3]> = (0..data.len())
            .into_par_iter()
            .map(|i| {
                let predicted = fitted.value_at(data.sites[i], Some(i));
                std::array::from_fn(|k| data.values[i][k] - predicted[k])
            })
            .collect();
        Ok(smoothings
            .iter()
            .map(|&smoothing| LeaveOneOut {
                smoothing,
                residual: residual.clone(),
            })
            .collect())
    }

    fn value_at(&self, at: [f64; 3], without: Option<usize>) -> [f64; 3] {
        if at.iter().any(|v| !v.is_finite()) {
            return [f64::NAN; 3];
        }
        // The two nearest contain one that is not left out, whatever the ties.
        let count = if without.is_some() {
            NonZero::<usize>::MIN.saturating_add(1)
        } else {
            NonZero::<usize>::MIN
        };
        let reach = self
            .tree
            .query(&at)
            .nearest_n::<SquaredEuclidean<f64>>(count)
            .execute()
            .iter()
            .fold(0.0, |reach: f64, found| reach.max(found.distance));
        self.tree
            .query(&at)
            .within::<SquaredEuclidean<f64>>(reach * RADIUS_MARGIN)
            .execute()
            .iter()
            .map(|found| found.item as usize)
            .filter(|i| Some(*i) != without)
            .map(|i| (squared_distance(at, self.sites[i]), i))
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
            .map_or([f64::NAN; 3], |(_, i)| self.values[i])
    }
}

impl Interpolant for Nearest {
    fn eval(&self, at: [f64; 3]) -> [f64; 3] {
        self.value_at(at, None)
    }

    fn eval_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        (self.eval(at), Matrix3::zeros())
    }
}
