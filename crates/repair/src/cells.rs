use evenstep_audit::COLLAPSED;
use evenstep_lut::{Lut3d, TETRAHEDRON_CORNERS, tetrahedron_volumes};
use rayon::prelude::*;

use crate::fault::{FaultKind, Found, SizeUnit};

/// What the tetrahedra of a lattice show.
pub(crate) struct Cells {
    /// Folds and, where the panel is known, collapses.
    pub(crate) found: Vec<Found>,
    /// Folds in cells with a clipped node, which no panel says are wrong.
    pub(crate) clipped: usize,
}

/// Folded and collapsed tetrahedra that are faults.
///
/// With `reached`, whether the panel shows the target of a node, those in cells that it reaches. Without, folds in cells
/// without a clipped node alone: at the edge of a gamut a lattice may fold for good reason, and a clip collapses cells.
pub(crate) fn cells(lattice: &Lut3d, reached: Option<&[bool]>) -> Cells {
    let n = lattice.size();
    let widths = [0, 1, 2].map(|c| lattice.domain_max()[c] - lattice.domain_min()[c]);
    let scale = ((n - 1) as f64).powi(3) / widths.iter().product::<f64>();
    let slabs: Vec<Cells> = (0..n - 1)
        .into_par_iter()
        .map(|b| {
            let mut cells = Cells {
                found: Vec::new(),
                clipped: 0,
            };
            for g in 0..n - 1 {
                for r in 0..n - 1 {
                    cell(lattice, scale, [r, g, b], reached, &mut cells);
                }
            }
            cells
        })
        .collect();
    let mut all = Cells {
        found: Vec::new(),
        clipped: 0,
    };
    for slab in slabs {
        all.found.extend(slab.found);
        all.clipped += slab.clipped;
    }
    all
}

fn cell(lattice: &Lut3d, scale: f64, at: [usize; 3], reached: Option<&[bool]>, cells: &mut Cells) {
    let corner = |bits: usize| {
        let [r, g, b] = [0, 1, 2].map(|c| at[c] + (bits >> c & 1));
        lattice.index(r, g, b)
    };
    let indices: [usize; 8] = std::array::from_fn(corner);
    let volumes = tetrahedron_volumes(&indices.map(|i| lattice.nodes()[i]));
    for (volume, corners) in volumes.into_iter().zip(TETRAHEDRON_CORNERS) {
        let volume = scale * volume;
        if volume > COLLAPSED {
            continue;
        }
        let nodes = corners.map(|c| indices[c]);
        let is_fold = volume < -COLLAPSED;
        match reached {
            Some(reached) if !indices.iter().all(|&i| reached[i]) => continue,
            None if !is_fold => continue,
            None if indices
                .iter()
                .any(|&i| (0..3).any(|c| is_clipped(lattice, i, c))) =>
            {
                cells.clipped += 1;
                continue;
            }
            _ => {}
        }
        cells.found.push(Found {
            kind: if is_fold {
                FaultKind::Fold
            } else {
                FaultKind::Collapse
            },
            ramp: None,
            size: volume,
            unit: SizeUnit::Volume,
            between: None,
            node: Some(at),
            nodes: nodes.to_vec(),
        });
    }
}

/// Whether a channel of the node with this index is clipped.
pub(crate) fn is_clipped(lattice: &Lut3d, index: usize, channel: usize) -> bool {
    let n = lattice.size();
    evenstep_audit::is_clipped(
        lattice,
        [index % n, index / n % n, index / (n * n)],
        channel,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Swapped red values turn six tetrahedra around their edge inside out.
    #[test]
    fn a_fold_is_found_with_its_nodes() {
        let mut lattice = Lut3d::identity(9);
        let (low, high) = (lattice.index(4, 3, 5), lattice.index(5, 3, 5));
        let red = lattice.nodes()[low][0];
        lattice.nodes_mut()[low][0] = lattice.nodes()[high][0];
        lattice.nodes_mut()[high][0] = red;
        let found = cells(&lattice, None).found;
        assert_eq!(found.len(), 6);
        assert!(
            found
                .iter()
                .all(|f| f.nodes.contains(&low) && f.nodes.contains(&high))
        );
    }

    /// A clip is no fault until a panel says that it could show what was cut.
    #[test]
    fn clips_collapse_and_are_kept_without_a_panel() {
        let clipped = Lut3d::from_fn(9, |s| [(1.3 * s[0]).min(1.0), s[1], s[2]]);
        assert!(cells(&clipped, None).found.is_empty());
        let all = vec![true; 729];
        let found = cells(&clipped, Some(&all)).found;
        assert!(!found.is_empty() && found.iter().all(|f| f.kind == FaultKind::Collapse));
        assert!(cells(&clipped, Some(&[false; 729])).found.is_empty());
    }
}
