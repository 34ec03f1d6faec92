//! Incremental construction: each point replaces the cells whose spheres it lies in.

use super::predicates::{collinear, orientation};
use super::{Cell, INFINITE, conflicts, locate};

/// Bits of each coordinate in the order of insertion.
const MORTON_BITS: u32 = 20;

/// The cells of points in lexicographic order; `None` if all lie in one plane.
pub(super) fn cells(points: &[[f64; 3]]) -> Option<Vec<Cell>> {
    cells_inserted(points, &order(points))
}

/// The cells from points inserted in a given order, on which only the numbering of the cells depends.
pub(super) fn cells_inserted(points: &[[f64; 3]], order: &[usize]) -> Option<Vec<Cell>> {
    let first = first_cell(points, order)?;
    let mut builder = Builder::new(points, first);
    for &point in order.iter().filter(|p| !first.contains(p)) {
        builder.insert(point);
    }
    Some(builder.cells)
}

/// Along a Morton curve through the bounding box, so that each point is close to the one before.
fn order(points: &[[f64; 3]]) -> Vec<usize> {
    let bound = |c: usize, pick: fn(f64, f64) -> f64| {
        points.iter().map(|p| p[c]).reduce(pick).unwrap_or_default()
    };
    let low: [f64; 3] = std::array::from_fn(|c| bound(c, f64::min));
    let high: [f64; 3] = std::array::from_fn(|c| bound(c, f64::max));
    let steps = f64::from((1_u32 << MORTON_BITS) - 1);
    let key = |p: &[f64; 3]| {
        let mut key = 0_u64;
        for c in 0..3 {
            // 0/0 in a flat box is not a number, which becomes 0.
            let step = ((p[c] - low[c]) / (high[c] - low[c]) * steps) as u64;
            for bit in 0..MORTON_BITS {
                key |= (step >> bit & 1) << (3 * bit + c as u32);
            }
        }
        key
    };
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by_cached_key(|i| (key(&points[*i]), *i));
    order
}

/// The first four points in order that are not in one plane, positively oriented.
fn first_cell(points: &[[f64; 3]], order: &[usize]) -> Option<[usize; 4]> {
    let (&a, rest) = order.split_first()?;
    let (&b, rest) = rest.split_first()?;
    let mut rest = rest.iter().copied();
    let c = rest.find(|c| !collinear([a, b, *c].map(|v| points[v])))?;
    // Points skipped so far are on the line of a and b, hence in every plane through it.
    let volume = |d: usize| orientation([a, b, c, d].map(|v| points[v]));
    let d = rest.find(|d| volume(*d) != 0.0)?;
    Some(if volume(d) > 0.0 {
        [a, b, c, d]
    } else {
        [b, a, c, d]
    })
}

struct Builder<'a> {
    points: &'a [[f64; 3]],
    cells: Vec<Cell>,
    /// Dead cells.
    free: Vec<usize>,
    /// The last insertion that looked at each cell, and whether it was in conflict.
    looked: Vec<(usize, bool)>,
    /// A finite cell made last, where the next search starts.
    last: usize,
}

impl<'a> Builder<'a> {
    /// One tetrahedron and a ghost on each of its facets.
    fn new(points: &'a [[f64; 3]], first: [usize; 4]) -> Self {
        let mut cells = vec![Cell {
            corners: first,
            // The ghost on the facet opposite corner k is cell k + 1.
            neighbours: [1, 2, 3, 4],
        }];
        for slot in 0..4 {
            let mut corners = first;
            corners[slot] = INFINITE;
            let mut neighbours = [1, 2, 3, 4];
            neighbours[slot] = 0;
            // Seen from outside, the facet turns the other way.
            let (u, v) = ((slot + 1) % 4, (slot + 2) % 4);
            corners.swap(u, v);
            neighbours.swap(u, v);
            cells.push(Cell {
                corners,
                neighbours,
            });
        }
        Self {
            points,
            looked: vec![(INFINITE, false); cells.len()],
            cells,
            free: Vec::new(),
            last: 0,
        }
    }

    fn insert(&mut self, point: usize) {
        let start = locate(self.points, &self.cells, self.last, self.points[point]);
        let (cavity, border) = self.cavity(start, point);
        let fresh: Vec<(Cell, usize)> = border
            .into_iter()
            .map(|(inner, slot)| {
                let mut cell = self.cells[inner];
                cell.corners[slot] = point;
                (cell, slot)
            })
            .collect();
        for &dead in &cavity {
            self.cells[dead] = Cell::DEAD;
        }
        // In reverse, so that storage is used again in the order in which it was left.
        self.free.extend(cavity.into_iter().rev());

        let mut open = Vec::with_capacity(3 * fresh.len());
        for (cell, slot) in fresh {
            let index = self.store(cell);
            let outer = &mut self.cells[cell.neighbours[slot]];
            // By its corner: indices of dead cells are already in use again.
            let apart = |v: &usize| !cell.corners.contains(v);
            if let Some(back) = outer.corners.iter().position(apart) {
                outer.neighbours[back] = index;
            }
            for other in (0..4).filter(|k| *k != slot) {
                let mut edge = cell.corners.into_iter().enumerate();
                let mut next = || {
                    edge.find(|(k, _)| *k != slot && *k != other)
                        .map(|(_, v)| v)
                };
                let ends = (next(), next());
                open.push((ends.min((ends.1, ends.0)), index, other));
            }
            if cell.infinite_corner().is_none() {
                self.last = index;
            }
        }
        // Each edge of the border belongs to two of its facets, so to two of the new cells.
        open.sort_unstable();
        for pair in open.chunks_exact(2) {
            let ((_, one, one_slot), (_, two, two_slot)) = (pair[0], pair[1]);
            self.cells[one].neighbours[one_slot] = two;
            self.cells[two].neighbours[two_slot] = one;
        }
    }

    /// All cells in conflict with a point, which are connected, and their facets to the others.
    fn cavity(&mut self, start: usize, point: usize) -> (Vec<usize>, Vec<(usize, usize)>) {
        let mut cavity = vec![start];
        let mut border = Vec::new();
        self.looked[start] = (point, true);
        let mut done = 0;
        while let Some(&inner) = cavity.get(done) {
            done += 1;
            for slot in 0..4 {
                let next = self.cells[inner].neighbours[slot];
                let (by, conflict) = self.looked[next];
                let conflict = if by == point {
                    conflict
                } else {
                    let conflict = conflicts(self.points, &self.cells[next], &self.cells, point);
                    self.looked[next] = (point, conflict);
                    if conflict {
                        cavity.push(next);
                    }
                    conflict
                };
                if !conflict {
                    border.push((inner, slot));
                }
            }
        }
        (cavity, border)
    }

    fn store(&mut self, cell: Cell) -> usize {
        if let Some(index) = self.free.pop() {
            self.cells[index] = cell;
            index
        } else {
            self.cells.push(cell);
            self.looked.push((INFINITE, false));
            self.cells.len() - 1
        }
    }
}
