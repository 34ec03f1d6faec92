use std::collections::HashSet;

use evenstep_display::{ModelError, SimulatedPanel, SmoothingChoice, choose_model};
use evenstep_fit::noise_of;
use evenstep_readings::merged;

use super::Condition;
use crate::patches;

/// How many faults of a set of readings a fit names.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Named {
    /// Patches with a gross outlier among their readings.
    pub off: usize,
    /// Of those, the ones that were named.
    pub named: usize,
    /// Patches named that have none.
    pub falsely: usize,
    /// Patches in all.
    pub patches: usize,
}

/// Reads a simulated panel, chooses a model as a fit does, and counts what was named against what was off.
///
/// # Errors
/// [`ModelError`] where no model could be fitted.
pub fn named_outliers(
    panel: &SimulatedPanel,
    count: usize,
    condition: Condition,
    seed: u64,
) -> Result<Named, ModelError> {
    let (readings, off) = condition.read(panel, &patches(count), seed);
    let key = |drive: [f64; 3]| drive.map(f64::to_bits);
    // Repeats of a patch have ids of their own: what counts is the drive.
    let off: HashSet<[u64; 3]> = readings
        .iter()
        .filter(|r| off.contains(&r.id))
        .map(|r| key(r.drive))
        .collect();
    let readings = merged(readings);
    let (noise, _) = noise_of(&readings);
    let chosen = choose_model(&readings, &noise, None, SmoothingChoice::LeaveOneOut)?;
    let ids: HashSet<&str> = chosen.outliers.iter().map(|o| o.patch.as_str()).collect();
    let mut found = Named {
        off: off.len(),
        patches: readings.patches.len(),
        ..Named::default()
    };
    for patch in &readings.patches {
        if ids.contains(patch.id.as_str()) {
            if off.contains(&key(patch.drive)) {
                found.named += 1;
            } else {
                found.falsely += 1;
            }
        }
    }
    Ok(found)
}
