use std::sync::LazyLock;

use rand::SeedableRng as _;
use rand::seq::SliceRandom as _;
use rand_chacha::ChaCha8Rng;

/// Pixels along a side of the array.
pub(crate) const SIDE: usize = 64;
const CELLS: usize = SIDE * SIDE;

/// Width of the filter that says how crowded a place is, in pixels; the source recommends 1.5.
const SIGMA: f64 = 1.5;

/// Weights of the filter are whole numbers, so that sums are exact in any order.
const ONE: f64 = 65_536.0;

/// Which cells are set at the start: a tenth, "fewer than half" in the source. Any seed gives a good array; a fixed one
/// gives the same for everybody.
const START: usize = CELLS / 10;
const SEED: u64 = 1;

static RANKS: LazyLock<Vec<u16>> = LazyLock::new(ranked);

/// The rank of every cell of a square, 0 to 4095, each once: cells of consecutive ranks lie far apart, so that any
/// number of them, lowest ranks first, is spread as evenly as it can be. Tiles without seams.
///
/// # Source
/// R. A. Ulichney, "The void-and-cluster method for dither array generation", Proc. SPIE 1913 (1993).
pub(crate) fn ranks() -> &'static [u16] {
    &RANKS
}

fn ranked() -> Vec<u16> {
    let mut start = Pattern::new();
    let mut order: Vec<usize> = (0..CELLS).collect();
    order.shuffle(&mut ChaCha8Rng::seed_from_u64(SEED));
    for &cell in &order[..START] {
        start.set(cell, true);
    }
    // Moves cells out of clusters into voids until the move would be undone by the next.
    loop {
        let cluster = start.cluster();
        start.set(cluster, false);
        let void = start.void();
        start.set(void, true);
        if void == cluster {
            break;
        }
    }
    let mut ranks = vec![0; CELLS];
    let mut fewer = start.clone();
    for rank in (0..START).rev() {
        let cell = fewer.cluster();
        fewer.set(cell, false);
        ranks[cell] = rank as u16;
    }
    // The source turns to the clusters of the unset cells once half are set; crowding of one kind is lack of the other,
    // so that with this filter the largest void names the same cell.
    let mut more = start;
    for rank in START..CELLS {
        let cell = more.void();
        more.set(cell, true);
        ranks[cell] = rank as u16;
    }
    ranks
}

/// Which cells are set, and how crowded each place is by them.
#[derive(Clone)]
struct Pattern {
    set: Vec<bool>,
    crowd: Vec<u32>,
    filter: Vec<u32>,
}

impl Pattern {
    fn new() -> Self {
        let away = |d: usize| (d.min(SIDE - d) as f64).powi(2);
        let filter = (0..CELLS)
            .map(|i| (-(away(i % SIDE) + away(i / SIDE)) / (2.0 * SIGMA * SIGMA)).exp())
            .map(|weight| (weight * ONE).round() as u32)
            .collect();
        Self {
            set: vec![false; CELLS],
            crowd: vec![0; CELLS],
            filter,
        }
    }

    fn set(&mut self, cell: usize, is_set: bool) {
        self.set[cell] = is_set;
        let (x, y) = (cell % SIDE, cell / SIDE);
        for (row, crowd) in self.crowd.chunks_exact_mut(SIDE).enumerate() {
            let from = (row + SIDE - y) % SIDE * SIDE;
            let filter = &self.filter[from..from + SIDE];
            for (column, place) in crowd.iter_mut().enumerate() {
                let weight = filter[(column + SIDE - x) % SIDE];
                *place = if is_set {
                    *place + weight
                } else {
                    *place - weight
                };
            }
        }
    }

    /// The set cell in the most crowded place, the first of equals.
    fn cluster(&self) -> usize {
        let set = (0..CELLS).filter(|&i| self.set[i]);
        set.rev().max_by_key(|&i| self.crowd[i]).unwrap_or(0)
    }

    /// The unset cell in the emptiest place, the first of equals.
    fn void(&self) -> usize {
        let unset = (0..CELLS).filter(|&i| !self.set[i]);
        unset.min_by_key(|&i| self.crowd[i]).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rank_occurs_once() {
        let mut all = ranks().to_vec();
        all.sort_unstable();
        assert!(
            all.iter()
                .enumerate()
                .all(|(i, &rank)| i == usize::from(rank))
        );
    }

    /// What sets the array apart from chance: slow changes across the picture, which the eye sees, are nearly absent.
    #[test]
    fn slow_waves_are_missing() {
        let ranks = ranks();
        let centred: Vec<f64> = ranks
            .iter()
            .map(|&r| f64::from(r) - (CELLS as f64 - 1.0) / 2.0)
            .collect();
        let white =
            centred.iter().map(|v| v * v).sum::<f64>() * CELLS as f64 / (CELLS as f64 - 1.0);
        let mut slow = Vec::new();
        for (u, v) in (0..6)
            .flat_map(|u| (0..6).map(move |v| (u, v)))
            .filter(|&w| w != (0, 0))
        {
            let (mut re, mut im) = (0.0, 0.0);
            for (i, value) in centred.iter().enumerate() {
                let phase = std::f64::consts::TAU * ((i % SIDE * u + i / SIDE * v) % SIDE) as f64
                    / SIDE as f64;
                re += value * phase.cos();
                im += value * phase.sin();
            }
            slow.push((re * re + im * im) / white);
        }
        let count = slow.len() as f64;
        let mean = slow.iter().sum::<f64>() / count;
        // In a random order the powers are as good as independent and exponential with mean 1, and their sum falls below x
        // with a probability of at most xⁿ/n! (the gamma distribution without its falling factor). One in 10³⁰:
        let factorial: f64 = (1..=slow.len()).map(|i| i as f64).product();
        let by_chance = (1e-30 * factorial).powf(count.recip()) / count;
        assert!(
            mean < by_chance,
            "slow waves have {mean} of the power of white noise, which chance gives below {by_chance}"
        );
    }
}
