use evenstep_colour::{delta_e_2000, lab_from_xyz};
use evenstep_lut::{CodeScale, Lut3d};

use crate::context::{PanelContext, Subject};
use crate::node_figures::node_signal;
use crate::walk::shown_by;

/// Squares along a side of a plane at most: more of them cannot be told apart in a picture.
pub const PLANE_SIDE: usize = 17;

/// The nodes of one plane of equal blue, in squares of one node or, in a fine lattice, of several.
#[derive(Clone, Debug)]
pub struct PlaneTrace {
    /// Blue of the plane, as a share of the lattice's blue axis.
    pub blue: f64,
    /// Squares along red and along green; square (r, g) stands at `r + side·g`.
    pub side: usize,
    /// How far a node lies off the middle of its two neighbours, largest over the axes and channels, in drive; the
    /// largest node of each square.
    pub roughness: Vec<f64>,
    /// CIEDE2000 between what is shown at a node and what is wanted there, the target's white as reference white; the
    /// largest reachable node of each square. `None` where none is; empty without a panel.
    pub de2000: Vec<Option<f64>>,
}

/// Planes at the lowest, middle and highest blue.
pub(crate) fn planes(
    subject: &Subject,
    lattice: &Lut3d,
    scale: CodeScale,
    context: Option<&PanelContext>,
) -> Vec<PlaneTrace> {
    let last = lattice.size() - 1;
    let mut levels = vec![0, last / 2, last];
    levels.dedup();
    levels
        .into_iter()
        .map(|blue| plane(subject, lattice, scale, context, blue))
        .collect()
}

fn plane(
    subject: &Subject,
    lattice: &Lut3d,
    scale: CodeScale,
    context: Option<&PanelContext>,
    blue: usize,
) -> PlaneTrace {
    let n = lattice.size();
    let side = n.min(PLANE_SIDE);
    let square = |node: usize| node * side / n;
    let mut roughness = vec![0.0_f64; side * side];
    let mut de2000 = vec![None; if context.is_some() { side * side } else { 0 }];
    for green in 0..n {
        for red in 0..n {
            let (at, node) = (square(red) + side * square(green), [red, green, blue]);
            roughness[at] = roughness[at].max(off_the_middle(lattice, node));
            let Some(error) = context.and_then(|c| colour_error(subject, lattice, scale, c, node))
            else {
                continue;
            };
            de2000[at] = Some(de2000[at].map_or(error, |most: f64| most.max(error)));
        }
    }
    PlaneTrace {
        blue: blue as f64 / (n - 1) as f64,
        side,
        roughness,
        de2000,
    }
}

/// Half the largest second difference of any channel along any axis that has a node on both sides.
fn off_the_middle(lattice: &Lut3d, node: [usize; 3]) -> f64 {
    let value = |at: [usize; 3]| lattice.node(at[0], at[1], at[2]);
    let own = value(node);
    let mut most = 0.0_f64;
    for axis in 0..3 {
        if node[axis] == 0 || node[axis] + 1 == lattice.size() {
            continue;
        }
        let (mut before, mut after) = (node, node);
        before[axis] -= 1;
        after[axis] += 1;
        let (before, after) = (value(before), value(after));
        for c in 0..3 {
            most = most.max((own[c] - 0.5 * (before[c] + after[c])).abs());
        }
    }
    most
}

fn colour_error(
    subject: &Subject,
    lattice: &Lut3d,
    scale: CodeScale,
    context: &PanelContext,
    [r, g, b]: [usize; 3],
) -> Option<f64> {
    let signal = node_signal(lattice, subject.curves, scale, [r, g, b]);
    if !(context.reachable)(signal) {
        return None;
    }
    let drive = lattice.node(r, g, b).map(|v| scale.signal_from_position(v));
    let white = context.target.white();
    let lab = |xyz| lab_from_xyz(xyz, white);
    Some(delta_e_2000(
        lab(shown_by(context.panel, drive)),
        lab(context.target.xyz(signal)),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_raised_node_stands_off_its_neighbours_middle_and_they_half_as_far() {
        // 1/32 and the identity's quarters are exact in binary.
        let mut lattice = Lut3d::identity(5);
        let at = lattice.index(2, 1, 0);
        lattice.nodes_mut()[at][0] += 1.0 / 32.0;
        assert_eq!(off_the_middle(&lattice, [2, 1, 0]), 1.0 / 32.0);
        assert_eq!(off_the_middle(&lattice, [1, 1, 0]), 1.0 / 64.0);
        assert_eq!(off_the_middle(&lattice, [3, 3, 0]), 0.0);
    }

    #[test]
    fn a_fine_lattice_keeps_its_roughest_node() {
        let mut lattice = Lut3d::identity(33);
        let at = lattice.index(9, 20, 16);
        lattice.nodes_mut()[at][2] += 0.25;
        let correction = evenstep_lut::Lut::from(lattice.clone());
        let correction = correction.evaluated(evenstep_lut::Evaluation::Trilinear);
        let subject = Subject {
            correction: &correction,
            curves: None,
            lattice: Some(&lattice),
        };
        let scale = CodeScale {
            depth: evenstep_lut::BitDepth::TEN,
            range: evenstep_lut::CodeRange::Full,
        };
        let all = planes(&subject, &lattice, scale, None);
        assert_eq!(
            all.iter().map(|p| p.side).collect::<Vec<_>>(),
            [PLANE_SIDE; 3]
        );
        let middle = &all[1];
        let rough = middle.roughness.iter().copied().fold(0.0, f64::max);
        assert!((rough - 0.25).abs() < 1e-15, "{rough}");
        // Node 9 of 33 lies in square 4 of 17, node 20 in square 10.
        assert_eq!(middle.roughness[4 + 17 * 10], rough);
        assert!(middle.de2000.is_empty());
    }
}
