//! Checks along the ramps: falls, flat ranges, greys.

use super::Finding;
use crate::{NoiseModel, Patch, Ramp, Readings};

/// Greys strictly between black and white that make a neutral ramp. Our choice, because a tone curve between two
/// known ends needs three more numbers to bend both ways.
pub(super) const MIN_GREYS: usize = 3;

/// A range of drive is flat when luminance varies by at most this part of the light above black. Our choice,
/// because a real saturated channel varied by 0.2 %, and a curve of power 2.2 rises by 23 % over the shortest
/// range looked at.
const FLAT: f64 = 0.005;

/// Shortest flat range reported, as a part of full drive. Our choice, because two or three close levels may agree
/// by chance.
const FLAT_RANGE: f64 = 0.1;

fn luminance(patch: &Patch) -> f64 {
    patch.xyz().luminance_cd_m2()
}

/// Variance of the luminance of a patch's mean.
fn variance(patch: &Patch, noise: &NoiseModel) -> f64 {
    let sd = noise.standard_deviations(patch.xyz())[1];
    sd * sd * patch.variance_factor()
}

/// Every pair of neighbours on a ramp between which luminance falls; what reads nothing tells no fall.
pub(super) fn falls(readings: &Readings, noise: &NoiseModel, found: &mut Vec<Finding>) {
    let readings = readings.seen();
    for ramp in Ramp::ALL {
        for pair in readings.ramp(ramp).windows(2) {
            let (from, to) = (pair[0], pair[1]);
            let drop = luminance(from) - luminance(to);
            if drop <= 0.0 {
                continue;
            }
            found.push(Finding::NonMonotone {
                ramp,
                from: from.id.clone(),
                to: to.id.clone(),
                from_drive: ramp.position(from).unwrap_or_default(),
                to_drive: ramp.position(to).unwrap_or_default(),
                drop_cd_m2: drop,
                sigmas: drop / (variance(from, noise) + variance(to, noise)).sqrt(),
            });
        }
    }
}

/// Every longest flat range of at least three patches of which something was seen.
pub(super) fn plateaus(readings: &Readings, found: &mut Vec<Finding>) {
    let readings = readings.seen();
    let Some(black) = readings.black().map(luminance) else {
        return;
    };
    for ramp in Ramp::ALL {
        let levels: Vec<(f64, f64)> = readings
            .ramp(ramp)
            .into_iter()
            .filter_map(|p| Some((ramp.position(p)?, luminance(p))))
            .collect();
        let mut start = 0;
        while start < levels.len() {
            let (from_drive, cd_m2) = levels[start];
            let light = (cd_m2 - black).max(0.0);
            let (mut low, mut high, mut end) = (cd_m2, cd_m2, start);
            for (at, (_, y)) in levels.iter().enumerate().skip(start + 1) {
                let (new_low, new_high) = (low.min(*y), high.max(*y));
                if new_high - new_low > FLAT * light {
                    break;
                }
                (low, high, end) = (new_low, new_high, at);
            }
            let to_drive = levels[end].0;
            if end >= start + 2 && to_drive - from_drive >= FLAT_RANGE {
                let spread = if light > 0.0 {
                    (high - low) / light
                } else {
                    0.0
                };
                found.push(Finding::Plateau {
                    ramp,
                    from_drive,
                    to_drive,
                    cd_m2,
                    spread_percent: 100.0 * spread,
                });
                start = end;
            } else {
                start += 1;
            }
        }
    }
}

/// Too few greys between black and white.
pub(super) fn greys(readings: &Readings, found: &mut Vec<Finding>) {
    let between = |p: &&Patch| 0.0 < p.drive[0] && p.drive[0] < 1.0;
    let greys = readings.neutral_ramp().into_iter().filter(between).count();
    if greys < MIN_GREYS {
        found.push(Finding::NoNeutralRamp { greys });
    }
}
