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

/// A bounded intersection of half-spaces, each face carrying the tag of its half-space.
#[derive(Clone, Debug)]
pub(crate) struct Polyhedron<T> {
    corners: Vec<Vector3<f64>>,
    /// Corners of one face after another, counter-clockwise seen from outside.
    rings: Vec<usize>,
    /// Tag, and where the face's ring ends.
    faces: Vec<(T, usize)>,
}

/// An edge from a corner that stays to one that goes, and the point where it is cut.
#[derive(Clone, Copy)]
struct Crossing {
    inner: usize,
    outer: usize,
    corner: usize,
    /// The crossing that follows on the new face.
    next: usize,
}

/// Storage that cuts use again.
pub(crate) struct Work<T> {
    excess: Vec<f64>,
    /// New numbers of the corners that stay.
    number: Vec<usize>,
    crossings: Vec<Crossing>,
    spare: Polyhedron<T>,
}

impl<T> Work<T> {
    pub(crate) fn new() -> Self {
        Self {
            excess: Vec::new(),
            number: Vec::new(),
            crossings: Vec::new(),
            spare: Polyhedron {
                corners: Vec::new(),
                rings: Vec::new(),
                faces: Vec::new(),
            },
        }
    }
}

impl<T: Copy + PartialEq> Polyhedron<T> {
    /// |y| ≤ `half` in each coordinate.
    pub(crate) fn cube(half: f64, tag: T) -> Self {
        let sign = |bit: usize| if bit == 0 { -half } else { half };
        // Bit c of a corner's number is the side in coordinate c.
        let corners = (0..8)
            .map(|n| Vector3::new(sign(n & 1), sign(n & 2), sign(n & 4)))
            .collect();
        let rings = vec![
            0, 4, 6, 2, 1, 3, 7, 5, // x
            0, 1, 5, 4, 2, 6, 7, 3, // y
            0, 2, 3, 1, 4, 5, 7, 6, // z
        ];
        Self {
            corners,
            rings,
            faces: (1..=6).map(|n| (tag, 4 * n)).collect(),
        }
    }

    fn rings(&self) -> impl Iterator<Item = (T, &[usize])> {
        let mut start = 0;
        self.faces.iter().map(move |&(tag, end)| {
            let ring = &self.rings[start..end];
            start = end;
            (tag, ring)
        })
    }

    /// Keeps what lies within a half-space.
    ///
    /// Which corners stay is decided once for each, and each cut edge gives one new corner to both of its
    /// faces, so that rounding moves corners but leaves the surface closed.
    pub(crate) fn cut(&mut self, by: HalfSpace, tag: T, work: &mut Work<T>) {
        work.excess.clear();
        let excess = self.corners.iter().map(|at| by.excess(*at));
        work.excess.extend(excess);
        let goes = |corner: usize, excess: &[f64]| excess[corner] > 0.0;
        if !(0..self.corners.len()).any(|corner| goes(corner, &work.excess)) {
            return;
        }
        let Work {
            excess,
            number,
            crossings,
            spare,
        } = work;
        number.clear();
        crossings.clear();
        spare.corners.clear();
        spare.rings.clear();
        spare.faces.clear();
        for (corner, at) in self.corners.iter().enumerate() {
            number.push(spare.corners.len());
            if !goes(corner, excess) {
                spare.corners.push(*at);
            }
        }
        for (face, ring) in self.rings() {
            let begin = spare.rings.len();
            // The last way out, and a way in that came before any.
            let (mut out, mut waiting) = (None, None);
            for (k, &here) in ring.iter().enumerate() {
                let next = ring[(k + 1) % ring.len()];
                if !goes(here, excess) {
                    spare.rings.push(number[here]);
                }
                if goes(here, excess) == goes(next, excess) {
                    continue;
                }
                let leaves = goes(next, excess);
                let (inner, outer) = if leaves { (here, next) } else { (next, here) };
                let same = |c: &Crossing| (c.inner, c.outer) == (inner, outer);
                let at = crossings.iter().position(same).unwrap_or_else(|| {
                    let (from, to) = (self.corners[inner], self.corners[outer]);
                    let part = excess[inner] / (excess[inner] - excess[outer]);
                    crossings.push(Crossing {
                        inner,
                        outer,
                        corner: spare.corners.len(),
                        next: 0,
                    });
                    spare.corners.push(from + (to - from) * part);
                    crossings.len() - 1
                });
                spare.rings.push(crossings[at].corner);
                // The new face passes the edge between the two the other way.
                if leaves {
                    out = Some(at);
                } else if let Some(out) = out {
                    crossings[at].next = out;
                } else {
                    waiting = Some(at);
                }
            }
            if let (Some(at), Some(out)) = (waiting, out) {
                crossings[at].next = out;
            }
            if spare.rings.len() > begin {
                spare.faces.push((face, spare.rings.len()));
            }
        }
        // Rounding may leave more than one turn; each is a face. A turn passed is marked by its end.
        const PASSED: usize = usize::MAX;
        for first in 0..crossings.len() {
            let mut at = first;
            while crossings[at].next != PASSED {
                spare.rings.push(crossings[at].corner);
                at = std::mem::replace(&mut crossings[at].next, PASSED);
            }
            if at == first && spare.rings.len() > spare.faces.last().map_or(0, |face| face.1) {
                spare.faces.push((tag, spare.rings.len()));
            }
        }
        std::mem::swap(self, spare);
    }

