use evenstep_colour::{delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz};
use evenstep_display::{ForwardModel, PanelModel, Target};
use evenstep_fit::{Doubt, Gamut, NextPatch, most_missed};
use evenstep_lut::Correction;
use evenstep_readings::{Patch, Readings};
use rayon::prelude::*;

use crate::{HarmPlace, Region};

/// Places listed at most.
const MOST: usize = 10;
/// Listed places are at least this far apart in some channel, so that one fault is not listed ten times.
const APART: f64 = 0.2;

/// Reachable signals where a correction's colour is farthest from the target, worst first.
pub(crate) fn places(
    panel: &dyn PanelModel,
    target: &Target,
    gamut: &Gamut<'_>,
    correction: &dyn Correction,
) -> Vec<HarmPlace> {
    let white = target.white();
    let mut all: Vec<HarmPlace> = Region::All
        .signals(0.0)
        .into_par_iter()
        .filter(|signal| gamut.reaches(*signal))
        .map(|signal| {
            let (shown, wanted) = (panel.xyz(correction.drive(signal)), target.xyz(signal));
            HarmPlace {
                signal,
                de2000: delta_e_2000(lab_from_xyz(shown, white), lab_from_xyz(wanted, white)),
                itp: delta_e_itp(itp_from_xyz(shown), itp_from_xyz(wanted)),
            }
        })
        .collect();
    all.sort_by(|a, b| b.de2000.total_cmp(&a.de2000));
    spread_out(all, |p| p.signal)
}

/// Patches of a denser set that would help the model of a sparser one most.
///
/// None where the sparse readings cannot be parted.
pub(crate) fn patches_to_add(
    sparse: &Readings,
    model: &ForwardModel,
    dense: &Readings,
    count: usize,
) -> Option<Vec<NextPatch>> {
    let doubt = Doubt::new(sparse, model)?;
    let drives: Vec<[f64; 3]> = dense.patches.iter().map(|p| p.drive).collect();
    let miss = |patch: &Patch| {
        let (told, read) = (model.xyz(patch.drive), patch.xyz());
        delta_e_itp(itp_from_xyz(told), itp_from_xyz(read))
    };
    let misses: Vec<f64> = dense.patches.par_iter().map(miss).collect();
    Some(most_missed(&doubt, &drives, &misses, count))
}

fn spread_out<T: Copy>(sorted: Vec<T>, at: impl Fn(&T) -> [f64; 3]) -> Vec<T> {
    let mut kept: Vec<T> = Vec::new();
    for one in sorted {
        let here = at(&one);
        let near = |other: &T| {
            at(other)
                .iter()
                .zip(here)
                .all(|(a, b)| (a - b).abs() < APART)
        };
        if kept.len() < MOST && !kept.iter().any(near) {
            kept.push(one);
        }
    }
    kept
}
