use evenstep_colour::{delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz};
use evenstep_display::{PanelModel, Target};
use evenstep_fit::Gamut;
use evenstep_lut::Correction;
use evenstep_readings::Readings;
use rayon::prelude::*;

use crate::{HarmPlace, NextPatch, Region};

/// Places and patches listed at most.
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

/// Patches of a denser set that a model predicts worst: what to read next.
pub(crate) fn next_patches(
    model: &dyn PanelModel,
    dense: &Readings,
    white: evenstep_colour::Xyz,
) -> Vec<NextPatch> {
    let mut all: Vec<NextPatch> = dense
        .patches
        .par_iter()
        .map(|patch| {
            let lab = |xyz| lab_from_xyz(xyz, white);
            NextPatch {
                drive: patch.drive,
                de2000: delta_e_2000(lab(model.xyz(patch.drive)), lab(patch.xyz())),
            }
        })
        .collect();
    all.sort_by(|a, b| b.de2000.total_cmp(&a.de2000));
    spread_out(all, |p| p.drive)
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
