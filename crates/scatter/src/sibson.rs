//! Sibson's coordinates of a point among the points of a triangulation.

use nalgebra::{Matrix3, Vector3};

use crate::polyhedron::{HalfSpace, Polyhedron, Work};
use crate::sites::squared_distance;
use crate::triangulation::{Foot, Triangulation};

/// A cell that reaches this many extents of the points counts as unbounded, its point as on the hull.
///
/// Our choice: points up to about 1e-7 extents from the hull then count as on it, so the map moves by
/// that times its slope; corners so far away carry rounding of about 1e-9 of the points' spacing.
const REACH: f64 = (1 << 24) as f64;

/// A cell is first looked for within the extent of the points, then within this many times more: a
/// corner carries the rounding of the box it was cut from.
const WIDENING: f64 = 64.0;

/// Points this many extents from the plane of a facet of the hull belong to its face: rounding puts some
/// of those of a flat face inside.
const COPLANAR: f64 = 1e-7;

/// The slope on the hull is that this part of the way inwards, to the mean of the points.
const INWARDS: f64 = 1e-5;

/// Weights of points and their gradients.
#[derive(Clone, Debug)]
pub(crate) struct Coordinates(Vec<(usize, f64, Vector3<f64>)>);

/// What bounds a cell.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Side {
    /// The bisector with the neighbour of this number.
    Neighbour(usize),
    /// The plane of the hull.
    Hull,
    /// Nothing as far as we look.
    Nothing,
}

impl Coordinates {
    fn of_foot(foot: &Foot) -> Self {
        let slopes = foot.slopes.map(Vector3::from);
        Self(
            (0..4)
                .map(|k| (foot.corners[k], foot.weights[k], slopes[k]))
                .collect(),
        )
    }

    /// Σ λᵢ fᵢ, as the first value and differences from it: equal values stay as they are.
    pub(crate) fn value(&self, values: &[[f64; 3]]) -> [f64; 3] {
        let first = values[self.0[0].0];
        std::array::from_fn(|output| {
            let part =
                |(i, weight, _): &(usize, f64, _)| weight * (values[*i][output] - first[output]);
            first[output] + self.0.iter().map(part).sum::<f64>()
        })
    }

    /// `[(output, input)]`, per unit of the points.
    pub(crate) fn gradient(&self, values: &[[f64; 3]]) -> Matrix3<f64> {
        let first = values[self.0[0].0];
        Matrix3::from_fn(|output, input| {
            let part = |(i, _, slope): &(usize, f64, Vector3<f64>)| {
                slope[input] * (values[*i][output] - first[output])
            };
            self.0.iter().map(part).sum()
        })
    }

    /// After a motion of the point asked for: gradients times its derivative.
    fn moved_by(mut self, derivative: Matrix3<f64>) -> Self {
        for (_, _, slope) in &mut self.0 {
            *slope = derivative.tr_mul(slope);
        }
        self
    }
}

/// A triangulation to find coordinates in.
#[derive(Clone, Copy)]
pub(crate) struct Sibson<'a> {
    pub(crate) mesh: &'a Triangulation,
    /// Size of the set of points.
    pub(crate) extent: f64,
}

