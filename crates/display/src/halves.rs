use evenstep_readings::{Patch, Readings};
use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

/// The two halves of a set: corners in both, neutrals dealt in turn so that each keeps a ramp, the rest dealt after
/// a shuffle so that no lattice structure decides.
///
/// One half can judge what was made from the other. The shuffle starts from the order of the patches: sort them where
/// that shall not matter.
#[must_use]
pub fn halves(dense: &Readings, seed: u64) -> [Readings; 2] {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let is_corner = |d: [f64; 3]| d.iter().all(|v| *v == 0.0 || *v == 1.0);
    let (corners, others): (Vec<_>, Vec<_>) = dense
        .patches
        .iter()
        .cloned()
        .partition(|p| is_corner(p.drive));
    let (mut neutral, mut rest): (Vec<_>, Vec<_>) = others.into_iter().partition(Patch::is_neutral);
    neutral.sort_by(|a, b| a.drive[0].total_cmp(&b.drive[0]));
    rest.shuffle(&mut random);
    let mut two = [corners.clone(), corners];
    for (i, patch) in neutral.into_iter().chain(rest).enumerate() {
        two[i % 2].push(patch);
    }
    two.map(|mut patches| {
        patches.sort_by_key(|p| p.order);
        Readings { patches }
    })
}
