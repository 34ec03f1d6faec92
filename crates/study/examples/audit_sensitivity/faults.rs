//! Faults of any size at three places of a lattice.

use evenstep_lut::Lut3d;

/// A fault and what it does.
pub(crate) const FAULTS: [(&str, &str); 5] = [
    ("dip", "one node lowered in the channels that rise there"),
    (
        "stairs",
        "six nodes in a row moved down and up in turn, half of the size each",
    ),
    ("tint", "one node raised in a channel that is not red"),
    (
        "plateau",
        "one node moved down towards the one before, at most onto it",
    ),
    ("fold", "a node beside the ramp moved down in red"),
];

/// A place and where it is.
pub(crate) const PLACES: [(&str, &str); 3] = [
    ("neutral", "neutral node 16 of 33, half of the signal"),
    ("near black", "neutral node 2 of 33, 6 % of the signal"),
    ("primary", "node 16 of the red edge"),
];

/// The lattice with one fault of `size` in drive.
pub(crate) fn spoiled(clean: &Lut3d, fault: &str, place: &str, size: f64) -> Lut3d {
    let mut lut = clean.clone();
    let primary = place == "primary";
    let level = if place == "near black" { 2 } else { 16 };
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
            for i in 0..6 {
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
