/// The order in which the axes are taken from 000 to 111, with the sign of that permutation.
const PATHS: [([usize; 3], f64); 6] = [
    ([0, 1, 2], 1.0),
    ([1, 2, 0], 1.0),
    ([2, 0, 1], 1.0),
    ([0, 2, 1], -1.0),
    ([2, 1, 0], -1.0),
    ([1, 0, 2], -1.0),
];

/// Corners of the six tetrahedra of a cell, in the order of [`tetrahedron_volumes`]; corner (r, g, b) is `r + 2·g + 4·b`.
pub const TETRAHEDRON_CORNERS: [[usize; 4]; 6] = [
    [0, 1, 3, 7],
    [0, 2, 6, 7],
    [0, 4, 5, 7],
    [0, 1, 5, 7],
    [0, 4, 6, 7],
    [0, 2, 3, 7],
];

/// Determinants of the edges of the six tetrahedra of a cell around its 000–111 diagonal: 1 for a unit cell that is left
/// as it is, 0 where volume is lost, negative where it is turned inside out.
///
/// Corner (r, g, b) of the cell stands at `r + 2·g + 4·b`.
#[must_use]
#[inline(always)]
pub fn tetrahedron_volumes(corners: &[[f64; 3]; 8]) -> [f64; 6] {
    // One by one: a loop over closures is not always unrolled, and then cells side by side share no vector instructions.
    [
        volume(corners, 0),
        volume(corners, 1),
        volume(corners, 2),
        volume(corners, 3),
        volume(corners, 4),
        volume(corners, 5),
    ]
}

#[inline(always)]
fn volume(corners: &[[f64; 3]; 8], path: usize) -> f64 {
    let [a, b, c, d] = TETRAHEDRON_CORNERS[path];
    PATHS[path].1 * determinant(corners[a], corners[b], corners[c], corners[d])
}

/// Determinant of the three edges along the path a → b → c → d.
#[inline(always)]
fn determinant(a: [f64; 3], b: [f64; 3], c: [f64; 3], d: [f64; 3]) -> f64 {
    let (u, v, w) = (edge(a, b), edge(b, c), edge(c, d));
    u[0] * (v[1] * w[2] - v[2] * w[1]) - u[1] * (v[0] * w[2] - v[2] * w[0])
        + u[2] * (v[0] * w[1] - v[1] * w[0])
}

#[inline(always)]
fn edge(from: [f64; 3], to: [f64; 3]) -> [f64; 3] {
    [to[0] - from[0], to[1] - from[1], to[2] - from[2]]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn corners_are_those_of_the_paths() {
        for (corners, (path, _)) in TETRAHEDRON_CORNERS.iter().zip(PATHS) {
            let one = 1 << path[0];
            assert_eq!(*corners, [0, one, one | 1 << path[1], 7]);
        }
    }

    #[test]
    fn the_cube_keeps_its_volume_and_a_mirror_turns_it() {
        let corner = |i: usize| [i & 1, i >> 1 & 1, i >> 2].map(|v| v as f64);
        assert_eq!(tetrahedron_volumes(&std::array::from_fn(corner)), [1.0; 6]);
        let mirrored = |i: usize| corner(i ^ 1);
        assert_eq!(
            tetrahedron_volumes(&std::array::from_fn(mirrored)),
            [-1.0; 6]
        );
    }
}
