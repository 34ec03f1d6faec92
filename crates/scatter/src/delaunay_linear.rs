//! Linear interpolation in the cells of the Delaunay triangulation.

use nalgebra::Matrix3;
use rayon::prelude::*;

use crate::distinct::{Distinct, mean};
use crate::neighbours::Neighbours;
use crate::triangulation::{Foot, Triangulation};
use crate::{FitError, Interpolant, LeaveOneOut, Sites};

/// Sites that span a cell.
const CORNERS: usize = 4;

/// Linear in each tetrahedron of the Delaunay triangulation of the sites.
///
/// To choose as the parameter-free scheme that never leaves the range of its values: exact on linear
/// maps within the convex hull, continuous, but with a kink at every facet.
///
/// s(x) = Σ wₖ fₖ over the four corners of the cell that holds x, with barycentric weights. Outside
/// the hull s(x) is the value at the closest point of the hull: continuous and bounded, constant
/// along the normals. Coincident sites count as one with the mean of their values. Cells on a sphere
/// with further sites, as in a lattice, are chosen by position alone (see `docs/methods`), so the
/// order of the sites does not change a bit.
///
/// Ill-posed where all sites lie on one plane or line. Cost: about n log n to fit, a search and a walk
/// through a few cells a point; all facets of the hull for a point outside. Smoothing and variances
/// have no meaning here and are ignored.
///
/// # Source
/// Delaunay (1934); barycentric coordinates. Insertion: Bowyer (1981), Watson (1981).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DelaunayLinear;

/// A fitted [`DelaunayLinear`].
pub struct DelaunayLinearInterpolant(Meshed);

impl DelaunayLinear {
    /// Triangulates the sites.
    ///
    /// # Errors
    /// [`FitError::Length`], [`FitError::NotFinite`], [`FitError::TooFewSites`] below four,
    /// [`FitError::Degenerate`] if all sites lie on one plane, [`FitError::TooManySites`].
    pub fn fit(&self, data: Sites<'_>) -> Result<DelaunayLinearInterpolant, FitError> {
        Meshed::new(data).map(DelaunayLinearInterpolant)
    }

    /// Each site predicted from all others; a coincident one from those at its place.
    ///
    /// Without a site, its star is filled by cells whose corners are the site's neighbours, and these
    /// are cells of the triangulation of the neighbours alone: n small triangulations.
    ///
    /// # Errors
    /// Those of [`DelaunayLinear::fit`]; [`FitError::Indispensable`] where the others lie on one plane.
    pub fn leave_one_out(
        &self,
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<Vec<LeaveOneOut>, FitError> {
        let meshed = Meshed::new(data)?;
        meshed.left_out(data, smoothings, |mesh, values, at| {
            mesh.foot(at, 0).value(values)
        })
    }
}

/// Sites merged by place, triangulated, and searched for the one where a walk starts.
pub(crate) struct Meshed {
    pub(crate) places: Distinct,
    pub(crate) mesh: Triangulation,
    pub(crate) neighbours: Neighbours,
}

impl Meshed {
    pub(crate) fn new(data: Sites<'_>) -> Result<Self, FitError> {
        data.check(CORNERS)?;
        let places = Distinct::new(data);
        let mesh = Triangulation::new(places.points.clone());
        Ok(Self {
            mesh: mesh.ok_or(FitError::Degenerate { degree: 1 })?,
            neighbours: Neighbours::new(&places.points)?,
            places,
        })
    }

    /// Residuals at every site, the prediction being made on a triangulation of its neighbours.
    ///
    /// `predict` gets a triangulation, the values at its points and the place asked for.
    pub(crate) fn left_out(
        &self,
        data: Sites<'_>,
        smoothings: &[f64],
        predict: impl Fn(&Triangulation, &[[f64; 3]], [f64; 3]) -> [f64; 3] + Sync,
    ) -> Result<Vec<LeaveOneOut>, FitError> {
        let Self { places, mesh, .. } = self;
        let adjacency = mesh.adjacency();
        let alone = |place: usize| {
            let on = |chosen: &[usize]| {
                let pick = |from: &[[f64; 3]]| chosen.iter().map(|i| from[*i]).collect::<Vec<_>>();
                let mesh = Triangulation::new(pick(&places.points))?;
                Some(predict(&mesh, &pick(&places.values), places.points[place]))
            };
            // Neighbours on one plane: the site is a tip on a flat face of the others.
            on(&adjacency[place]).or_else(|| {
                let others: Vec<usize> = (0..places.points.len()).filter(|i| *i != place).collect();
                on(&others)
            })
        };
        let predicted: Vec<Vec<(usize, Option<[f64; 3]>)>> = (0..places.points.len())
            .into_par_iter()
            .map(|place| {
                let group = &places.members[place];
                if let [site] = group[..] {
                    return vec![(site, alone(place))];
                }
                let without = |site: usize| group.iter().filter(move |i| **i != site);
                let rest = |site: usize| mean(without(site).map(|i| data.values[*i]));
                group
                    .iter()
                    .map(|site| (*site, Some(rest(*site))))
                    .collect()
            })
            .collect();
        let mut residual = vec![[0.0; 3]; data.len()];
        let mut indispensable = None;
        for (site, predicted) in predicted.into_iter().flatten() {
            match predicted {
                Some(predicted) => {
                    residual[site] = std::array::from_fn(|k| data.values[site][k] - predicted[k]);
                }
                None => indispensable = Some(indispensable.map_or(site, |i: usize| i.min(site))),
            }
        }
        if let Some(site) = indispensable {
            return Err(FitError::Indispensable { site });
        }
        Ok(LeaveOneOut::for_any(smoothings, &residual))
    }
}

impl DelaunayLinearInterpolant {
    fn foot(&self, at: [f64; 3]) -> Foot {
        let Some(at) = self.0.places.query(at) else {
            return Foot::NOWHERE;
        };
        let near = self.0.neighbours.nearest(at, 1, None);
        self.0.mesh.foot(at, near.first().copied().unwrap_or(0))
    }
}

impl Interpolant for DelaunayLinearInterpolant {
    fn eval(&self, at: [f64; 3]) -> [f64; 3] {
        self.foot(at).value(&self.0.places.values)
    }

    /// Constant within a cell; on a facet that of one of its cells.
    fn eval_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        let foot = self.foot(at);
        let values = &self.0.places.values;
        (
            foot.value(values),
            foot.gradient(values) * self.0.places.scale,
        )
    }
}
