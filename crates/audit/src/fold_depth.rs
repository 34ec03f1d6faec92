use evenstep_colour::itp_from_xyz;
use evenstep_lut::{CodeScale, Lut1d, Lut3d, TETRAHEDRON_CORNERS, tetrahedron_volumes};
use rayon::prelude::*;

use crate::cells::Cells;
use crate::context::PanelContext;
use crate::folds::COLLAPSED;
use crate::light::ITP_SCALE;
use crate::node_figures::node_signal;
use crate::walk::shown_by;

/// Corners of a cell, (r, g, b) at `r + 2·g + 4·b`.
type Corners = [[f64; 3]; 8];

/// How far the deepest fold of a lattice goes back in what the panel shows.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct FoldDepth {
    /// ΔE ITP; 0 without a fold.
    pub(crate) itp: f64,
    /// The same over cells that a named ramp crosses.
    pub(crate) on_ramps_itp: f64,
    /// The cell of `itp`, by its lowest node.
    pub(crate) cell: Option<[usize; 3]>,
}

/// Looks at every folded cell that the panel reaches. `crossed` says whether a named ramp crosses a cell.
pub(crate) fn fold_depth(
    lattice: &Lut3d,
    curves: Option<&Lut1d>,
    cells: &Cells,
    crossed: impl Fn([usize; 3]) -> bool,
    scale: CodeScale,
    context: &PanelContext<'_>,
) -> FoldDepth {
    let widths = minus(lattice.domain_max(), lattice.domain_min());
    let scale_of_volumes = ((lattice.size() - 1) as f64).powi(3) / widths.iter().product::<f64>();
    let depth = |cell: [usize; 3]| -> f64 {
        let corners: [[usize; 3]; 8] =
            std::array::from_fn(|bits| [0, 1, 2].map(|c| cell[c] + (bits >> c & 1)));
        let signals = corners.map(|node| node_signal(lattice, curves, scale, node));
        if !signals.iter().all(|&s| (context.reachable)(s)) {
            return 0.0;
        }
        let nodes = corners.map(|[r, g, b]| lattice.node(r, g, b));
        let colour = |xyz| {
            let itp = itp_from_xyz(xyz);
            [itp.i, itp.t, itp.p].map(|v| ITP_SCALE * v)
        };
        let drives = nodes.map(|v| v.map(|v| scale.signal_from_position(v)));
        let shown = drives.map(|drive| colour(shown_by(context.panel, drive)));
        let wanted = signals.map(|signal| colour(context.target.xyz(signal)));
        deepest(&nodes, &shown, &wanted, scale_of_volumes)
    };
    let folded: Vec<[usize; 3]> = cells
        .bad
        .iter()
        .filter(|bad| bad.folded > 0)
        .map(|bad| bad.cell)
        .collect();
    let depths: Vec<f64> = folded.par_iter().map(|&cell| depth(cell)).collect();
    let mut found = FoldDepth::default();
    for (cell, itp) in folded.into_iter().zip(depths) {
        if itp > found.itp {
            (found.itp, found.cell) = (itp, Some(cell));
        }
        if itp > found.on_ramps_itp && crossed(cell) {
            found.on_ramps_itp = itp;
        }
    }
    found
}

/// The deepest of the folded tetrahedra of a cell: the least move of one corner that unfolds it, which is its smallest
/// height. A tetrahedron that is turned inside out in drive but not in light has none.
fn deepest(nodes: &Corners, shown: &Corners, wanted: &Corners, scale: f64) -> f64 {
    let [drive, light, ideal] = [nodes, shown, wanted].map(tetrahedron_volumes);
    let folded =
        |k: &usize| scale * drive[*k] < -COLLAPSED && light[*k].signum() != ideal[*k].signum();
    (0..TETRAHEDRON_CORNERS.len())
        .filter(folded)
        .map(|k| smallest_height(TETRAHEDRON_CORNERS[k].map(|c| shown[c]), light[k].abs()))
        .fold(0.0, f64::max)
}

/// Three times the volume over the largest face; the determinant is six times the volume, a cross product twice a face.
fn smallest_height(corners: [[f64; 3]; 4], determinant: f64) -> f64 {
    let faces = (0..4).map(|without| {
        let [a, b, c] = [1, 2, 3].map(|k| corners[(without + k) % 4]);
        let (u, v) = (minus(b, a), minus(c, a));
        let cross = [0, 1, 2].map(|k| {
            let (k, l) = ((k + 1) % 3, (k + 2) % 3);
            u[k] * v[l] - u[l] * v[k]
        });
        cross.iter().map(|x| x * x).sum::<f64>().sqrt()
    });
    let largest = faces.fold(0.0, f64::max);
    if largest > 0.0 {
        determinant / largest
    } else {
        0.0
    }
}

fn minus(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [0, 1, 2].map(|c| a[c] - b[c])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_corner_pushed_through_its_far_face_is_as_deep_as_the_least_move_back() {
        let cube: Corners = std::array::from_fn(|i| [i & 1, i >> 1 & 1, i >> 2].map(|v| v as f64));
        assert_eq!(deepest(&cube, &cube, &cube, 1.0), 0.0);
        // Corner (1, 0, 0) goes to red −0.25, beyond the planes red = green and red = blue that its two tetrahedra have
        // opposite to it. Both are least high over the face without (0, 0, 0), which moves by less: seen along blue that
        // face is the line from (−0.25, 0) to (1, 1), and the origin 0.25 / √(1.25² + 1) off it.
        let mut folded = cube;
        folded[1][0] = -0.25;
        const ROUNDOFF: f64 = 1e-12;
        let found = deepest(&folded, &folded, &cube, 1.0);
        assert!(
            (found - 0.25 / 1.25_f64.hypot(1.0)).abs() < ROUNDOFF,
            "{found}"
        );
        // Light that is not turned around has no depth.
        assert_eq!(deepest(&folded, &cube, &cube, 1.0), 0.0);
    }
}
