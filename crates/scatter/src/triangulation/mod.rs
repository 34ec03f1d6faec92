//! Delaunay triangulation of points in space, exact and the same whatever the order of the points.

mod build;
mod closest;
mod predicates;

pub(crate) use closest::Foot;

use crate::sites::squared_distance;
use predicates::{in_sphere, orientation, sphere_side};

/// The vertex that every facet of the hull is joined to, so that each cell has four neighbours.
const INFINITE: usize = usize::MAX;

/// A tetrahedron; `neighbours[k]` shares the three corners other than `corners[k]`.
///
/// The corners are positively oriented. In a ghost (a cell with the infinite vertex) so are the
/// corners with any point outside that facet of the hull in place of the infinite one.
#[derive(Clone, Copy, Debug)]
struct Cell {
    corners: [usize; 4],
    neighbours: [usize; 4],
}

impl Cell {
    /// Storage that is free to be used again.
    const DEAD: Self = Self {
        corners: [INFINITE; 4],
        neighbours: [INFINITE; 4],
    };

    fn infinite_corner(&self) -> Option<usize> {
        self.corners.iter().position(|v| *v == INFINITE)
    }

    fn is_dead(&self) -> bool {
        self.corners == [INFINITE; 4]
    }
}

/// The Delaunay triangulation of distinct points that do not lie in one plane.
///
/// Cospherical points are told apart as if each point were lifted off the paraboloid
/// (x, x²+y²+z²) by an infinitesimal that grows with its lexicographic rank, so the triangulation
/// is unique, has no flat cell, and that of a subset is consistent with it.
///
/// # Source
/// Bowyer (1981) and Watson (1981) for the insertion; Devillers and Teillaud (2003), "Perturbations
/// and vertex removal in a 3D Delaunay triangulation", for the ties (titles from memory).
pub(crate) struct Triangulation {
    /// In lexicographic order.
    points: Vec<[f64; 3]>,
    cells: Vec<Cell>,
    /// A finite cell at each point.
    at_point: Vec<usize>,
    /// Corners of each facet of the hull, such that a point outside makes them positive as the fourth.
    hull: Vec<[usize; 3]>,
    centre: [f64; 3],
    extent: f64,
}

impl Triangulation {
    /// Triangulates points in strict lexicographic order; `None` if they lie in one plane.
    pub(crate) fn new(points: Vec<[f64; 3]>) -> Option<Self> {
        let cells = build::cells(&points)?;
        let mut at_point = vec![0; points.len()];
        let mut hull = Vec::new();
        for (index, cell) in cells.iter().enumerate().filter(|(_, c)| !c.is_dead()) {
            match cell.infinite_corner() {
                None => cell.corners.iter().for_each(|v| at_point[*v] = index),
                Some(slot) => hull.push(facet(cell, slot)),
            }
        }
        let count = points.len() as f64;
        let centre = [0, 1, 2].map(|c| points.iter().map(|p| p[c]).sum::<f64>() / count);
        let from_centre = points.iter().map(|p| squared_distance(*p, centre));
        let extent = 2.0 * from_centre.fold(0.0, f64::max).sqrt();
        Some(Self {
            points,
            cells,
            at_point,
            hull,
            centre,
            extent,
        })
    }

    /// Mean of the points.
    pub(crate) fn centre(&self) -> [f64; 3] {
        self.centre
    }

    /// Diameter of the points' sphere around their mean.
    pub(crate) fn extent(&self) -> f64 {
        self.extent
    }

    pub(crate) fn points(&self) -> &[[f64; 3]] {
        &self.points
    }

    /// Corners of each tetrahedron.
    pub(crate) fn tetrahedra(&self) -> impl Iterator<Item = [usize; 4]> {
        let finite = |cell: &&Cell| cell.infinite_corner().is_none();
        self.cells.iter().filter(finite).map(|cell| cell.corners)
    }

    /// For each point those that share an edge with it, ascending.
    pub(crate) fn adjacency(&self) -> Vec<Vec<usize>> {
        let mut joined = vec![Vec::new(); self.points.len()];
        for corners in self.tetrahedra() {
            for a in corners {
                joined[a].extend(corners.iter().copied().filter(|b| *b != a));
            }
        }
        for list in &mut joined {
            list.sort_unstable();
            list.dedup();
        }
        joined
    }

    /// Barycentric weights of the closest point of the hull: the point itself where it is inside.
    ///
    /// `near` is a point to start the search from.
    pub(crate) fn foot(&self, at: [f64; 3], near: usize) -> Foot {
        let cell = locate(&self.points, &self.cells, self.at_point[near], at);
        let cell = &self.cells[cell];
        if cell.infinite_corner().is_none() {
            return Foot::inside(&self.points, cell.corners, at);
        }
        let seen = |facet: &&[usize; 3]| {
            let [a, b, c] = facet.map(|v| self.points[v]);
            orientation([a, b, c, at]) > 0.0
        };
        Foot::closest(&self.points, self.hull.iter().filter(seen).copied(), at)
    }

    /// The closest point of the surface of the hull, from either side.
    pub(crate) fn on_hull(&self, at: [f64; 3]) -> Foot {
        Foot::closest(&self.points, self.hull.iter().copied(), at)
    }

