use evenstep_readings::PatchRequest;

/// Fewest patches of a case: the ramps alone are 29 and something has to lie between them.
pub const FEWEST_PATCHES: usize = 40;

/// Powers of two numbers that spread over the cube: 2, 3 and 5 have the least discrepancy of three bases.
const BASES: [u64; 3] = [2, 3, 5];
/// Interior points are stretched about the middle by this factor and held in the cube, so that about a tenth of each
/// coordinate lies on a face: saturated colours lie there, and nothing outside the readings says what they do. Our
/// choice.
const STRETCH: f64 = 1.12;
/// Points closer than this share of the mean spacing to one that is there are left out. Our choice.
const APART: f64 = 0.25;
/// White, the middle grey of the ramp and black come back so often, for the noise to be known: nine readings beyond
/// the first.
const REPEATS: usize = 3;

/// Patches of a case, `count` of them distinct, with repeats of white, a grey and black at the end.
///
/// A fifth of them, up to 33, are neutrals, closer near black; red, green and blue, then cyan, magenta and yellow have
/// ramps that grow with the count up to 16 and 12 levels; the rest fill the cube by Halton's sequence.
///
/// # Source
/// Halton (1960), "On the efficiency of certain quasi-random sequences of points in evaluating multi-dimensional
/// integrals" (title from memory).
#[must_use]
pub fn patches(count: usize) -> Vec<PatchRequest> {
    let mut drives: Vec<[f64; 3]> = Vec::with_capacity(count);
    let neutrals = ((count / 5) | 1).clamp(11, 33);
    drives.extend(levels(neutrals - 1).map(|v| [v; 3]));
    let primaries = (count / 14).clamp(4, 16);
    let pairs = (count / 25).clamp(2, 12);
    for (mask, steps) in [
        ([1.0, 0.0, 0.0], primaries),
        ([0.0, 1.0, 0.0], primaries),
        ([0.0, 0.0, 1.0], primaries),
        ([0.0, 1.0, 1.0], pairs),
        ([1.0, 0.0, 1.0], pairs),
        ([1.0, 1.0, 0.0], pairs),
    ] {
        drives.extend(levels(steps).skip(1).map(|v| mask.map(|m: f64| m * v)));
    }
    let apart = APART * (count as f64).powf(-1.0 / 3.0);
    let mut at = 0;
    while drives.len() < count {
        at += 1;
        let point = BASES.map(|base| held(radical_inverse(at, base)));
        let near = |d: &[f64; 3]| distance_squared(*d, point) < apart * apart;
        if !drives.iter().any(near) {
            drives.push(point);
        }
    }
    let grey = drives[neutrals / 2];
    with_repeats(drives, grey)
}

/// Every patch of a lattice with `size` drives along an axis, red fastest, with the repeats of [`patches`] at the end.
pub(crate) fn lattice_patches(size: usize) -> Vec<PatchRequest> {
    let drive = |i: usize| i as f64 / (size - 1) as f64;
    let drives = (0..size.pow(3))
        .map(|i| [i, i / size, i / (size * size)].map(|i| drive(i % size)))
        .collect();
    with_repeats(drives, [drive(size / 2); 3])
}

fn with_repeats(mut drives: Vec<[f64; 3]>, grey: [f64; 3]) -> Vec<PatchRequest> {
    for _ in 0..REPEATS {
        drives.extend([[1.0; 3], grey, [0.0; 3]]);
    }
    drives
        .into_iter()
        .enumerate()
        .map(|(i, drive)| PatchRequest {
            id: (i + 1).to_string(),
            drive,
        })
        .collect()
}

/// 0 and `steps` levels up to 1, closer near black where eye and panel change fastest, to four decimals.
fn levels(steps: usize) -> impl Iterator<Item = f64> {
    // Exponent: our choice; the second of 20 levels is then at 1.1 %, as a calibrator would read it.
    (0..=steps).map(move |i| four_decimals((i as f64 / steps as f64).powf(1.5)))
}

fn held(v: f64) -> f64 {
    four_decimals((0.5 + STRETCH * (v - 0.5)).clamp(0.0, 1.0))
}

fn four_decimals(v: f64) -> f64 {
    (v * 1e4).round() / 1e4
}

fn distance_squared(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum()
}

/// Halton's sequence in one base.
fn radical_inverse(mut i: u64, base: u64) -> f64 {
    let (mut value, mut scale) = (0.0, 1.0);
    while i > 0 {
        scale /= base as f64;
        value += scale * (i % base) as f64;
        i /= base;
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn every_count_has_its_distinct_patches_ends_ramps_and_interior() {
        for count in [FEWEST_PATCHES, 50, 101, 200, 343, 1000] {
            let list = patches(count);
            let distinct: HashSet<[u64; 3]> =
                list.iter().map(|p| p.drive.map(f64::to_bits)).collect();
            assert_eq!(distinct.len(), count);
            assert_eq!(list.len(), count + 3 * REPEATS);
            for corner in 0..8_u8 {
                let drive = [0, 1, 2].map(|c| f64::from(corner >> c & 1));
                assert!(list.iter().any(|p| p.drive == drive), "{count}: {drive:?}");
            }
            let inside = |p: &&PatchRequest| p.drive.iter().all(|v| *v > 0.0 && *v < 1.0);
            let mixed = |p: &&PatchRequest| p.drive[0] != p.drive[1] || p.drive[1] != p.drive[2];
            let interior = list.iter().filter(inside).filter(mixed).count();
            assert!(5 * interior >= count, "{count}: {interior} inside");
        }
    }
}
