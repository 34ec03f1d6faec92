//! Readings of nothing: below its floor an instrument says how much light there is at most, and no more.

use evenstep_colour::Xyz;
use evenstep_readings::{NoiseModel, Patch, Readings};

use crate::{BaseModel, PanelModel};

/// Rounds in which patches are held at the bound: each may push others above it.
const ROUNDS: usize = 4;

/// Times the bound that the others predict from which a reading of 0 is a fault of the moment and not of the floor: it
/// stays as read, to be found and named as any other. Our choice.
const FAULT: f64 = 10.0;

/// What readings of exactly 0 say.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct AtFloor {
    /// Luminance that the patches that read 0 do not exceed, in cd/m²: the least that any other but black read.
    pub at_most_cd_m2: f64,
    /// Ids of the patches other than black that read 0, in their order.
    pub patches: Vec<String>,
    /// How many of them the others would have put above that luminance, and are held at it.
    pub held: usize,
}

/// Readings in which every value is one: patches that read 0 are left out where the others put them below what an
/// instrument reads, and stand at that bound, in the colour the others predict, where they do not.
///
/// That is least squares with an inequality for each of them, by active sets: one that holds by itself changes nothing.
/// Black is kept as read, for nothing else tells it. `None` where no patch but black reads 0, or no base stands without
/// those that do; the readings are as given then.
#[must_use]
pub fn bounded(readings: &Readings, noise: &NoiseModel) -> (Readings, Option<AtFloor>) {
    let as_given = || (readings.clone(), None);
    let (zeros, read): (Vec<&Patch>, Vec<&Patch>) =
        readings.patches.iter().partition(|p| p.reads_nothing());
    let light = |p: &&Patch| p.xyz().luminance_cd_m2();
    let least = read
        .iter()
        .filter(|p| p.drive != [0.0; 3])
        .map(light)
        .filter(|y| *y > 0.0)
        .min_by(f64::total_cmp);
    let Some(at_most_cd_m2) = least.filter(|_| !zeros.is_empty()) else {
        return as_given();
    };
    let Ok(mut base) = BaseModel::fit(&with(&read, &[]), noise) else {
        return as_given();
    };
    let over = |base: &BaseModel, patch: &Patch| {
        let predicted = base.xyz(patch.drive);
        (predicted, predicted.luminance_cd_m2() / at_most_cd_m2)
    };
    let (faults, silent): (Vec<&Patch>, Vec<&Patch>) =
        zeros.iter().partition(|p| over(&base, p).1 > FAULT);
    if silent.is_empty() {
        return as_given();
    }
    let mut held: Vec<Patch> = Vec::new();
    for _ in 0..ROUNDS {
        let before = held.len();
        for patch in &silent {
            let (predicted, over) = over(&base, patch);
            if over > 1.0 && held.iter().all(|h| h.order != patch.order) {
                let mut at_bound = (*patch).clone();
                at_bound.repeats.fill(Xyz(predicted.0.map(|v| v / over)));
                held.push(at_bound);
            }
        }
        if held.len() == before {
            break;
        }
        let Ok(refitted) = BaseModel::fit(&with(&read, &held), noise) else {
            return as_given();
        };
        base = refitted;
    }
    let floor = AtFloor {
        at_most_cd_m2,
        patches: silent.iter().map(|p| p.id.clone()).collect(),
        held: held.len(),
    };
    let as_read: Vec<&Patch> = read.into_iter().chain(faults).collect();
    (with(&as_read, &held), Some(floor))
}