    /// All cells whose spheres hold a point, or have it on them; `None` outside the hull.
    pub(crate) fn cells_around(&self, at: [f64; 3], near: usize) -> Option<Vec<[usize; 4]>> {
        let start = locate(&self.points, &self.cells, self.at_point[near], at);
        if self.cells[start].infinite_corner().is_some() {
            return None;
        }
        let mut seen = vec![start];
        let mut held = vec![start];
        let mut done = 0;
        while let Some(&here) = held.get(done) {
            done += 1;
            for next in self.cells[here].neighbours {
                let cell = &self.cells[next];
                if cell.infinite_corner().is_some() || seen.contains(&next) {
                    continue;
                }
                seen.push(next);
                if sphere_side(cell.corners.map(|v| self.points[v]), at) >= 0.0 {
                    held.push(next);
                }
            }
        }
        Some(held.into_iter().map(|c| self.cells[c].corners).collect())
    }
}

/// The corners other than `slot`, in an order that keeps the orientation with a fourth at the end.
fn facet(cell: &Cell, slot: usize) -> [usize; 3] {
    let [a, b, c, d] = cell.corners;
    match slot {
        0 => [b, d, c],
        1 => [a, c, d],
        2 => [a, d, b],
        _ => [a, b, c],
    }
}

/// Orientation of a cell with another point in place of one corner: positive on the inner side.
fn side(points: &[[f64; 3]], cell: &Cell, slot: usize, at: [f64; 3]) -> f64 {
    let corner = |k| {
        if k == slot {
            at
        } else {
            points[cell.corners[k]]
        }
    };
    orientation(std::array::from_fn(corner))
}

/// The finite cell that holds a point, or a ghost whose facet has it strictly outside.
///
/// Steps through any facet that has the point on its other side; in a Delaunay triangulation that
/// never comes back (Edelsbrunner 1990), so the bound is reached only if products overflow.
fn locate(points: &[[f64; 3]], cells: &[Cell], from: usize, at: [f64; 3]) -> usize {
    let mut here = from;
    for _ in 0..=cells.len() {
        let cell = &cells[here];
        if cell.infinite_corner().is_some() {
            break;
        }
        let beyond = (0..4).find(|slot| side(points, cell, *slot, at) < 0.0);
        match beyond {
            Some(slot) => here = cell.neighbours[slot],
            None => break,
        }
    }
    here
}

