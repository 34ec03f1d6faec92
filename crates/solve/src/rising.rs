use crate::Grid;
use crate::isotonic::isotonic;

/// Nodes whose mean counts as one step of a [`Chain`].
pub type Link = Vec<usize>;

/// Links whose means must not fall, for one output channel.
///
/// Along a ramp that runs through the corners of cells the output is linear (tetrahedral) or, trilinear, a polynomial
/// whose Bernstein points are means of nodes: on the diagonal of a cell c000, the mean of c100, c010, c001, the mean of
/// c110, c101, c011, and c111; on the diagonal of a face the quadratic analogue. A polynomial whose Bernstein points do
/// not fall does not fall, so that these conditions hold whichever way a panel interpolates.
///
/// # Source
/// Farouki (2012), "The Bernstein polynomial basis: a centennial retrospective", Computer Aided Geometric Design 29(6):
/// derivative in Bernstein form (from memory).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chain {
    /// Output channel.
    pub channel: usize,
    /// Links from the dark end of the ramp to the light one.
    pub links: Vec<Link>,
}

/// A condition that does not hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Broken {
    /// Place of the chain in [`chains`].
    pub chain: usize,
    /// The link whose mean is below that of the one before it.
    pub link: usize,
}

/// The chains of a lattice: every channel along the neutral diagonal; the own channel along the red, green and blue
/// edges; both rising channels along the cyan, magenta and yellow diagonals.
#[must_use]
pub fn chains(grid: Grid) -> Vec<Chain> {
    let mut all = Vec::new();
    let masks = [
        [true, true, true],
        [true, false, false],
        [false, true, false],
        [false, false, true],
        [false, true, true],
        [true, false, true],
        [true, true, false],
    ];
    for mask in masks {
        let links = ramp_links(grid, mask);
        for channel in (0..3).filter(|c| mask[*c]) {
            all.push(Chain {
                channel,
                links: links.clone(),
            });
        }
    }
    all
}

/// Links of the ramp from the dark corner along which the channels of `mask` rise together.
fn ramp_links(grid: Grid, mask: [bool; 3]) -> Vec<Link> {
    let step = |channels: &[usize]| -> usize { channels.iter().map(|c| grid.strides()[*c]).sum() };
    let rising: Vec<usize> = (0..3).filter(|c| mask[*c]).collect();
    let diagonal = step(&rising);
    let mut links = Vec::new();
    for k in 0..grid.size() - 1 {
        let corner = k * diagonal;
        links.push(vec![corner]);
        for order in 1..rising.len() {
            // All sets of `order` rising channels.
            let sets = (0..1_usize << rising.len()).filter(|s| s.count_ones() as usize == order);
            let steps = sets.map(|s| {
                let chosen: Vec<usize> = (0..rising.len())
                    .filter(|i| s >> i & 1 == 1)
                    .map(|i| rising[i])
                    .collect();
                corner + step(&chosen)
            });
            links.push(steps.collect());
        }
    }
    links.push(vec![(grid.size() - 1) * diagonal]);
    links
}

/// Conditions of the chains that integer codes break.
#[must_use]
pub fn broken(all: &[Chain], codes: &[[u32; 3]]) -> Vec<Broken> {
    let mut found = Vec::new();
    for (chain, one) in all.iter().enumerate() {
        let channel = one.channel;
        let falls = |pair: &[Link]| needed(codes, channel, &pair[0], &pair[1]).is_some();
        let links = one.links.windows(2).enumerate();
        found.extend(
            links
                .filter(|(_, pair)| falls(pair))
                .map(|(i, _)| Broken { chain, link: i + 1 }),
        );
    }
    found
}

/// Rounds values to codes of `bits` so that every chain rises: 0..=2^bits − 1, one triple for each node.
///
/// Values outside 0 to 1 are clipped, what is no number counts as 0. Where values themselves break a chain, its links
/// are first moved to the nearest means that rise (weighted by their nodes); what rounding still breaks is raised by a
/// code where it falls. Raising alone ends: codes only grow, and all at the largest break nothing.
///
/// # Panics
/// When `values` does not hold one triple for each node or `bits` is not 1 to 16.
#[must_use]
pub fn round_rising(grid: Grid, values: &[[f64; 3]], bits: u8) -> Vec<[u32; 3]> {
    assert_eq!(values.len(), grid.count(), "one triple for each node");
    assert!((1..=16).contains(&bits), "codes have 1 to 16 bits");
    let largest = f64::from((1_u32 << bits) - 1);
    let held = |v: f64| if v.is_nan() { 0.0 } else { v.clamp(0.0, 1.0) };
    let mut scaled: Vec<[f64; 3]> = values
        .iter()
        .map(|v| v.map(|v| held(v) * largest))
        .collect();
    let all = chains(grid);
    for chain in &all {
        pool(chain, &mut scaled, largest);
    }
    let mut codes: Vec<[u32; 3]> = scaled.iter().map(|v| v.map(|v| v.round() as u32)).collect();
    loop {
        let mut raised = false;
        for chain in &all {
            for pair in chain.links.windows(2) {
                if let Some(sum) = needed(&codes, chain.channel, &pair[0], &pair[1]) {
                    raise(&mut codes, chain.channel, &pair[1], sum);
                    raised = true;
                }
            }
        }
        if !raised {
            return codes;
        }
    }
}

/// The least sum over `upper` at which its mean is not below that of `lower`, when it is.
fn needed(codes: &[[u32; 3]], channel: usize, lower: &[usize], upper: &[usize]) -> Option<u64> {
    let sum = |link: &[usize]| -> u64 { link.iter().map(|i| u64::from(codes[*i][channel])).sum() };
    let (low, high) = (sum(lower), sum(upper));
    let need = (low * upper.len() as u64).div_ceil(lower.len() as u64);
    (high < need).then_some(need)
}

