//! One function for every fault. Each takes a sound lattice and spoils it in one way, at places that are given in signal so
//! that lattices of 17, 33 and 65 nodes are spoiled alike; the nodes named are those of 17 unless said. Two faults are one
//! cell of their lattice wide, and so narrower in a finer one: stair-steps, of which there are more then, and the fold, which
//! starts at the same signal.

use evenstep_lut::Lut3d;

/// Stair-steps: neutral nodes 1 and 2, 3 and 4, … 13 and 14 of 17 set to the mean of their pair, which puts 17
/// levels on 10. Every second cell of the grey diagonal becomes a tread.
pub(super) fn stair_steps(mut lut: Lut3d) -> Lut3d {
    for low in (1..=lut.size() - 4).step_by(2) {
        let (a, b) = (lut.node(low, low, low), lut.node(low + 1, low + 1, low + 1));
        let mean = [0, 1, 2].map(|c| 0.5 * (a[c] + b[c]));
        for i in [low, low + 1] {
            set(&mut lut, [i; 3], mean);
        }
    }
    lut
}

/// Drive by which the dip lies under the node before it.
const DIP: f64 = 0.006;

/// A dip near black: neutral node 2 of 33 (6.25 % signal) lowered to [`DIP`] under node 1, all channels.
pub(super) fn near_black_dip(mut lut: Lut3d) -> Lut3d {
    // Node 1 of 17 has only black before it.
    let at = scale(&lut).max(2);
    let before = lut.node(at - 1, at - 1, at - 1);
    set(&mut lut, [at; 3], before.map(|v| v - DIP));
    lut
}

/// Crushed black: each channel is 0 where its own input is at node 0 or 1.
pub(super) fn crushed_black(mut lut: Lut3d) -> Lut3d {
    let crushed = scale(&lut);
    each(&mut lut, |at, out| {
        [0, 1, 2].map(|c| if at[c] <= crushed { 0.0 } else { out[c] })
    });
    lut
}

/// The lower of the two nodes whose red is swapped; the other is one further along red. The skin ramp crosses a cell
/// of that edge.
const FOLD_AT: [usize; 3] = [11, 9, 8];

/// A fold: the red of nodes (11, 9, 8) and (12, 9, 8) of 17 swapped.
pub(super) fn fold(mut lut: Lut3d) -> Lut3d {
    let scale = scale(&lut);
    let [r, g, b] = FOLD_AT.map(|i| scale * i);
    let (low, high) = (lut.index(r, g, b), lut.index(r + 1, g, b));
    let nodes = lut.nodes_mut();
    let red = nodes[low][0];
    nodes[low][0] = nodes[high][0];
    nodes[high][0] = red;
    lut
}

/// A clipped primary: red is 1 from its node 15 of 17 (93.75 % signal) up.
pub(super) fn clipped_primary(mut lut: Lut3d) -> Lut3d {
    let clipped = 15 * scale(&lut);
    each(&mut lut, |at, [r, g, b]| {
        [if at[0] >= clipped { 1.0 } else { r }, g, b]
    });
    lut
}

/// Every node value rounded to a whole 8-bit code.
pub(super) fn eight_bit(mut lut: Lut3d) -> Lut3d {
    each(&mut lut, |_, out| out.map(|v| (v * 255.0).round() / 255.0));
    lut
}

/// Drive by which blue is raised.
const TINT: f64 = 0.03;

/// A tint: blue of the neutral nodes 7 and 9 of 17 (44 % and 56 % signal) raised by [`TINT`].
pub(super) fn neutral_tint(mut lut: Lut3d) -> Lut3d {
    let scale = scale(&lut);
    for i in [7 * scale, 9 * scale] {
        let [r, g, b] = lut.node(i, i, i);
        set(&mut lut, [i; 3], [r, g, b + TINT]);
    }
    lut
}

/// Nodes for one node of 17.
fn scale(lut: &Lut3d) -> usize {
    (lut.size() - 1) / 16
}

fn set(lut: &mut Lut3d, [r, g, b]: [usize; 3], value: [f64; 3]) {
    let at = lut.index(r, g, b);
    lut.nodes_mut()[at] = value;
}

/// Replaces every node by what `f` makes of its place and value.
fn each(lut: &mut Lut3d, f: impl Fn([usize; 3], [f64; 3]) -> [f64; 3]) {
    let n = lut.size();
    for (i, node) in lut.nodes_mut().iter_mut().enumerate() {
        *node = f([i % n, i / n % n, i / (n * n)], *node);
    }
}
