//! The value of the nearest site.

use nalgebra::Matrix3;
use rayon::prelude::*;

use crate::neighbours::Neighbours;
use crate::{FitError, Interpolant, LeaveOneOut, Sites};

/// The value of the nearest site by Euclidean distance; of several, that of the lowest index.
///
/// To choose as a floor that every other scheme must beat. Piecewise constant: the Jacobian is 0.
///
/// Never ill-posed. Cost: n log n to fit, about log n a point. Smoothing and variances have no
/// meaning here and are ignored.
pub struct Nearest {
    neighbours: Neighbours,
    values: Vec<[f64; 3]>,
}

impl Nearest {
    /// Builds the search tree.
    ///
    /// # Errors
    /// [`FitError::Length`], [`FitError::NotFinite`], [`FitError::TooFewSites`] without any site.
    pub fn fit(data: Sites<'_>) -> Result<Self, FitError> {
        data.check(1)?;
        Ok(Self {
            neighbours: Neighbours::new(data.sites)?,
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
        Ok(LeaveOneOut::for_any(smoothings, &residual))
    }

    fn value_at(&self, at: [f64; 3], without: Option<usize>) -> [f64; 3] {
        let nearest = self.neighbours.nearest(at, 1, without);
        nearest.first().map_or([f64::NAN; 3], |i| self.values[*i])
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