/// Raises the nodes of a link, the lowest first, until they sum to `sum`.
fn raise(codes: &mut [[u32; 3]], channel: usize, link: &[usize], sum: u64) {
    let mut lacking = sum
        - link
            .iter()
            .map(|i| u64::from(codes[*i][channel]))
            .sum::<u64>();
    while lacking > 0 {
        let lowest = link.iter().copied().min_by_key(|i| codes[*i][channel]);
        let Some(lowest) = lowest else { return };
        codes[lowest][channel] += 1;
        lacking -= 1;
    }
}

/// Moves the links of a chain to rising means where theirs fall.
fn pool(chain: &Chain, values: &mut [[f64; 3]], largest: f64) {
    let c = chain.channel;
    let means: Vec<f64> = chain
        .links
        .iter()
        .map(|link| link.iter().map(|i| values[*i][c]).sum::<f64>() / link.len() as f64)
        .collect();
    if means.windows(2).all(|w| w[0] <= w[1]) {
        return;
    }
    let weights: Vec<f64> = chain.links.iter().map(|l| l.len() as f64).collect();
    for ((link, old), new) in chain
        .links
        .iter()
        .zip(&means)
        .zip(isotonic(&means, &weights))
    {
        if new != *old {
            for i in link {
                values[*i][c] = (values[*i][c] + new - old).clamp(0.0, largest);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const SIZE: usize = 5;

    /// Output of a lattice of codes, trilinear or tetrahedral, written down from the definitions.
    fn sample(codes: &[[u32; 3]], at: [f64; 3], trilinear: bool) -> [f64; 3] {
        let grid = Grid::new(SIZE);
        let cell = at.map(|v| ((v * (SIZE - 1) as f64) as usize).min(SIZE - 2));
        let inside: [f64; 3] = std::array::from_fn(|c| at[c] * (SIZE - 1) as f64 - cell[c] as f64);
        let node = |offset: [usize; 3], c: usize| {
            f64::from(codes[grid.index(std::array::from_fn(|k| cell[k] + offset[k]))][c])
        };
        std::array::from_fn(|c| {
            if trilinear {
                (0..8)
                    .map(|corner: usize| {
                        let offset = [corner & 1, corner >> 1 & 1, corner >> 2 & 1];
                        let weight: f64 = (0..3)
                            .map(|k| {
                                if offset[k] == 1 {
                                    inside[k]
                                } else {
                                    1.0 - inside[k]
                                }
                            })
                            .product();
                        weight * node(offset, c)
                    })
                    .sum()
            } else {
                let mut order = [0, 1, 2];
                order.sort_by(|a, b| inside[*b].total_cmp(&inside[*a]));
                let mut offset = [0; 3];
                let mut value = node(offset, c);
                for k in order {
                    let before = node(offset, c);
                    offset[k] = 1;
                    value += inside[k] * (node(offset, c) - before);
                }
                value
            }
        })
    }

    fn wild() -> impl Strategy<Value = Vec<[f64; 3]>> {
        let any = prop_oneof![8 => 0.0..1.0_f64, 1 => -2.0..3.0_f64, 1 => Just(f64::NAN)];
        prop::collection::vec(prop::array::uniform3(any), SIZE.pow(3))
    }

    proptest! {
        /// Whatever the values, no channel that rises along a ramp through corners falls anywhere on it.
        #[test]
        fn no_ramp_falls_whatever_the_values(values in wild(), bits in 1_u8..=16) {
            let codes = round_rising(Grid::new(SIZE), &values, bits);
            prop_assert!(broken(&chains(Grid::new(SIZE)), &codes).is_empty());
            prop_assert!(codes.iter().flatten().all(|v| *v < 1 << bits));
            for mask in 1..8 {
                let rising = [mask & 1 == 1, mask & 2 == 2, mask & 4 == 4];
                for trilinear in [false, true] {
                    let mut last = [0.0; 3];
                    for i in 0..=200 {
                        let at = rising.map(|r| if r { f64::from(i) / 200.0 } else { 0.0 });
                        let out = sample(&codes, at, trilinear);
                        for c in (0..3).filter(|c| rising[*c]) {
                            // Rounding of sums of eight codes below 65536.
                            prop_assert!(out[c] >= last[c] - 1e-9, "{at:?} {c}: {} after {}", out[c], last[c]);
                        }
                        last = out;
                    }
                }
            }
        }

        /// Codes that rise are kept to the last one.
        #[test]
        fn what_rises_is_kept(values in wild()) {
            let grid = Grid::new(SIZE);
            let once = round_rising(grid, &values, 12);
            let back: Vec<[f64; 3]> = once.iter().map(|v| v.map(|v| f64::from(v) / 4095.0)).collect();
            prop_assert_eq!(round_rising(grid, &back, 12), once);
        }
    }

    /// Plain rounding of a smooth curve already rises.
    #[test]
    fn a_smooth_curve_is_only_rounded() {
        let grid = Grid::new(SIZE);
        let values: Vec<[f64; 3]> = (0..grid.count())
            .map(|i| grid.at(i).map(|k| (k as f64 / 4.0).powf(1.3)))
            .collect();
        let codes = round_rising(grid, &values, 10);
        for (codes, values) in codes.iter().zip(&values) {
            assert_eq!(*codes, values.map(|v| (v * 1023.0).round() as u32));
        }
    }
}
