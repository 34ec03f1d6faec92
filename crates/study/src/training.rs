use evenstep_readings::{Patch, Readings};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::patches;

/// Black, white and the primaries come first, so that no other position takes them.
const FIRST: [[f64; 3]; 5] = [
    [0.0; 3],
    [1.0; 3],
    [1.0, 0.0, 0.0],
    [0.0, 1.0, 0.0],
    [0.0, 0.0, 1.0],
];
/// Positions move by up to this share of the mean spacing of the patches. Our choice: enough that another reading is
/// often the nearest, too little for two positions to change places.
const JITTER: f64 = 0.25;
/// And by up to this share of their distance from 0 and from 1, so that levels stay close near black.
const JITTER_AT_ENDS: f64 = 0.5;

/// More patches than were read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{asked} patches asked for, and {found} of the readings are not the judge's")]
pub(crate) struct TooMany {
    asked: usize,
    found: usize,
}

/// The `count` readings of a set that lie nearest to the patches a simulated panel would be read at, each taken once.
///
/// The seed moves those positions a little. What is neutral, on a ramp or on a face is moved along it.
///
/// # Errors
/// [`TooMany`].
pub(crate) fn training(set: &Readings, count: usize, seed: u64) -> Result<Readings, TooMany> {
    let found = set.patches.len();
    if count > found {
        return Err(TooMany {
            asked: count,
            found,
        });
    }
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let reach = JITTER * (count as f64).powf(-1.0 / 3.0);
    let list = patches(count);
    // Repeats stand at the end of the list.
    let positions = list.iter().take(count).map(|p| p.drive);
    let others = positions.filter(|d| !FIRST.contains(d));
    let mut taken = vec![false; found];
    for position in FIRST.into_iter().chain(others) {
        let turn: [f64; 3] = std::array::from_fn(|_| random.random_range(-1.0..=1.0));
        let at = moved(position, turn, reach);
        let free = (0..found).filter(|i| !taken[*i]);
        // The first of equally near ones: the set is sorted, so that this is not chance.
        let nearest = free.min_by(|a, b| {
            distance(&set.patches[*a], at).total_cmp(&distance(&set.patches[*b], at))
        });
        if let Some(nearest) = nearest {
            taken[nearest] = true;
        }
    }
    let patches = set.patches.iter().zip(taken).filter(|(_, taken)| *taken);
    Ok(Readings {
        patches: patches.map(|(patch, _)| patch.clone()).collect(),
    })
}

/// Equal channels move alike, and those at 0 and 1 stay.
fn moved(position: [f64; 3], turn: [f64; 3], reach: f64) -> [f64; 3] {
    position.map(|v| {
        let first = position.iter().position(|w| *w == v).unwrap_or_default();
        v + turn[first] * reach.min(JITTER_AT_ENDS * v.min(1.0 - v))
    })
}

fn distance(patch: &Patch, at: [f64; 3]) -> f64 {
    let squares = patch.drive.iter().zip(at).map(|(a, b)| (a - b).powi(2));
    squares.sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstep_colour::Xyz;

    /// A lattice of 6³ drives.
    fn lattice() -> Readings {
        let level = |i: usize| i as f64 / 5.0;
        let patch = |i: usize| Patch {
            id: i.to_string(),
            drive: [level(i / 36), level(i / 6 % 6), level(i % 6)],
            repeats: vec![Xyz([1.0; 3])],
            order: i,
            later: Vec::new(),
            doubt: 1.0,
        };
        Readings {
            patches: (0..216).map(patch).collect(),
        }
    }

    #[test]
    fn patches_are_distinct_with_the_ends_and_differ_with_the_seed() {
        let set = lattice();
        let sets = [1, 2].map(|seed| training(&set, 60, seed).unwrap());
        for readings in &sets {
            assert_eq!(readings.distinct(), 60);
            for first in FIRST {
                assert!(readings.patches.iter().any(|p| p.drive == first));
            }
            // Six levels are all there are, and the neutral positions come before those of mixtures.
            assert_eq!(readings.neutral_ramp().len(), 6);
            let orders = |r: &Readings| r.patches.iter().map(|p| p.order).collect::<Vec<_>>();
            assert!(orders(readings).is_sorted_by(|a, b| a < b));
        }
        assert_ne!(sets[0], sets[1]);
        assert_eq!(sets[0], training(&set, 60, 1).unwrap());
        assert_eq!(training(&set, 216, 1), Ok(set));
    }

    #[test]
    fn more_than_were_read_is_refused() {
        let said = training(&lattice(), 217, 1).unwrap_err().to_string();
        assert!(said.contains("217") && said.contains("216"), "{said}");
    }

    #[test]
    fn what_lies_on_a_ramp_or_a_face_stays_there() {
        let turn = [0.9, -0.7, 0.4];
        let [r, g, b] = moved([0.3; 3], turn, 0.05);
        assert!(r == g && g == b && r != 0.3);
        let face = moved([0.0, 0.5, 1.0], turn, 0.05);
        assert!(face[0] == 0.0 && face[1] != 0.5 && face[2] == 1.0);
        let dark = moved([0.01, 0.0, 0.0], turn, 0.05)[0];
        assert!((0.005..=0.015).contains(&dark), "{dark}");
    }
}
