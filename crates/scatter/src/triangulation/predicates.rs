//! Exact signs, with ties of the sphere broken by a symbolic perturbation.

use robust::{Coord, Coord3D, insphere, orient2d, orient3d};

use super::{Cell, side};

fn coord([x, y, z]: [f64; 3]) -> Coord3D<f64> {
    Coord3D { x, y, z }
}

/// det(a − d, b − d, c − d), 6 × the signed volume: the sign is exact, the size to rounding.
///
/// # Source
/// Shewchuk (1997), adaptive precision floating-point arithmetic and robust geometric predicates.
pub(super) fn orientation([a, b, c, d]: [[f64; 3]; 4]) -> f64 {
    orient3d(coord(a), coord(b), coord(c), coord(d))
}

/// Above 0 within the circumsphere of positively oriented corners, 0 on it: the sign is exact.
pub(super) fn sphere_side(corners: [[f64; 3]; 4], at: [f64; 3]) -> f64 {
    let [a, b, c, d] = corners.map(coord);
    insphere(a, b, c, d, coord(at))
}

/// Whether three points lie on a line: they do in all three projections.
pub(super) fn collinear(points: [[f64; 3]; 3]) -> bool {
    [(0, 1), (1, 2), (2, 0)].into_iter().all(|(u, v)| {
        let [a, b, c] = points.map(|p| Coord { x: p[u], y: p[v] });
        orient2d(a, b, c) == 0.0
    })
}

/// Whether a point lies in the perturbed circumsphere of a finite cell; points are numbered in
/// lexicographic order.
///
/// The lift of the last of the five points is perturbed most. If it is the point itself, it rises
/// out of the sphere; if it is a corner, the sphere rises over the side of that corner. Where the
/// point lies in the facet opposite the corner nothing changes and the next one decides.
pub(super) fn in_sphere(points: &[[f64; 3]], cell: &Cell, point: usize) -> bool {
    let at = points[point];
    let inside = sphere_side(cell.corners.map(|v| points[v]), at);
    if inside != 0.0 {
        return inside > 0.0;
    }
    let mut slots = [0, 1, 2, 3];
    slots.sort_unstable_by_key(|k| std::cmp::Reverse(cell.corners[*k]));
    let above = slots.into_iter().take_while(|k| cell.corners[*k] > point);
    above
        .map(|slot| side(points, cell, slot, at))
        .find(|side| *side != 0.0)
        .is_some_and(|side| side > 0.0)
}
