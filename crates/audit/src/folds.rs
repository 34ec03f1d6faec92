use rayon::prelude::*;
use serde::Serialize;

use crate::why::{NEEDS_READINGS, Why};

/// A determinant below minus this is a fold, within it a collapse (method, section 6); identity has 1.
pub const COLLAPSED: f64 = 1e-6;

/// Tetrahedra of the lattice that are turned inside out or have lost their volume. Every cell has six, around
/// its 000–111 diagonal.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Folds {
    /// Determinant < −10⁻⁶, the identity's being 1; in cells whose target the panel reaches, or, where the panel is not
    /// known, in cells without a clipped node.
    pub folded: usize,
    /// Magnitude ≤ 10⁻⁶, in cells whose target the panel reaches, or in all where the panel is not known.
    pub collapsed: usize,
    /// Folded in cells with a clipped node, where the panel is not known: at the edge of what a panel reaches, a lattice
    /// folds for good reason. Left out of the JSON with readings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub folded_at_clips: Option<usize>,
    /// Folded or collapsed in cells whose target the panel does not reach; `null` without readings.
    pub unreachable: Option<usize>,
    /// Those of `folded` in cells that a named ramp crosses.
    pub folded_on_ramps: usize,
    /// The first folded cell a ramp crosses, else the first folded cell, by its lowest node; left out of the JSON
    /// without a fold.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub first_cell: Option<[usize; 3]>,
    /// Reasons for the `null` fields.
    #[serde(skip_serializing_if = "Why::is_empty")]
    pub why: Why,
}

/// A cell with at least one fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct BadCell {
    /// Its lowest node.
    pub(crate) cell: [usize; 3],
    pub(crate) folded: u8,
    pub(crate) collapsed: u8,
    /// The least determinant.
    pub(crate) least: f64,
}

/// Sorts bad cells into the counts of the report.
///
/// `on_ramp` says whether a named ramp crosses a cell; `reachable` whether the panel reaches the target in all
/// of a cell, where that is known; `clipped`, asked where it is not, whether a node of a cell is clipped.
pub(crate) fn count(
    bad: &[BadCell],
    on_ramp: impl Fn([usize; 3]) -> bool,
    reachable: Option<&(dyn Fn([usize; 3]) -> bool + Sync)>,
    clipped: impl Fn([usize; 3]) -> bool,
) -> Folds {
    let reached: Vec<bool> = bad
        .par_iter()
        .map(|bad| reachable.is_none_or(|reachable| reachable(bad.cell)))
        .collect();
    let mut why = Why::default();
    let mut folds = Folds {
        unreachable: why.note("unreachable", reachable.map(|_| 0).ok_or(NEEDS_READINGS)),
        folded_at_clips: reachable.is_none().then_some(0),
        why,
        ..Folds::default()
    };
    let mut first_on_ramp = None;
    for (bad, reached) in bad.iter().zip(reached) {
        let (folded, collapsed) = (usize::from(bad.folded), usize::from(bad.collapsed));
        if !reached {
            folds.unreachable = folds.unreachable.map(|u| u + folded + collapsed);
            continue;
        }
        folds.collapsed += collapsed;
        if let Some(at_clips) = folds.folded_at_clips.as_mut()
            && clipped(bad.cell)
        {
            *at_clips += folded;
            continue;
        }
        folds.folded += folded;
        if folded > 0 {
            folds.first_cell = folds.first_cell.or(Some(bad.cell));
            if on_ramp(bad.cell) {
                folds.folded_on_ramps += folded;
                first_on_ramp = first_on_ramp.or(Some(bad.cell));
            }
        }
    }
    folds.first_cell = first_on_ramp.or(folds.first_cell);
    folds
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cells;
    use evenstep_lut::Lut3d;

    fn bad_cells(lattice: &Lut3d) -> Vec<BadCell> {
        cells::walk(lattice, 8).bad
    }

    #[test]
    fn identity_has_no_fold_and_a_mirror_is_all_folds() {
        assert!(bad_cells(&Lut3d::identity(9)).is_empty());
        let mirror = Lut3d::from_fn(5, |s| [1.0 - s[0], s[1], s[2]]);
        let bad = bad_cells(&mirror);
        assert_eq!(bad.len(), 64);
        assert!(bad.iter().all(|b| b.folded == 6 && b.collapsed == 0));
    }

    #[test]
    fn folds_beside_a_clip_are_set_aside_until_readings_tell() {
        // A fold at node (2, 2, 2), and one at (6, 6, 6), where red is clipped.
        let mut lattice = Lut3d::identity(9);
        for (at, red) in [(2, 0.05), (6, 0.0)] {
            let node = lattice.index(at, at, at);
            lattice.nodes_mut()[node][0] = red;
        }
        let bad = bad_cells(&lattice);
        let clipped = |cell| crate::node_figures::cell_is_clipped(&lattice, cell);
        let unknown = count(&bad, |_| false, None, clipped);
        let known = count(&bad, |_| false, Some(&|_| true), clipped);
        assert_eq!(known.folded_at_clips, None);
        let aside = unknown.folded_at_clips.unwrap();
        assert!(unknown.folded > 0 && aside > 0);
        assert_eq!(unknown.folded + aside, known.folded);
        assert_eq!(unknown.first_cell, known.first_cell);
    }

    #[test]
    fn swapping_two_axes_mirrors_and_cycling_three_does_not() {
        let swap = Lut3d::from_fn(3, |s| [s[1], s[0], s[2]]);
        assert!(bad_cells(&swap).iter().all(|b| b.folded == 6));
        let cycle = Lut3d::from_fn(3, |s| [s[1], s[2], s[0]]);
        assert!(bad_cells(&cycle).is_empty());
    }

    #[test]
    fn a_node_pushed_past_its_neighbour_folds_the_tetrahedra_computed_by_hand() {
        // Node 1 of the neutral axis of a 3³ identity pushed by (−0.6, 0, 0), 1.2 steps of red. Of the 24
        // tetrahedra that touch it, the red edge towards node (0, 1, 1) now runs backwards: 1 − 1.2 = −0.2. A
        // centre node is end of that edge in 6 tetrahedra, the start of the opposite edge (1 + 1.2) in 6, and
        // in the other 12 the move lies in a face and changes no volume.
        let mut lattice = Lut3d::identity(3);
        let at = lattice.index(1, 1, 1);
        lattice.nodes_mut()[at][0] -= 0.6;
        let folded: u8 = bad_cells(&lattice).iter().map(|b| b.folded).sum();
        assert_eq!(folded, 6);
    }

    #[test]
    fn flat_cells_collapse_and_unreachable_ones_are_kept_apart() {
        let clipped = Lut3d::from_fn(5, |s| s.map(|v| v.min(0.75)));
        let bad = bad_cells(&clipped);
        // 64 cells less the 27 below the clip, six tetrahedra each.
        assert_eq!(
            bad.iter().map(|b| usize::from(b.collapsed)).sum::<usize>(),
            6 * 37
        );
        let top = |cell: [usize; 3]| cell[0] < 3;
        let folds = count(&bad, |_| false, Some(&top), |_| false);
        assert_eq!(folds.unreachable, Some(6 * 16));
        assert_eq!(folds.collapsed, 6 * 21);
    }
}