/// Whether a further point lies in the perturbed circumsphere of a cell.
fn conflicts(points: &[[f64; 3]], cell: &Cell, all: &[Cell], point: usize) -> bool {
    let at = points[point];
    let Some(slot) = cell.infinite_corner() else {
        return in_sphere(points, cell, point);
    };
    let outside = side(points, cell, slot, at);
    if outside != 0.0 {
        return outside > 0.0;
    }
    // In the plane of the facet its circle counts, in which the sphere of the cell behind cuts it.
    in_sphere(points, &all[cell.neighbours[slot]], point)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of some 10⁵ volumes that add up to 1.
    const VOLUME: f64 = 1e-12;

    fn lattice(size: u32) -> Vec<[f64; 3]> {
        let at = |i: u32| f64::from(i) / f64::from(size - 1);
        let rows = (0..size).flat_map(|x| (0..size).map(move |y| (x, y)));
        rows.flat_map(|(x, y)| (0..size).map(move |z| [at(x), at(y), at(z)]))
            .collect()
    }

    fn scattered(count: u32) -> Vec<[f64; 3]> {
        let mut state = 7_u64;
        let mut next = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        let corners = lattice(2);
        let mut points: Vec<_> = (0..count).map(|_| [next(), next(), next()]).collect();
        points.extend(corners);
        points.sort_by(|a, b| a.partial_cmp(b).unwrap());
        points
    }

    /// 6 × the volume, from the exact predicate; above 0 unless the cell is flat or turned over.
    fn volumes(mesh: &Triangulation) -> Vec<f64> {
        let volume = |corners: [usize; 4]| orientation(corners.map(|v| mesh.points[v]));
        mesh.tetrahedra().map(volume).collect()
    }

    #[test]
    fn cells_fill_the_hull_without_a_flat_one() {
        for points in [lattice(2), lattice(7), lattice(17), scattered(800)] {
            let mesh = Triangulation::new(points).unwrap();
            let volumes = volumes(&mesh);
            assert!(volumes.iter().all(|v| *v > 0.0));
            let sum: f64 = volumes.iter().sum();
            assert!((sum / 6.0 - 1.0).abs() < VOLUME, "{sum}");
        }
    }

    /// With the predicate as published, without the ties' perturbation.
    #[test]
    fn no_point_lies_strictly_in_the_circumsphere_of_a_cell() {
        let coord = |[x, y, z]: [f64; 3]| robust::Coord3D { x, y, z };
        for points in [lattice(5), scattered(200)] {
            let mesh = Triangulation::new(points).unwrap();
            for cell in mesh.tetrahedra() {
                let [a, b, c, d] = cell.map(|v| coord(mesh.points[v]));
                let mut sides = mesh
                    .points
                    .iter()
                    .map(|p| robust::insphere(a, b, c, d, coord(*p)));
                assert!(sides.all(|side| side <= 0.0));
            }
        }
    }

    fn sorted(cells: impl Iterator<Item = [usize; 4]>) -> Vec<[usize; 4]> {
        let mut cells: Vec<_> = cells
            .map(|mut cell| {
                cell.sort_unstable();
                cell
            })
            .collect();
        cells.sort_unstable();
        cells
    }

    /// The order of insertion settles no tie: it only numbers the cells.
    #[test]
    fn every_order_of_insertion_gives_the_same_cells() {
        for points in [lattice(2), lattice(4), scattered(100)] {
            let expected = sorted(Triangulation::new(points.clone()).unwrap().tetrahedra());
            let n = points.len();
            for step in [1, 3, 5, 7, 11, n - 1] {
                let order: Vec<usize> = (0..n).map(|i| (i * step + 2) % n).collect();
                if order.iter().any(|i| !order.contains(&((i + 1) % n))) {
                    continue; // the step divides the number of points: no permutation
                }
                let cells = build::cells_inserted(&points, &order).unwrap();
                let finite = cells.iter().filter(|c| c.infinite_corner().is_none());
                assert_eq!(sorted(finite.map(|c| c.corners)), expected);
            }
        }
    }

    /// The definition itself, in whole numbers: cells are the lower facets of the points lifted to
    /// |x|² and a height that grows 64-fold from each point to the next.
    #[test]
    fn ties_are_broken_as_by_lifting() {
        let at = |i: i128| [i / 9, i / 3 % 3, i % 3];
        let points: Vec<[i128; 3]> = (0..18).map(at).collect();
        let lifted: Vec<[i128; 4]> = (points.iter().enumerate())
            .map(|(rank, [x, y, z])| {
                let height = ((x * x + y * y + z * z) << 108) + (1 << (6 * rank));
                [*x, *y, *z, height]
            })
            .collect();
        let minor = |m: [[i128; 3]; 3]| {
            m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
                - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
                + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
        };
        // Height of a point over the hyperplane of four, times the volume of the four.
        let over = |cell: [usize; 4], p: usize| {
            let row = |v: usize| -> [i128; 4] {
                std::array::from_fn(|k| lifted[v][k] - lifted[cell[3]][k])
            };
            let rows = [cell[0], cell[1], cell[2], p].map(row);
            let without = |r: usize| {
                let kept: Vec<[i128; 3]> = (0..4)
                    .filter(|i| *i != r)
                    .map(|i| [rows[i][0], rows[i][1], rows[i][2]])
                    .collect();
                minor([kept[0], kept[1], kept[2]])
            };
            let volume = without(3);
            let over = rows[3][3] * without(3) - rows[2][3] * without(2) + rows[1][3] * without(1)
                - rows[0][3] * without(0);
            (volume, over * volume.signum())
        };
        let mut expected = Vec::new();
        for a in 0..18 {
            for b in a + 1..18 {
                for c in b + 1..18 {
                    for d in c + 1..18 {
                        let cell = [a, b, c, d];
                        let mut others = (0..18).filter(|p| !cell.contains(p));
                        if over(cell, a).0 != 0 && others.all(|p| over(cell, p).1 > 0) {
                            expected.push(cell);
                        }
                    }
                }
            }
        }
        let floats = points.iter().map(|p| p.map(|v| v as f64)).collect();
        let mesh = Triangulation::new(floats).unwrap();
        assert_eq!(sorted(mesh.tetrahedra()), expected);
    }

    #[test]
    fn neighbours_know_each_other() {
        let mesh = Triangulation::new(lattice(5)).unwrap();
        for (index, cell) in mesh.cells.iter().enumerate().filter(|(_, c)| !c.is_dead()) {
            for slot in 0..4 {
                let other = &mesh.cells[cell.neighbours[slot]];
                assert!(other.neighbours.contains(&index));
                let shared = |v: &&usize| other.corners.contains(v);
                assert_eq!(cell.corners.iter().filter(shared).count(), 3);
                assert!(!other.corners.contains(&cell.corners[slot]));
            }
        }
    }

    /// Every facet of the hull has all points behind it or in its plane.
    #[test]
    fn the_hull_is_convex() {
        for points in [lattice(4), scattered(300)] {
            let mesh = Triangulation::new(points).unwrap();
            for facet in &mesh.hull {
                let [a, b, c] = facet.map(|v| mesh.points[v]);
                assert!(
                    mesh.points
                        .iter()
                        .all(|p| orientation([a, b, c, *p]) <= 0.0)
                );
            }
        }
    }

    #[test]
    fn a_plane_or_a_line_has_none() {
        let flat: Vec<_> = lattice(4).into_iter().filter(|p| p[1] == 0.0).collect();
        let line: Vec<_> = lattice(4)
            .into_iter()
            .filter(|p| p[0] == p[1] && p[1] == p[2])
            .collect();
        assert!(Triangulation::new(flat).is_none());
        assert!(Triangulation::new(line).is_none());
    }
}
