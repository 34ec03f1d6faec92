use evenstep_audit::thresholds::VISIBLE_REVERSAL_ITP;
use evenstep_study::{Contender, Figures};
use serde::Serialize;

use super::Entry;

/// Figures of one scheme, averaged over the seeds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(super) struct Place {
    pub(super) scheme: String,
    /// Mean CIEDE2000 over the test signals.
    pub(super) de2000: f64,
    /// Mean roughness of the ramps.
    pub(super) roughness_de2000: f64,
    /// Mean unevenness of the ramps.
    pub(super) unevenness: f64,
    /// Deepest reversal of any ramp for any seed, ΔE ITP.
    pub(super) reversal_depth_itp: f64,
}

impl Place {
    /// Whether the eye sees light fall where it should rise; roughness is blind to that.
    pub(super) fn reverses(&self) -> bool {
        self.reversal_depth_itp >= VISIBLE_REVERSAL_ITP
    }
}

/// Who leads for one panel, number of patches and noise.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(super) struct Standing {
    pub(super) panel: String,
    pub(super) patches: usize,
    pub(super) noise: f64,
    /// The scheme of the least mean CIEDE2000.
    pub(super) most_accurate: Option<Place>,
    /// The scheme of the least mean roughness among those without a visible reversal.
    pub(super) smoothest: Option<Place>,
    pub(super) base_only: Option<Place>,
    pub(super) true_inverse: Option<Place>,
    /// All schemes that were fitted for every seed, in the order of the plan.
    #[serde(skip)]
    pub(super) places: Vec<Place>,
}

/// Standings in the order in which the entries first name panel, patches and noise.
pub(super) fn standings(entries: &[Entry]) -> Vec<Standing> {
    let key = |e: &Entry| (e.row.panel.clone(), e.row.patches, e.row.noise);
    let mut groups: Vec<Vec<&Entry>> = Vec::new();
    for entry in entries {
        match groups.iter_mut().find(|group| key(group[0]) == key(entry)) {
            Some(group) => group.push(entry),
            None => groups.push(vec![entry]),
        }
    }
    groups
        .into_iter()
        .map(|group| {
            let (panel, patches, noise) = key(group[0]);
            let all = places(&group);
            let mark = |mark: Contender| all.iter().find(|p| p.scheme == mark.to_string()).cloned();
            let is_mark = |place: &Place| {
                [Contender::BaseOnly, Contender::TrueInverse]
                    .iter()
                    .any(|mark| place.scheme == mark.to_string())
            };
            let places: Vec<Place> = all.iter().filter(|p| !is_mark(p)).cloned().collect();
            let least = |takes_part: &dyn Fn(&&Place) -> bool, figure: &dyn Fn(&Place) -> f64| {
                places
                    .iter()
                    .filter(takes_part)
                    .min_by(|a, b| figure(a).total_cmp(&figure(b)))
                    .cloned()
            };
            Standing {
                panel,
                patches,
                noise,
                most_accurate: least(&|_| true, &|p| p.de2000),
                smoothest: least(&|p| !p.reverses(), &|p| p.roughness_de2000),
                base_only: mark(Contender::BaseOnly),
                true_inverse: mark(Contender::TrueInverse),
                places,
            }
        })
        .collect()
}

/// Schemes with all figures for every seed of a group.
fn places(group: &[&Entry]) -> Vec<Place> {
    let mut schemes: Vec<&str> = Vec::new();
    for entry in group {
        if !schemes.contains(&entry.row.scheme.as_str()) {
            schemes.push(&entry.row.scheme);
        }
    }
    schemes
        .into_iter()
        .filter_map(|scheme| {
            let own = || group.iter().filter(|e| e.row.scheme == scheme);
            let of = |figure| mean(own(), figure);
            let depth = |e: &&Entry| e.row.figures.ramps_reversal_depth_itp;
            Some(Place {
                scheme: scheme.to_owned(),
                de2000: of(|f: &Figures| f.all_de2000_mean)?,
                roughness_de2000: of(|f: &Figures| f.ramps_roughness_de2000)?,
                unevenness: of(|f: &Figures| f.ramps_unevenness)?,
                reversal_depth_itp: own().filter_map(depth).fold(0.0, f64::max),
            })
        })
        .collect()
}

/// Mean of a figure over entries; `None` where one of them has none, since the rest would flatter.
pub(super) fn mean<'a>(
    entries: impl Iterator<Item = &'a &'a Entry>,
    figure: fn(&Figures) -> Option<f64>,
) -> Option<f64> {
    let known: Option<Vec<f64>> = entries.map(|e| figure(&e.row.figures)).collect();
    let known = known.filter(|k| !k.is_empty())?;
    Some(known.iter().sum::<f64>() / known.len() as f64)
}