impl Sibson<'_> {
    /// Coordinates of a place, and outside the hull of its closest point; `near` is a point to start from.
    pub(crate) fn at(&self, at: [f64; 3], near: usize) -> Coordinates {
        let inside = self.mesh.cells_around(at, near);
        let bounded = inside.and_then(|cells| self.within(at, &cells));
        bounded.unwrap_or_else(|| self.on_hull(at))
    }

    /// The same with the slope just inside where the place is on the hull.
    pub(crate) fn with_slope(&self, at: [f64; 3], near: usize) -> Coordinates {
        let Some(cells) = self.mesh.cells_around(at, near) else {
            return self.on_hull(at);
        };
        if let Some(found) = self.within(at, &cells) {
            return found;
        }
        let mut found = self.on_hull(at);
        let centre = self.mesh.centre();
        let inwards = std::array::from_fn(|k| at[k] + INWARDS * (centre[k] - at[k]));
        let inside = self.mesh.cells_around(inwards, near);
        if let Some(inside) = inside.and_then(|cells| self.within(inwards, &cells)) {
            let none = |(i, weight, _): &(usize, f64, _)| (*i, *weight, Vector3::zeros());
            let slopes = inside.0.into_iter().map(|(i, _, slope)| (i, 0.0, slope));
            found = Coordinates(found.0.iter().map(none).chain(slopes).collect());
        }
        found
    }

    /// At the closest point of the hull: the limit from within its face, or linear on its facet where
    /// the face has no further points or the point is on its border.
    fn on_hull(&self, at: [f64; 3]) -> Coordinates {
        let foot = self.mesh.on_hull(at);
        let points = self.mesh.points();
        let [a, b, c] = [0, 1, 2].map(|k| Vector3::from(points[foot.corners[k]]));
        let normal = (b - a).cross(&(c - a)).normalize();
        let from_plane = |v: usize| normal.dot(&(Vector3::from(points[v]) - a)).abs();
        let face: Vec<usize> = (0..points.len())
            .filter(|v| from_plane(*v) < COPLANAR * self.extent)
            .collect();
        if face.len() > 3 {
            let parts = || (0..4).map(|k| (Vector3::from(points[foot.corners[k]]), k));
            let place: Vector3<f64> = parts().map(|(p, k)| p * foot.weights[k]).sum();
            let derivative: Matrix3<f64> = parts()
                .map(|(p, k)| p * Vector3::from(foot.slopes[k]).transpose())
                .sum();
            if let Some(found) = self.among(place.into(), face, Some(normal), |_, _| true) {
                return found.moved_by(derivative);
            }
        }
        Coordinates::of_foot(&foot)
    }

    /// Coordinates within the hull, among the corners of cells whose spheres hold the place.
    ///
    /// A face between two old Voronoi cells that reaches into the new one has a corner there, which is the
    /// centre of such a cell: only points that share one bound each other.
    fn within(&self, at: [f64; 3], cells: &[[usize; 4]]) -> Option<Coordinates> {
        let mut neighbours: Vec<usize> = cells.iter().flatten().copied().collect();
        neighbours.sort_unstable();
        neighbours.dedup();
        let pairs = cells
            .iter()
            .flat_map(|cell| cell.map(|a| cell.map(|b| (a, b))));
        let mut joined: Vec<(usize, usize)> = pairs.flatten().collect();
        joined.sort_unstable();
        joined.dedup();
        let meet = |a: usize, b: usize| joined.binary_search(&(a, b)).is_ok();
        self.among(at, neighbours, None, meet)
    }

    /// Coordinates among given points, of which those that `meet` bound each other's cells; `None` if the cell of the place has no bound.
    ///
    /// With the normal of a face of the hull, the limit of coming to it from within. At depth δ → 0 the
    /// cell at height z over the face is {y: |y − x|² + 2 z δ ≤ |y − pᵢ|²}, so that in the coordinates
    /// (y, t = 2 z δ) it is a polyhedron again, over the Voronoi cells of the face.
    fn among(
        &self,
        at: [f64; 3],
        mut neighbours: Vec<usize>,
        face: Option<Vector3<f64>>,
        meet: impl Fn(usize, usize) -> bool,
    ) -> Option<Coordinates> {
        let points = self.mesh.points();
        // Near ones first: they cut off what later ones then need not cut.
        let far = |v: &usize| squared_distance(points[*v], at);
        neighbours.sort_unstable_by(|a, b| far(a).total_cmp(&far(b)).then(a.cmp(b)));
        let flat = |p: Vector3<f64>| face.map_or(p, |normal| p - normal * normal.dot(&p));
        let from: Vec<Vector3<f64>> = (neighbours.iter())
            .map(|v| flat(Vector3::from(points[*v]) - Vector3::from(at)))
            .collect();
        // t in units of the extent, so that it compares with lengths.
        let tilt = face.map_or_else(Vector3::zeros, |normal| normal * self.extent);
        let bisector = |p: Vector3<f64>| HalfSpace {
            normal: 2.0 * p + tilt,
            offset: p.norm_squared(),
        };

        let planes: Vec<HalfSpace> = from.iter().map(|p| bisector(*p)).collect();
        let mut work = Work::new();
        let cell = bounded_cell(&planes, face, self.extent, &mut work)?;
        let bounding: Vec<usize> = (0..from.len())
            .filter(|k| cell.has_face(Side::Neighbour(*k)))
            .collect();

        let mut taken = |k: usize| {
            // What is closer to the place than to site k and closer to k than to all others is in the cell.
            let mut part = start(1.01 * cell.reach(), face, &mut work);
            part.cut(planes[k], Side::Neighbour(k), &mut work);
            // Near ones first here too: the part is soon small.
            let mut others: Vec<(f64, usize)> = (bounding.iter().copied())
                .filter(|other| *other != k && meet(neighbours[k], neighbours[*other]))
                .map(|other| ((from[other] - from[k]).norm_squared(), other))
                .collect();
            others.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            for (_, other) in others {
                let gap = from[other] - from[k];
                let nearer = HalfSpace {
                    normal: 2.0 * gap,
                    offset: gap.dot(&(from[other] + from[k])),
                };
                part.cut(nearer, Side::Neighbour(other), &mut work);
            }
            // The face with neighbour k moves with the point by 2 (y − x) over the length of its normal.
            let moment = cell.moment(Side::Neighbour(k));
            let slope = flat(moment) * 2.0 / planes[k].normal.norm();
            (part.volume(), slope)
        };
        let taken: Vec<(f64, Vector3<f64>)> = bounding.iter().map(|k| taken(*k)).collect();
        let whole: f64 = taken.iter().map(|(volume, _)| volume).sum();
        // Rounding leaves no cell next to a site.
        if whole.is_nan() || whole <= 0.0 {
            return Some(Coordinates(vec![(neighbours[0], 1.0, Vector3::zeros())]));
        }
        let drift: Vector3<f64> = taken.iter().map(|(_, slope)| slope).sum();
        let coordinate = |(k, (volume, slope)): (&usize, &(f64, Vector3<f64>))| {
            let weight = volume / whole;
            (neighbours[*k], weight, (slope - drift * weight) / whole)
        };
        Some(Coordinates(
            bounding.iter().zip(&taken).map(coordinate).collect(),
        ))
    }
}

/// What lies within all planes, over a face of the hull if there is one; `None` if it has no bound.
fn bounded_cell(
    planes: &[HalfSpace],
    face: Option<Vector3<f64>>,
    extent: f64,
    work: &mut Work<Side>,
) -> Option<Polyhedron<Side>> {
    let mut reach = 1.0;
    while reach <= REACH {
        let mut cell = start(reach * extent, face, work);
        for (k, plane) in planes.iter().enumerate() {
            cell.cut(*plane, Side::Neighbour(k), work);
        }
        if !cell.has_face(Side::Nothing) {
            return Some(cell);
        }
        reach *= WIDENING;
    }
    None
}

/// A box around the place, over a face of the hull if there is one.
fn start(half: f64, face: Option<Vector3<f64>>, work: &mut Work<Side>) -> Polyhedron<Side> {
    let mut space = Polyhedron::cube(half, Side::Nothing);
    if let Some(normal) = face {
        let above = HalfSpace {
            normal: -normal,
            offset: 0.0,
        };
        space.cut(above, Side::Hull, work);
    }
    space
}
