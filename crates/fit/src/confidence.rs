use evenstep_colour::{Xyz, delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz, percentile};
use evenstep_display::{ForwardModel, PanelModel, Target};
use evenstep_lut::Correction;
use evenstep_readings::Readings;
use evenstep_scatter::Coverage;
use nalgebra::Vector3;
use rayon::prelude::*;
use serde::Serialize;

use crate::left_out::{LeftOut, covering, itp_units, left_out, xyz_from_itp_units};
use crate::{Inverter, Regions, UNREACHABLE_ITP, noise_of};

/// How sure a correction is in one region: 95 of 100 colours shown through it are expected within these of the target.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Band {
    /// 95 % quantile of CIEDE2000, with the target's white as reference white.
    pub de2000_q95: f64,
    /// 95 % quantile of ΔE ITP.
    pub itp_q95: f64,
}

/// Patches that count for the size of a miss are those of like colour, within about so many ΔE ITP. Our choice, tuned as
/// those below on two seeds of the simulated panels and tried on others (`docs/methods/confidence.md`).
const LIKE_ITP: f64 = 45.0;
/// How many patches the mean over all counts for, beside those of like colour.
const PRIOR: f64 = 0.5;
/// Of the mean square of the misses at least this share is the model's own, however large the noise of the readings.
const OWN_SHARE: f64 = 0.3;
/// Misses tried on every signal.
const DRAWS: usize = 8;
/// How far a model may be off between its patches, told from patches predicted by models that do not know them.
///
/// A miss at drive d is taken as `√v(d) · A(c) · u`: v the variance that the patches leave there ([`Coverage`]), A the
/// mean size of such misses at patches of like colour c, u the shape of any of them. Equations:
/// `docs/methods/confidence.md`.
pub struct Doubt<'a> {
    model: &'a ForwardModel,
    coverage: Coverage,
    misses: Vec<Miss>,
    mean_size: f64,
}

/// A left-out patch.
struct Miss {
    /// Colour predicted, in ΔE ITP units.
    colour: Vector3<f64>,
    /// Length of the miss over √v.
    size: f64,
    /// Share of the squared length that noise explains; may exceed 1.
    noise: f64,
    /// The miss over √v, over the mean size at its colour.
    shape: Vector3<f64>,
}

impl<'a> Doubt<'a> {
    /// What left-out patches tell of a model of readings; `None` where no part of the readings can be left out.
    #[must_use]
    pub fn new(readings: &Readings, model: &'a ForwardModel) -> Option<Self> {
        let readings = &readings.seen();
        let (noise, is_measured) = noise_of(readings);
        let all: Vec<LeftOut> = left_out(readings, &noise, model)?;
        let coverage = covering(readings)?;
        let misses: Vec<Miss> = all
            .iter()
            .map(|one| {
                let deviation = one.variance.sqrt().max(f64::MIN_POSITIVE);
                let square = one.miss.norm_squared().max(f64::MIN_POSITIVE);
                Miss {
                    colour: one.colour,
                    size: square.sqrt() / deviation,
                    // An assumed noise may be larger than the real one: taking it off would promise too much.
                    noise: if is_measured { one.noise / square } else { 0.0 },
                    shape: one.miss / deviation,
                }
            })
            .collect();
        if misses.is_empty() {
            return None;
        }
        let mean_size = misses.iter().map(|m| m.size).sum::<f64>() / misses.len() as f64;
        let mut doubt = Self {
            model,
            coverage,
            misses,
            mean_size,
        };
        let sizes: Vec<f64> = doubt
            .misses
            .iter()
            .map(|m| doubt.like(m.colour).0)
            .collect();
        for (miss, size) in doubt.misses.iter_mut().zip(sizes) {
            miss.shape /= size.max(f64::MIN_POSITIVE);
        }
        Some(doubt)
    }

