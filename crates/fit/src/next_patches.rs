use std::collections::HashSet;

use evenstep_display::Target;
use evenstep_lut::Correction;
use evenstep_readings::{PatchRequest, Readings};
use serde::Serialize;

use crate::{Doubt, Region, Regions};

/// A patch worth reading.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NextPatch {
    /// Name in the patch file, `N1` being the most useful.
    pub id: String,
    /// Drive of red, 0 to 1.
    pub r: f64,
    /// Drive of green.
    pub g: f64,
    /// Drive of blue.
    pub b: f64,
    /// How far the model is expected to miss it, in ΔE ITP, before any of the others is read.
    pub expected_itp: f64,
}

impl NextPatch {
    /// The patch as patch files hold it.
    #[must_use]
    pub fn request(&self) -> PatchRequest {
        PatchRequest {
            id: self.id.clone(),
            drive: [self.r, self.g, self.b],
        }
    }
}

/// Levels along each axis of the grid of candidates.
const GRID: usize = 7;
/// Of the signals of a region every third is enough to weigh drives by.
const EVERY: usize = 3;
/// Levels of the ramps among the candidates, closer near black as those that are usually read.
const RAMP: usize = 16;
/// Exponent of these levels. Our choice: the first is then at 1.6 % of drive.
const RAMP_BEND: f64 = 1.5;
/// A candidate this near to a patch that was read, in every channel, is that patch: half of an 8-bit code.
const SAME: f64 = 0.5 / 255.0;
/// Share of the weight that lies on the whole cube of signals; the rest is dealt to near black, neutrals and skin alike.
/// Our choice, as in the base model: the eye forgives a saturated colour sooner than a tinted grey.
const CUBE_SHARE: f64 = 0.5;

/// Drives missed most that [`most_missed`] chooses among: its cost grows with their square.
const MOST_MISSED: usize = 1000;
/// Variance that even a patch leaves: keeps the size of a miss at one finite.
const LEAST_VARIANCE: f64 = 1e-3;

/// The `count` patches that would lower the visible error of a correction most, best first.
///
/// Over the signals of the regions, each at the drive that the correction gives it, the variance left by the patches is
/// summed up, times the size of misses at that colour in ΔE ITP: its square would let a few dark signals decide. Each
/// patch is the one whose reading lowers the sum most when those before it have been read. Candidates
/// are a grid of drives and the ramps of black to white, primaries and pairs, without what was read.
#[must_use]
pub fn next_patches(
    doubt: &Doubt<'_>,
    readings: &Readings,
    target: &Target,
    correction: &dyn Correction,
    near_black: f64,
    count: usize,
) -> Vec<NextPatch> {
    let read: Vec<[f64; 3]> = readings.patches.iter().map(|p| p.drive).collect();
    let is_new = |drive: &[f64; 3]| {
        let same = |other: &[f64; 3]| drive.iter().zip(other).all(|(a, b)| (a - b).abs() < SAME);
        !read.iter().any(same)
    };
    let candidates: Vec<[f64; 3]> = candidates().into_iter().filter(is_new).collect();
    let end = target.near_black_end(near_black);
    let (mut drives, mut weights) = (Vec::new(), Vec::new());
    let _ = Regions::from_fn(|region| {
        let share = match region {
            Region::All => CUBE_SHARE,
            Region::NearBlack | Region::Neutral | Region::Skin => (1.0 - CUBE_SHARE) / 3.0,
            // Part of the whole cube.
            Region::Saturated => return,
        };
        let signals: Vec<[f64; 3]> = region.signals(end).into_iter().step_by(EVERY).collect();
        weights.extend(signals.iter().map(|_| share / signals.len() as f64));
        drives.extend(signals.iter().map(|s| correction.drive(*s)));
    });
    for (weight, size) in weights.iter_mut().zip(doubt.sizes_itp(&drives)) {
        *weight *= size;
    }
    let expected = doubt.expected_itp(&candidates);
    let chosen = doubt.coverage().next(&drives, &weights, &candidates, count);
    named(&chosen, &candidates, &expected)
}

/// The `count` of drives that were read elsewhere, and that a model is known to miss, that would help it most, best first.
///
/// `misses_itp` are in ΔE ITP. As [`next_patches`], over the drives themselves; `expected_itp` is the miss that was found.
///
/// # Panics
/// If `drives` and `misses_itp` differ in length.
#[must_use]
pub fn most_missed(
    doubt: &Doubt<'_>,
    drives: &[[f64; 3]],
    misses_itp: &[f64],
    count: usize,
) -> Vec<NextPatch> {
    assert_eq!(drives.len(), misses_itp.len(), "one miss for each drive");
    let mut worst: Vec<usize> = (0..drives.len()).collect();
    worst.sort_by(|a, b| misses_itp[*b].total_cmp(&misses_itp[*a]));
    worst.truncate(MOST_MISSED);
    let drives: Vec<[f64; 3]> = worst.iter().map(|i| drives[*i]).collect();
    let misses: Vec<f64> = worst.iter().map(|i| misses_itp[*i]).collect();
    let left = doubt.coverage().variance(&drives);
    // The size of the process that would miss by so much where the patches leave so little.
    let size = |(miss, left): (&f64, f64)| miss * miss / left.max(LEAST_VARIANCE);
    let weights: Vec<f64> = misses.iter().zip(left).map(size).collect();
    let chosen = doubt.coverage().next(&drives, &weights, &drives, count);
    named(&chosen, &drives, &misses)
}

fn named(chosen: &[usize], drives: &[[f64; 3]], expected_itp: &[f64]) -> Vec<NextPatch> {
    let one = |(rank, i): (usize, &usize)| NextPatch {
        id: format!("N{}", rank + 1),
        r: drives[*i][0],
        g: drives[*i][1],
        b: drives[*i][2],
        expected_itp: expected_itp[*i],
    };
    chosen.iter().enumerate().map(one).collect()
}

fn candidates() -> Vec<[f64; 3]> {
    let grid = (0..GRID.pow(3)).map(|i| {
        [i % GRID, i / GRID % GRID, i / GRID / GRID]
            .map(|k| four_decimals(k as f64 / (GRID - 1) as f64))
    });
    // Every mixture of full and no drive but black.
    let ramps = (1..8_u8).flat_map(|mask| {
        let full = [0, 1, 2].map(|c| f64::from(mask >> c & 1));
        (1..=RAMP).map(move |i| {
            let level = (i as f64 / RAMP as f64).powf(RAMP_BEND);
            full.map(|m| m * four_decimals(level))
        })
    });
    let mut known = HashSet::new();
    let is_first = |drive: &[f64; 3]| known.insert(drive.map(f64::to_bits));
    grid.chain(ramps).filter(is_first).collect()
}

/// As a patch file holds drives.
fn four_decimals(v: f64) -> f64 {
    (v * 1e4).round() / 1e4
}
