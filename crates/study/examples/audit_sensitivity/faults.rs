//! Faults of any size at three places of a lattice.

use evenstep_lut::Lut3d;

/// Nodes of a row of stairs.
const STAIRS: usize = 6;
/// Nodes along the neutral axis and, the first, along the red edge.
const MIDDLE: usize = 16;
const NEAR_BLACK: usize = 2;

/// Names of the faults.
pub(crate) const FAULTS: [&str; 5] = ["dip", "stairs", "tint", "plateau", "fold"];
/// Names of the places.
pub(crate) const PLACES: [&str; 3] = ["neutral", "near black", "primary"];

/// What a fault does, or where a place is, in a lattice of `nodes`.
pub(crate) fn meaning(name: &str, nodes: usize) -> String {
    let at = |node: usize| {
        let percent = 100.0 * node as f64 / (nodes - 1) as f64;
        format!("neutral node {node} of {nodes}, {percent:.0} % of the signal")
    };
    match name {
        "dip" => "one node lowered in the channels that rise there".to_owned(),
        "stairs" => {
            format!("{STAIRS} nodes in a row moved down and up in turn, half of the size each")
        }
        "tint" => "one node raised in a channel that is not red".to_owned(),
        "plateau" => "one node moved down towards the one before, at most onto it".to_owned(),
        "fold" => "a node beside the ramp moved down in red".to_owned(),
        "neutral" => at(MIDDLE),
        "near black" => at(NEAR_BLACK),
        _ => format!("node {MIDDLE} of the red edge"),
    }
}

/// The lattice with one fault of `size` in drive.
pub(crate) fn spoiled(clean: &Lut3d, fault: &str, place: &str, size: f64) -> Lut3d {
    let mut lut = clean.clone();
    let primary = place == "primary";
    let level = if place == "near black" {
        NEAR_BLACK
    } else {
        MIDDLE
    };
    let node = |i: usize| if primary { [i, 0, 0] } else { [i; 3] };
    let rising: &[usize] = if primary { &[0] } else { &[0, 1, 2] };
    let mut shift = |[r, g, b]: [usize; 3], channels: &[usize], by: f64| {
        let at = lut.index(r, g, b);
        for &c in channels {
            let value = &mut lut.nodes_mut()[at][c];
            *value = (*value + by).clamp(0.0, 1.0);
        }
    };
    match fault {
        "dip" => shift(node(level), rising, -size),
        "stairs" => {
            for i in 0..STAIRS {
                let by = if i % 2 == 0 { -0.5 } else { 0.5 };
                shift(node(level + i), rising, by * size);
            }
        }
        "tint" => shift(node(level), if primary { &[1] } else { &[2] }, size),
        "plateau" => {
            let [before, here] = [level - 1, level].map(|i| {
                let [r, g, b] = node(i);
                clean.node(r, g, b)
            });
            for &c in rising {
                shift(node(level), &[c], -size.min(here[c] - before[c]));
            }
        }
        // One step along green from the ramp: a corner of cells that the ramp crosses.
        _ => {
            let [r, g, b] = node(level);
            shift([r, g + 1, b], &[0], -size);
        }
    }
    lut
}