    pub(crate) fn has_face(&self, tag: T) -> bool {
        self.faces.iter().any(|face| face.0 == tag)
    }

    /// Largest size of a coordinate of a corner.
    pub(crate) fn reach(&self) -> f64 {
        self.corners
            .iter()
            .fold(0.0, |reach, at| reach.max(at.amax()))
    }

    pub(crate) fn volume(&self) -> f64 {
        // Seen from one of the corners, so that nothing cancels in a small part far from the origin.
        let from = self.corners.first().copied().unwrap_or_default();
        let sixfold = self.rings().flat_map(|(_, ring)| self.fan(ring));
        let sum: f64 = sixfold
            .map(|[a, b, c]| (a - from).dot(&(b - from).cross(&(c - from))))
            .sum();
        sum / 6.0
    }

    /// ∫ y dA over the face of a tag, and 0 without one: its area times its centroid.
    pub(crate) fn moment(&self, tag: T) -> Vector3<f64> {
        let own = self.rings().filter(|(face, _)| *face == tag);
        own.flat_map(|(_, ring)| self.fan(ring))
            .map(|[a, b, c]| (b - a).cross(&(c - a)).norm() / 2.0 * (a + b + c) / 3.0)
            .sum()
    }

    /// The triangles from the first corner of a ring.
    fn fan<'a>(&'a self, ring: &'a [usize]) -> impl Iterator<Item = [Vector3<f64>; 3]> + 'a {
        let edges = ring.windows(2).skip(1);
        edges.map(move |edge| [ring[0], edge[0], edge[1]].map(|corner| self.corners[corner]))
    }
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
        let (mut solid, mut work) = (Polyhedron::cube(1.0, 0), Work::new());
        assert!((solid.volume() - 8.0).abs() < ROUNDING);
        // The corner (1, 1, 1) is a tetrahedron of legs 1: volume 1/6, area √3/2, centroid 2/3 each.
        solid.cut(half_space([1.0; 3], 2.0), 1, &mut work);
        assert!((solid.volume() - (8.0 - 1.0 / 6.0)).abs() < ROUNDING);
        let expected = 3_f64.sqrt() / 2.0 * 2.0 / 3.0;
        assert!(
            solid
                .moment(1)
                .iter()
                .all(|m| (m - expected).abs() < ROUNDING)
        );
        solid.cut(half_space([0.0, 0.0, -3.0], 0.0), 2, &mut work);
        assert!((solid.volume() - (4.0 - 1.0 / 6.0)).abs() < ROUNDING);
        assert!(solid.has_face(0) && solid.has_face(1) && solid.has_face(2));
    }

    #[test]
    fn planes_through_corners_edges_and_outside() {
        let (mut solid, mut work) = (Polyhedron::cube(1.0, 0), Work::new());
        solid.cut(half_space([1.0, 1.0, 0.0], 2.0), 1, &mut work);
        solid.cut(half_space([1.0, 1.0, 1.0], 4.0), 2, &mut work);
        assert!((solid.volume() - 8.0).abs() < ROUNDING);
        assert!(!solid.has_face(1) && !solid.has_face(2));
        // Through two opposite edges.
        solid.cut(half_space([1.0, -1.0, 0.0], 0.0), 3, &mut work);
        assert!((solid.volume() - 4.0).abs() < ROUNDING);
        solid.cut(half_space([1.0, 0.0, 0.0], -2.0), 4, &mut work);
        assert!(solid.volume() == 0.0);
    }
}
