//! Convex polyhedra cut by planes: volumes, and areas and centroids of their faces.

use nalgebra::Vector3;

/// The half-space normal · y ≤ offset.
#[derive(Clone, Copy, Debug)]
pub(crate) struct HalfSpace {
    /// Of any length.
    pub(crate) normal: Vector3<f64>,
    pub(crate) offset: f64,
}

impl HalfSpace {
    /// Above 0 outside.
    fn excess(&self, at: Vector3<f64>) -> f64 {
        self.normal.dot(&at) - self.offset
    }
}

/// Corners in turn, counter-clockwise seen from outside.
#[derive(Clone, Debug)]
struct Face<T> {
    tag: T,
    corners: Vec<Vector3<f64>>,
}

/// A bounded intersection of half-spaces, each face carrying the tag of its half-space.
#[derive(Clone, Debug)]
pub(crate) struct Polyhedron<T> {
    faces: Vec<Face<T>>,
}

impl<T: Copy + PartialEq> Polyhedron<T> {
    /// |y| ≤ `half` in each coordinate.
    pub(crate) fn cube(half: f64, tag: T) -> Self {
        let mut faces = Vec::with_capacity(6);
        for axis in 0..3 {
            let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
            for side in [-half, half] {
                let corner = |a: f64, b: f64| {
                    let mut at = Vector3::zeros();
                    at[axis] = side;
                    // On the negative side the turn is the other way.
                    at[u] = a * side;
                    at[v] = b * half;
                    at
                };
                let corners = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]
                    .map(|(a, b)| corner(a, b))
                    .to_vec();
                faces.push(Face { tag, corners });
            }
        }
        Self { faces }
    }

    /// Keeps what lies within a half-space.
    pub(crate) fn cut(&mut self, by: HalfSpace, tag: T) {
        let outside = |at: &Vector3<f64>| by.excess(*at) > 0.0;
        if !self.faces.iter().any(|f| f.corners.iter().any(outside)) {
            return;
        }
        let mut rim = Vec::new();
        for face in &mut self.faces {
            if face.corners.iter().any(outside) {
                face.corners = cut_ring(&face.corners, by, &mut rim);
            }
        }
        self.faces.retain(|face| face.corners.len() > 2);
        if rim.len() > 2 {
            sort_around(&mut rim, by.normal);
            self.faces.push(Face { tag, corners: rim });
        }
    }

    pub(crate) fn has_face(&self, tag: T) -> bool {
        self.faces.iter().any(|face| face.tag == tag)
    }

    pub(crate) fn volume(&self) -> f64 {
        let sixfold = |face: &Face<T>| -> f64 {
            fan(&face.corners)
                .map(|[a, b, c]| a.dot(&b.cross(&c)))
                .sum()
        };
        self.faces.iter().map(sixfold).sum::<f64>() / 6.0
    }

    /// ∫ y dA over the face of a tag, and 0 without one: its area times its centroid.
    pub(crate) fn moment(&self, tag: T) -> Vector3<f64> {
        let own = self.faces.iter().filter(|face| face.tag == tag);
        own.flat_map(|face| fan(&face.corners))
            .map(|[a, b, c]| (b - a).cross(&(c - a)).norm() / 2.0 * (a + b + c) / 3.0)
            .sum()
    }
}

/// The triangles from the first corner.
fn fan(ring: &[Vector3<f64>]) -> impl Iterator<Item = [Vector3<f64>; 3]> {
    let first = ring.first().copied().unwrap_or_default();
    ring.windows(2)
        .skip(1)
        .map(move |edge| [first, edge[0], edge[1]])
}

/// The part of a ring within a half-space; its corners on the plane also go to `rim`.
fn cut_ring(
    ring: &[Vector3<f64>],
    by: HalfSpace,
    rim: &mut Vec<Vector3<f64>>,
) -> Vec<Vector3<f64>> {
    let mut kept = Vec::with_capacity(ring.len() + 1);
    for (k, &here) in ring.iter().enumerate() {
        let next = ring[(k + 1) % ring.len()];
        let (excess, excess_next) = (by.excess(here), by.excess(next));
        if excess <= 0.0 {
            kept.push(here);
            if excess == 0.0 {
                rim.push(here);
            }
        }
        if (excess < 0.0 && excess_next > 0.0) || (excess > 0.0 && excess_next < 0.0) {
            // Always from the inner end, so that both faces of an edge get the same point.
            let (inner, outer, from, to) = if excess < 0.0 {
                (here, next, excess, excess_next)
            } else {
                (next, here, excess_next, excess)
            };
            let at = inner + (outer - inner) * (from / (from - to));
            kept.push(at);
            rim.push(at);
        }
    }
    kept
}

/// Sorts points of a plane counter-clockwise around their mean, seen against the normal.
fn sort_around(points: &mut Vec<Vector3<f64>>, normal: Vector3<f64>) {
    let mean = points.iter().sum::<Vector3<f64>>() / points.len() as f64;
    let least = normal.iamin();
    let mut axis = Vector3::zeros();
    axis[least] = 1.0;
    let u = normal.cross(&axis).normalize();
    let v = normal.normalize().cross(&u);
    let angle = |at: &Vector3<f64>| {
        let from = at - mean;
        from.dot(&v).atan2(from.dot(&u))
    };
    points.sort_by(|a, b| angle(a).total_cmp(&angle(b)));
    points.dedup();
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Some ten operations on values up to 1.
    const ROUNDING: f64 = 1e-14;

    fn half_space(normal: [f64; 3], offset: f64) -> HalfSpace {
        HalfSpace {
            normal: normal.into(),
            offset,
        }
    }

    #[test]
    fn a_cube_cut_at_a_corner_and_in_half() {
        let mut solid = Polyhedron::cube(1.0, 0);
        assert!((solid.volume() - 8.0).abs() < ROUNDING);
        // The corner (1, 1, 1) is a tetrahedron of legs 1: volume 1/6, area √3/2, centroid 2/3 each.
        solid.cut(half_space([1.0; 3], 2.0), 1);
        assert!((solid.volume() - (8.0 - 1.0 / 6.0)).abs() < ROUNDING);
        let expected = 3_f64.sqrt() / 2.0 * 2.0 / 3.0;
        assert!(
            solid
                .moment(1)
                .iter()
                .all(|m| (m - expected).abs() < ROUNDING)
        );
        solid.cut(half_space([0.0, 0.0, -3.0], 0.0), 2);
        assert!((solid.volume() - (4.0 - 1.0 / 6.0)).abs() < ROUNDING);
        assert!(solid.has_face(0) && solid.has_face(1) && solid.has_face(2));
    }

    #[test]
    fn planes_through_corners_edges_and_outside() {
        let mut solid = Polyhedron::cube(1.0, 0);
        solid.cut(half_space([1.0, 1.0, 0.0], 2.0), 1);
        solid.cut(half_space([1.0, 1.0, 1.0], 4.0), 2);
        assert!((solid.volume() - 8.0).abs() < ROUNDING);
        assert!(!solid.has_face(1) && !solid.has_face(2));
        // Through two opposite edges.
        solid.cut(half_space([1.0, -1.0, 0.0], 0.0), 3);
        assert!((solid.volume() - 4.0).abs() < ROUNDING);
        solid.cut(half_space([1.0, 0.0, 0.0], -2.0), 4);
        assert!(solid.volume() == 0.0);
    }
}
