use evenstep_display::ForwardModel;
use evenstep_readings::Readings;

use crate::left_out::left_out;
use crate::noise_of;

/// How far a patch is off the prediction of a model that does not know it.
#[derive(Clone, Debug, PartialEq)]
pub struct PatchMiss {
    /// The patch.
    pub id: String,
    /// Its drive.
    pub drive: [f64; 3],
    /// Its place in the file, from 0.
    pub order: usize,
    /// Distance from the prediction, in ΔE ITP.
    pub itp: f64,
}

/// Patches predicted from the others, in the order they were read: all but the corners of the cube, or as many as are
/// enough to tell how far a model is off. Empty where the readings cannot be parted.
#[must_use]
pub fn patch_misses(readings: &Readings, model: &ForwardModel) -> Vec<PatchMiss> {
    let readings = &readings.seen();
    let (noise, _) = noise_of(readings);
    let mut all: Vec<PatchMiss> = left_out(readings, &noise, model)
        .unwrap_or_default()
        .into_iter()
        .map(|one| {
            let patch = &readings.patches[one.patch];
            PatchMiss {
                id: patch.id.clone(),
                drive: patch.drive,
                order: patch.order,
                itp: one.miss.norm(),
            }
        })
        .collect();
    all.sort_by_key(|miss| miss.order);
    all
}
