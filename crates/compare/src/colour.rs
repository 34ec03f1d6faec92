use evenstep_colour::{
    Lab, Xyz, delta_e_2000_of_pairs, delta_e_itp, itp_from_xyz, lab_from_xyz, percentile,
};
use evenstep_display::{PanelModel, Target};
use evenstep_fit::Gamut;
use evenstep_lut::Correction;
use rayon::prelude::*;
use serde::Serialize;

use crate::Regions;

/// Colour differences over one region: CIEDE2000 with the target's white as reference white, and ΔE ITP.
///
/// Where no signal could be compared every figure is NaN, which JSON writes as `null`; `left_out` says how many.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ColourSummary {
    /// Mean CIEDE2000.
    pub de2000_mean: f64,
    /// Median.
    pub de2000_median: f64,
    /// 95th percentile.
    pub de2000_p95: f64,
    /// Maximum.
    pub de2000_max: f64,
    /// Mean ΔE ITP.
    pub itp_mean: f64,
    /// Median.
    pub itp_median: f64,
    /// 95th percentile.
    pub itp_p95: f64,
    /// Maximum.
    pub itp_max: f64,
    /// Signals compared.
    pub signals: usize,
    /// Signals left out because the panel cannot show their target.
    pub left_out: usize,
}

/// Difference between what a panel shows through two corrections, by region.
#[must_use]
pub fn colour_between(
    panel: &dyn PanelModel,
    target: &Target,
    candidate: &dyn Correction,
    reference: &dyn Correction,
    near_black: f64,
) -> Regions<ColourSummary> {
    summarise(target, near_black, &|signal| {
        Some((
            panel.xyz(candidate.drive(signal)),
            panel.xyz(reference.drive(signal)),
        ))
    })
}

/// Difference between what a panel shows through a correction and the target, by region, over the signals whose
/// target the panel can show.
#[must_use]
pub fn colour_error(
    panel: &dyn PanelModel,
    target: &Target,
    gamut: &Gamut<'_>,
    correction: &dyn Correction,
    near_black: f64,
) -> Regions<ColourSummary> {
    summarise(target, near_black, &|signal| {
        gamut
            .reaches(signal)
            .then(|| (panel.xyz(correction.drive(signal)), target.xyz(signal)))
    })
}

type Pair<'a> = dyn Fn([f64; 3]) -> Option<(Xyz, Xyz)> + Sync + 'a;

fn summarise(target: &Target, near_black: f64, pair: &Pair<'_>) -> Regions<ColourSummary> {
    let white = target.white();
    let end = target.near_black_end(near_black);
    Regions::from_fn(|region| {
        let signals = region.signals(end);
        let pairs: Vec<Option<(Xyz, Xyz)>> = signals.par_iter().map(|s| pair(*s)).collect();
        let known: Vec<(Xyz, Xyz)> = pairs.into_iter().flatten().collect();
        let lab = |xyz| lab_from_xyz(xyz, white);
        let (shown, wanted): (Vec<Lab>, Vec<Lab>) =
            known.iter().map(|(a, b)| (lab(*a), lab(*b))).unzip();
        let mut de2000 = delta_e_2000_of_pairs(&shown, &wanted);
        let mut itp: Vec<f64> = known
            .iter()
            .map(|(a, b)| delta_e_itp(itp_from_xyz(*a), itp_from_xyz(*b)))
            .collect();
        ColourSummary {
            de2000_mean: mean(&de2000),
            de2000_median: percentile(&mut de2000, 50.0).unwrap_or(f64::NAN),
            de2000_p95: percentile(&mut de2000, 95.0).unwrap_or(f64::NAN),
            de2000_max: percentile(&mut de2000, 100.0).unwrap_or(f64::NAN),
            itp_mean: mean(&itp),
            itp_median: percentile(&mut itp, 50.0).unwrap_or(f64::NAN),
            itp_p95: percentile(&mut itp, 95.0).unwrap_or(f64::NAN),
            itp_max: percentile(&mut itp, 100.0).unwrap_or(f64::NAN),
            signals: known.len(),
            left_out: signals.len() - known.len(),
        }
    })
}

/// Mean; NaN without values.
fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

impl ColourSummary {
    /// Mean of two summaries figure by figure; the larger of their maxima.
    #[must_use]
    pub fn averaged(&self, other: &Self) -> Self {
        let half = |a: f64, b: f64| 0.5 * (a + b);
        Self {
            de2000_mean: half(self.de2000_mean, other.de2000_mean),
            de2000_median: half(self.de2000_median, other.de2000_median),
            de2000_p95: half(self.de2000_p95, other.de2000_p95),
            de2000_max: self.de2000_max.max(other.de2000_max),
            itp_mean: half(self.itp_mean, other.itp_mean),
            itp_median: half(self.itp_median, other.itp_median),
            itp_p95: half(self.itp_p95, other.itp_p95),
            itp_max: self.itp_max.max(other.itp_max),
            signals: self.signals.max(other.signals),
            left_out: self.left_out.max(other.left_out),
        }
    }
}
