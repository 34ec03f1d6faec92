//! Natural neighbour interpolation.

use nalgebra::Matrix3;

use crate::delaunay_linear::Meshed;
use crate::sibson::Sibson;
use crate::{FitError, Interpolant, LeaveOneOut, Sites};

/// The slope at a site is taken from both sides along each axis, this part of the way to the nearest
/// other site: rounding (1e-16 ÷ 1e-6) and the bend of the map over the way stay about 1e-6 or less.
const ASIDE: f64 = 1e-6;

/// Weighted mean of the natural neighbours' values: Sibson's coordinates.
///
/// To choose as a parameter-free scheme that adapts to uneven spacing, never leaves the range of its
/// values, and is smoother than [`DelaunayLinear`](crate::DelaunayLinear): the map has a continuous
/// gradient except at the sites. Exact on linear maps within the convex hull.
///
/// s(x) = Σ uᵢ fᵢ / Σ uᵢ, where uᵢ is the volume that a cell of x would take from the Voronoi cell of
/// site i. On the hull the limit from within holds; outside, the value at the closest point of the
/// hull. Coincident sites count as one with the mean of their values.
///
/// Ill-posed where all sites lie on one plane or line. Cost: about n log n to fit; some cuts of
/// a polyhedron for each natural neighbour a point (below 0.2 ms), and all facets of the hull for a point on or
/// outside it. Smoothing and variances have no meaning here and are ignored.
///
/// # Source
/// Sibson (1981), A brief description of natural neighbour interpolation. The gradient follows from
/// the motion of the faces and is derived in `docs/methods/natural-neighbour.md`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NaturalNeighbour;

/// A fitted [`NaturalNeighbour`].
pub struct NaturalNeighbourInterpolant(Meshed);

impl NaturalNeighbour {
    /// Triangulates the sites.
    ///
    /// # Errors
    /// [`FitError::Length`], [`FitError::NotFinite`], [`FitError::TooFewSites`] below four,
    /// [`FitError::Degenerate`] if all sites lie on one plane, [`FitError::TooManySites`].
    pub fn fit(&self, data: Sites<'_>) -> Result<NaturalNeighbourInterpolant, FitError> {
        Meshed::new(data).map(NaturalNeighbourInterpolant)
    }

    /// Each site predicted from all others; a coincident one from those at its place.
    ///
    /// What a site would take from the others, it takes from its neighbours in the triangulation: n
    /// small triangulations.
    ///
    /// # Errors
    /// Those of [`NaturalNeighbour::fit`]; [`FitError::Indispensable`] where the others lie on one plane.
    pub fn leave_one_out(
        &self,
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<Vec<LeaveOneOut>, FitError> {
        let meshed = Meshed::new(data)?;
        let extent = meshed.mesh.extent();
        meshed.left_out(data, smoothings, |mesh, values, at| {
            Sibson { mesh, extent }.at(at, 0).value(values)
        })
    }
}

impl NaturalNeighbourInterpolant {
    fn with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        let values = &self.0.places.values;
        let Some(at) = self.0.places.query(at) else {
            return ([f64::NAN; 3], Matrix3::from_element(f64::NAN));
        };
        let sibson = Sibson {
            mesh: &self.0.mesh,
            extent: self.0.mesh.extent(),
        };
        let closest = self.0.neighbours.nearest(at, 2, None);
        let near = closest.first().copied().unwrap_or(0);
        let site = self.0.places.points[near];
        if site != at {
            let found = sibson.with_slope(at, near);
            return (found.value(values), found.gradient(values));
        }
        // At a site the slope depends on the direction: the mean from both sides along each axis.
        let other = closest.get(1).map_or(site, |i| self.0.places.points[*i]);
        let aside = ASIDE * crate::sites::squared_distance(site, other).sqrt();
        let mut slope = Matrix3::zeros();
        for input in 0..3 {
            for step in [-aside, aside] {
                let mut beside = at;
                beside[input] += step;
                let column = sibson
                    .with_slope(beside, near)
                    .gradient(values)
                    .column(input)
                    / 2.0;
                slope.set_column(input, &(slope.column(input) + column));
            }
        }
        (values[near], slope)
    }
}

impl Interpolant for NaturalNeighbourInterpolant {
    fn eval(&self, at: [f64; 3]) -> [f64; 3] {
        let Some(at) = self.0.places.query(at) else {
            return [f64::NAN; 3];
        };
        let near = self.0.neighbours.nearest(at, 1, None);
        let near = near.first().copied().unwrap_or(0);
        if self.0.places.points[near] == at {
            return self.0.places.values[near];
        }
        let sibson = Sibson {
            mesh: &self.0.mesh,
            extent: self.0.mesh.extent(),
        };
        sibson.at(at, near).value(&self.0.places.values)
    }

    /// On the hull the slope just inside; at a site, where it depends on the direction, the mean of
    /// the slopes from both sides along each axis.
    fn eval_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        let (value, slope) = self.with_gradient(at);
        (value, slope * self.0.places.scale)
    }
}
