//! The closest point of a cell or facet, as weights of its corners.

use nalgebra::{Matrix3, Vector3};

/// A cell whose volume is below this part of the product of its edges is taken to be flat.
///
/// Our choice: rounding then moves the weights by less than 1e-4 across the cell and the place by
/// less than 1e-11 of its size, so that linear functions stay exact to that.
const FLAT: f64 = 1e-11;

type Point = [f64; 3];

/// A convex combination of points, and how its weights change with the place asked for.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Foot {
    /// Points; those of weight 0 and slope 0 may repeat.
    pub(crate) corners: [usize; 4],
    /// At least 0 up to rounding, sum 1.
    pub(crate) weights: [f64; 4],
    /// Gradient of each weight; sum 0.
    pub(crate) slopes: [Point; 4],
}

fn minus(a: Point, b: Point) -> Vector3<f64> {
    Vector3::from(a) - Vector3::from(b)
}

impl Foot {
    /// For a place that is not finite.
    pub(crate) const NOWHERE: Self = Self {
        corners: [0; 4],
        weights: [f64::NAN; 4],
        slopes: [[f64::NAN; 3]; 4],
    };

    /// In a tetrahedron; in one that is flat to rounding, on its closest facet.
    pub(super) fn inside(points: &[Point], corners: [usize; 4], at: Point) -> Self {
        Self::barycentric(points, corners, at).unwrap_or_else(|| {
            let [a, b, c, d] = corners;
            let facets = [[a, b, c], [a, b, d], [a, c, d], [b, c, d]];
            Self::closest(points, facets.into_iter(), at)
        })
    }

    fn barycentric(points: &[Point], corners: [usize; 4], at: Point) -> Option<Self> {
        let [a, b, c, d] = corners.map(|v| points[v]);
        let edges = Matrix3::from_columns(&[minus(a, d), minus(b, d), minus(c, d)]);
        let sizes: f64 = edges.column_iter().map(|edge| edge.norm()).product();
        let factors = edges.lu();
        if factors.determinant().abs() < FLAT * sizes {
            return None;
        }
        // By elimination, not as a ratio of volumes: in a thin cell too the weights add up to the place.
        let w = factors.solve(&minus(at, d))?;
        let rows = factors.try_inverse()?;
        let [a, b, c] = [0, 1, 2].map(|k| [rows[(k, 0)], rows[(k, 1)], rows[(k, 2)]]);
        let rest = std::array::from_fn(|k| -a[k] - b[k] - c[k]);
        Some(Self {
            corners,
            weights: [w[0], w[1], w[2], 1.0 - w[0] - w[1] - w[2]],
            slopes: [a, b, c, rest],
        })
    }

    /// The closest point of some triangles; of equal distances the first, since they share it.
    pub(super) fn closest(
        points: &[Point],
        facets: impl Iterator<Item = [usize; 3]>,
        at: Point,
    ) -> Self {
        let feet = facets.map(|facet| {
            let foot = Self::on_triangle(points, facet, at);
            (foot.squared_distance(points, at), foot)
        });
        feet.reduce(|best, next| if next.0 < best.0 { next } else { best })
            .map_or(Self::NOWHERE, |(_, foot)| foot)
    }

    /// Closest point of a triangle: in its plane if that is inside, otherwise on an edge.
    fn on_triangle(points: &[Point], [a, b, c]: [usize; 3], at: Point) -> Self {
        let [ab, ac] = [b, c].map(|v| minus(points[v], points[a]));
        let normal = ab.cross(&ac);
        let square = normal.norm_squared();
        let slope_b = ac.cross(&normal) / square;
        let slope_c = normal.cross(&ab) / square;
        let from = minus(at, points[a]);
        let (wb, wc) = (slope_b.dot(&from), slope_c.dot(&from));
        if wb >= 0.0 && wc >= 0.0 && wb + wc <= 1.0 {
            let slope_a = -slope_b - slope_c;
            return Self {
                corners: [a, b, c, a],
                weights: [1.0 - wb - wc, wb, wc, 0.0],
                slopes: [slope_a.into(), slope_b.into(), slope_c.into(), [0.0; 3]],
            };
        }
        let far = |foot: &Self| foot.squared_distance(points, at);
        let edges = [(a, b), (b, c), (c, a)].map(|(u, v)| Self::on_edge(points, u, v, at));
        edges
            .into_iter()
            .reduce(|best, next| if far(&next) < far(&best) { next } else { best })
            .unwrap_or(Self::NOWHERE)
    }

    fn on_edge(points: &[Point], a: usize, b: usize, at: Point) -> Self {
        let ab = minus(points[b], points[a]);
        let per = ab / ab.norm_squared();
        let free = minus(at, points[a]).dot(&per);
        let w = free.clamp(0.0, 1.0);
        // Beyond an end the closest point stays there.
        let slope = if w == free { per } else { Vector3::zeros() };
        Self {
            corners: [a, b, a, a],
            weights: [1.0 - w, w, 0.0, 0.0],
            slopes: [(-slope).into(), slope.into(), [0.0; 3], [0.0; 3]],
        }
    }

    fn squared_distance(&self, points: &[Point], at: Point) -> f64 {
        let mut gap = Vector3::from(at);
        for (v, w) in self.corners.iter().zip(self.weights) {
            gap -= Vector3::from(points[*v]) * w;
        }
        gap.norm_squared()
    }

    /// Σ wₖ fₖ, as the first value and differences from it: equal values stay as they are.
    pub(crate) fn value(&self, values: &[[f64; 3]]) -> [f64; 3] {
        let [a, ..] = self.corners.map(|v| values[v]);
        let part = |k: usize, output: usize| {
            self.weights[k] * (values[self.corners[k]][output] - a[output])
        };
        let rest = |output| part(1, output) + part(2, output) + part(3, output);
        // The first weight is not used, except that it is not a number where none is.
        std::array::from_fn(|output| a[output] + rest(output))
    }

    /// `[(output, input)]`, per unit of the points.
    pub(crate) fn gradient(&self, values: &[[f64; 3]]) -> Matrix3<f64> {
        let a = values[self.corners[0]];
        Matrix3::from_fn(|output, input| {
            (1..4)
                .map(|k| self.slopes[k][input] * (values[self.corners[k]][output] - a[output]))
                .sum()
        })
    }
}