/// Patches as read and patches at the bound, in the order of the file.
fn with(read: &[&Patch], held: &[Patch]) -> Readings {
    let read = read.iter().map(|p| (*p).clone());
    let mut patches: Vec<Patch> = read.chain(held.iter().cloned()).collect();
    patches.sort_by_key(|p| p.order);
    Readings { patches }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rough::tests::session;
    use crate::{Disturbance, SimulatedPanel};
    use evenstep_colour::{delta_e_itp, itp_from_xyz};
    use proptest::prelude::*;

    const NOISY: Disturbance = Disturbance {
        noise: 1.0,
        drift: 0.0,
        outliers: 0.0,
    };

    /// Readings of a panel by an instrument that says 0 below its floor.
    fn clipped(panel: &SimulatedPanel, floor_cd_m2: f64, seed: u64) -> Readings {
        let mut readings = session(panel, NOISY, seed);
        for patch in &mut readings.patches {
            if patch.xyz().luminance_cd_m2() < floor_cd_m2 {
                patch.repeats.fill(Xyz([0.0; 3]));
            }
        }
        readings
    }

    /// Mean ΔE ITP of greys that the instrument does not see.
    fn missed(base: &dyn PanelModel, panel: &SimulatedPanel, floor_cd_m2: f64) -> f64 {
        let levels = (1..200).map(|i| [f64::from(i) / 1000.0; 3]);
        let unseen: Vec<f64> = levels
            .map(|drive| (panel.xyz(drive), base.xyz(drive)))
            .filter(|(shown, _)| shown.luminance_cd_m2() < floor_cd_m2)
            .map(|(shown, predicted)| delta_e_itp(itp_from_xyz(predicted), itp_from_xyz(shown)))
            .collect();
        unseen.iter().sum::<f64>() / unseen.len() as f64
    }

    /// A panel that is dark at black, read with a floor that hides a few dark greys: zeros taken for light would pull
    /// the tone curves down, at worst by 20 times what is just noticeable.
    #[test]
    fn zeros_are_bounds_and_no_light() {
        let panel = SimulatedPanel::by_name("hdr-wrgb").unwrap();
        for floor in [0.005, 0.02, 0.1] {
            let zeros = clipped(&panel, floor, 1);
            let noise = NoiseModel::from_repeats(&zeros).unwrap();
            let (kept, found) = bounded(&zeros, &noise);
            let found = found.unwrap();
            let unseen = |p: &&Patch| p.reads_nothing();
            let silent = zeros.patches.iter().filter(unseen).count();
            assert_eq!(found.patches.len(), silent);
            assert!(found.at_most_cd_m2 > floor);
            let error = |r: &Readings| missed(&BaseModel::fit(r, &noise).unwrap(), &panel, floor);
            assert!(error(&kept) < 0.95 * error(&zeros), "{floor}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// Whatever the floor hides: what was seen is kept as it was, in its order; what was not is either left out or
        /// held at the bound; and there is nothing left to be bounded.
        #[test]
        fn what_was_seen_is_kept(panel in 0_usize..5, floor in 0.0_f64..5.0, seed in 0_u64..50) {
            let panel = SimulatedPanel::by_name(SimulatedPanel::NAMES[panel]).unwrap();
            let zeros = clipped(&panel, floor, seed);
            let noise = NoiseModel::assumed();
            let (kept, found) = bounded(&zeros, &noise);
            if let Some(found) = &found {
                let seen: Vec<&Patch> =
                    zeros.patches.iter().filter(|p| !found.patches.contains(&p.id)).collect();
                let as_read: Vec<&Patch> =
                    kept.patches.iter().filter(|p| !found.patches.contains(&p.id)).collect();
                prop_assert_eq!(as_read, seen);
                let held: Vec<&Patch> =
                    kept.patches.iter().filter(|p| found.patches.contains(&p.id)).collect();
                prop_assert_eq!(held.len(), found.held);
                for patch in held {
                    let y = patch.xyz().luminance_cd_m2();
                    prop_assert!((y / found.at_most_cd_m2 - 1.0).abs() < 1e-9);
                }
                prop_assert!(kept.patches.is_sorted_by_key(|p| p.order));
            } else {
                prop_assert_eq!(&kept, &zeros);
            }
            prop_assert!(bounded(&kept, &noise).0 == kept);
        }
    }

    /// A grey that reads 0 between greys that were seen is held at the least light that was; one far above it reads 0
    /// by a fault, and stays for others to name.
    #[test]
    fn a_bound_that_the_others_break_is_held() {
        let panel = SimulatedPanel::by_name("wide-gamut").unwrap();
        let mut readings = session(&panel, NOISY, 1);
        let least = readings.patches[1].xyz().luminance_cd_m2();
        for dark in [0, 2, 12] {
            readings.patches[dark].repeats.fill(Xyz([0.0; 3]));
        }
        let (kept, found) = bounded(&readings, &NoiseModel::assumed());
        let found = found.unwrap();
        assert_eq!((found.held, found.patches), (1, vec!["2".to_owned()]));
        let y = kept.patches[2].xyz().luminance_cd_m2();
        assert!((y / least - 1.0).abs() < 1e-9);
        assert_eq!(kept.patches[12], readings.patches[12]);
    }
}