    /// Mean size of the misses at patches of like colour, with its noise and without.
    fn like(&self, colour: Vector3<f64>) -> (f64, f64) {
        let (mut weights, mut sizes, mut squares, mut own) = (0.0, 0.0, 0.0, 0.0);
        for miss in &self.misses {
            let away = (miss.colour - colour).norm_squared() / (LIKE_ITP * LIKE_ITP);
            let weight = (-0.5 * away).exp();
            let square = weight * miss.size * miss.size;
            weights += weight;
            sizes += weight * miss.size;
            squares += square;
            own += square * (1.0 - miss.noise);
        }
        let size = (sizes + PRIOR * self.mean_size) / (weights + PRIOR);
        let share = if squares > 0.0 { own / squares } else { 1.0 };
        (size, size * share.max(OWN_SHARE).sqrt())
    }

    /// Size of the miss expected at each drive, in ΔE ITP: root of what coverage leaves times the size at its colour.
    #[must_use]
    pub fn expected_itp(&self, drives: &[[f64; 3]]) -> Vec<f64> {
        let left = self.coverage.variance(drives);
        let sizes = self.sizes_itp(drives);
        left.iter()
            .zip(sizes)
            .map(|(v, size)| v.sqrt() * size)
            .collect()
    }

    /// Size of misses at each drive in ΔE ITP, if nothing had been read near it: that of patches of like colour.
    pub(crate) fn sizes_itp(&self, drives: &[[f64; 3]]) -> Vec<f64> {
        let size = |drive: &[f64; 3]| self.like(itp_units(self.model.xyz(*drive))).1;
        drives.par_iter().map(size).collect()
    }

    /// How well the patches cover the drives between them.
    #[must_use]
    pub(crate) fn coverage(&self) -> &Coverage {
        &self.coverage
    }

    /// Bands by region for what the panel will show through a correction, over the signals whose target it reaches.
    ///
    /// The error of the correction itself, its lattice and its rounding included, is known from the model; misses of
    /// left-out patches are added to it. NaN where nothing of a region is reached. `near_black` is the share of the
    /// signal that counts as near black.
    #[must_use]
    pub fn bands(
        &self,
        target: &Target,
        correction: &dyn Correction,
        near_black: f64,
    ) -> Regions<Band> {
        let end = target.near_black_end(near_black);
        let inverter = Inverter::new(self.model);
        Regions::from_fn(|region| {
            let signals = region.strewn(end);
            let drives: Vec<[f64; 3]> = signals.iter().map(|s| correction.drive(*s)).collect();
            let expected = self.expected_itp(&drives);
            let errors: Vec<Vec<(f64, f64)>> = (0..signals.len())
                .into_par_iter()
                .map(|i| {
                    let wanted = target.xyz(signals[i]);
                    let shown = self.model.xyz(drives[i]);
                    let is_near = |xyz| {
                        delta_e_itp(itp_from_xyz(xyz), itp_from_xyz(wanted)) <= UNREACHABLE_ITP
                    };
                    // What lies near the target is within reach; the rest is searched for.
                    if !is_near(shown)
                        && inverter.invert(wanted, drives[i]).miss_itp > UNREACHABLE_ITP
                    {
                        return Vec::new();
                    }
                    self.errors(i, itp_units(shown), expected[i], wanted, target.white())
                })
                .collect();
            let (mut de2000, mut itp): (Vec<f64>, Vec<f64>) = errors.into_iter().flatten().unzip();
            Band {
                de2000_q95: percentile(&mut de2000, 95.0).unwrap_or(f64::NAN),
                itp_q95: percentile(&mut itp, 95.0).unwrap_or(f64::NAN),
            }
        })
    }

    /// Errors that the `index`th signal may have, CIEDE2000 and ΔE ITP.
    fn errors(
        &self,
        index: usize,
        colour: Vector3<f64>,
        size: f64,
        wanted: Xyz,
        white: Xyz,
    ) -> Vec<(f64, f64)> {
        let (lab, itp) = (lab_from_xyz(wanted, white), itp_from_xyz(wanted));
        let count = self.misses.len();
        // Every signal takes misses from all over the list, its neighbours take others.
        let pick = |draw: usize| (index * 7 + draw * count / DRAWS) % count;
        (0..DRAWS)
            .map(|draw| {
                let shown = xyz_from_itp_units(colour + size * self.misses[pick(draw)].shape);
                (
                    delta_e_2000(lab_from_xyz(shown, white), lab),
                    delta_e_itp(itp_from_xyz(shown), itp),
                )
            })
            .collect()
    }
}
