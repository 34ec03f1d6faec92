//! Readings of nothing: below its floor an instrument says how much light there is at most, and no more.

use evenstep_colour::Xyz;
use evenstep_readings::{NoiseModel, Patch, Readings};

use crate::{BaseModel, PanelModel};

/// Rounds in which patches are held at the bound: each may push others above it.
const ROUNDS: usize = 4;

/// Times the bound that the others predict from which a reading of 0 is a fault of the moment and not of the floor. Our
/// choice: it leaves room for the error of a base in the dark.
const FAULT: f64 = 4.0;

/// Standard deviations of the noise at black below which the least light of a reading is no bound but chance.
const CHANCE: f64 = 3.0;

/// What became of patches other than black that read exactly 0, by their ids.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct AtFloor {
    /// Luminance that such a patch does not exceed, in cd/m²: the least that any other but black read, at least three
    /// standard deviations of the noise at black.
    pub at_most_cd_m2: f64,
    /// Left out, because the others put them below that.
    pub left_out: Vec<String>,
    /// Held there, because the others put them above.
    pub held: Vec<String>,
    /// Kept as light of 0: the others put them so far above that the reading is a fault, to be named, or no base stands
    /// without them.
    pub as_read: Vec<String>,
}

/// Readings in which every value is one.
pub(crate) struct Bounded {
    pub(crate) readings: Readings,
    /// `None` where no patch but black reads 0.
    pub(crate) at_floor: Option<AtFloor>,
    /// Places in the file of patches that read 0 by a fault.
    pub(crate) faults: Vec<usize>,
    /// The same of patches held at the bound, whose values nobody read.
    pub(crate) held: Vec<usize>,
}

/// Leaves out patches that read 0 where the others put them below what an instrument reads, and puts them at that bound, in
/// the colour the others predict, where they do not.
///
/// In the manner of active sets for least squares with an inequality for each of them: one that holds by itself changes
/// nothing. It is no more than that manner: what is held once stays, in the colour first predicted, and is a reading with
/// the noise of one. Black is kept as read, for nothing else tells it.
pub(crate) fn bounded(readings: &Readings, noise: &NoiseModel) -> Bounded {
    let (zeros, read): (Vec<&Patch>, Vec<&Patch>) =
        readings.patches.iter().partition(|p| p.reads_nothing());
    let light = |p: &&Patch| p.xyz().luminance_cd_m2();
    let least = read
        .iter()
        .filter(|p| p.drive != [0.0; 3])
        .map(light)
        .filter(|y| *y > 0.0)
        .min_by(f64::total_cmp);
    let as_given = |at_floor| Bounded {
        readings: readings.clone(),
        at_floor,
        faults: Vec::new(),
        held: Vec::new(),
    };
    let Some(least) = least.filter(|_| !zeros.is_empty()) else {
        return as_given(None);
    };
    let mut at_floor = AtFloor {
        at_most_cd_m2: least.max(CHANCE * noise.floor_cd_m2),
        left_out: Vec::new(),
        held: Vec::new(),
        as_read: ids(zeros.iter().copied()),
    };
    let Ok(mut base) = BaseModel::fit(&with(&read, &[]), noise) else {
        return as_given(Some(at_floor));
    };
    let over = |base: &BaseModel, patch: &Patch| {
        let predicted = base.xyz(patch.drive);
        (
            predicted,
            predicted.luminance_cd_m2() / at_floor.at_most_cd_m2,
        )
    };
    let (faults, silent): (Vec<&Patch>, Vec<&Patch>) =
        zeros.iter().partition(|p| over(&base, p).1 > FAULT);
    let mut held: Vec<Patch> = Vec::new();
    for _ in 0..ROUNDS {
        let before = held.len();
        for patch in &silent {
            let (predicted, over) = over(&base, patch);
            if over > 1.0 && held.iter().all(|h| h.order != patch.order) {
                let mut at_bound = (*patch).clone();
                // One value, whose agreement with itself is no repeatability.
                at_bound.repeats = vec![Xyz(predicted.0.map(|v| v / over))];
                at_bound.later.clear();
                held.push(at_bound);
            }
        }
        if held.len() == before {
            break;
        }
        let Ok(refitted) = BaseModel::fit(&with(&read, &held), noise) else {
            return as_given(Some(at_floor));
        };
        base = refitted;
    }
    let is_held = |p: &&Patch| held.iter().any(|h| h.order == p.order);
    at_floor.left_out = ids(silent.iter().copied().filter(|p| !is_held(p)));
    at_floor.held = ids(silent.iter().copied().filter(is_held));
    at_floor.as_read = ids(faults.iter().copied());
    let as_read: Vec<&Patch> = read.into_iter().chain(faults.iter().copied()).collect();
    Bounded {
        readings: with(&as_read, &held),
        at_floor: Some(at_floor),
        faults: faults.iter().map(|p| p.order).collect(),
        held: held.iter().map(|p| p.order).collect(),
    }
}

/// Readings of which none says only how much light there is at most, and what became of those that do; the latter is `None`
/// where no patch but black reads 0. For a base alone: models with more to them are fitted by [`crate::choose_model`], which
/// sees to it by itself.
#[must_use]
pub fn without_floor(readings: &Readings, noise: &NoiseModel) -> (Readings, Option<AtFloor>) {
    let bounded = bounded(readings, noise);
    (bounded.readings, bounded.at_floor)
}

fn ids<'a>(patches: impl Iterator<Item = &'a Patch>) -> Vec<String> {
    patches.map(|p| p.id.clone()).collect()
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
            let (kept, found) = without_floor(&zeros, &noise);
            let found = found.unwrap();
            let unseen = |p: &&Patch| p.reads_nothing();
            let silent = zeros.patches.iter().filter(unseen).count();
            assert_eq!(found.left_out.len() + found.held.len(), silent);
            assert!(found.at_most_cd_m2 > floor);
            let error = |r: &Readings| missed(&BaseModel::fit(r, &noise).unwrap(), &panel, floor);
            assert!(error(&kept) < 0.95 * error(&zeros), "{floor}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// Whatever the floor hides: what was seen is kept as it was, in its order; what was not is either left out or
        /// held at the bound.
        #[test]
        fn what_was_seen_is_kept(panel in 0_usize..5, floor in 0.0_f64..5.0, seed in 0_u64..50) {
            let panel = SimulatedPanel::by_name(SimulatedPanel::NAMES[panel]).unwrap();
            let zeros = clipped(&panel, floor, seed);
            let noise = NoiseModel::assumed();
            let (kept, found) = without_floor(&zeros, &noise);
            if let Some(found) = &found {
                let said = found.left_out.len() + found.held.len() + found.as_read.len();
                prop_assert_eq!(said, zeros.patches.iter().filter(|p| p.reads_nothing()).count());
                let held = |p: &&Patch| found.held.contains(&p.id);
                for patch in kept.patches.iter().filter(held) {
                    let y = patch.xyz().luminance_cd_m2();
                    prop_assert!((y / found.at_most_cd_m2 - 1.0).abs() < 1e-9);
                }
                let as_read: Vec<&Patch> = kept.patches.iter().filter(|p| !held(p)).collect();
                let expected: Vec<&Patch> = zeros
                    .patches
                    .iter()
                    .filter(|p| !held(p) && !found.left_out.contains(&p.id))
                    .collect();
                prop_assert_eq!(as_read, expected);
                prop_assert!(kept.patches.is_sorted_by_key(|p| p.order));
            } else {
                prop_assert_eq!(&kept, &zeros);
            }
        }
    }

    /// A grey that reads 0 between greys that were seen is held at the least light that was; one far above it reads 0
    /// by a fault, and stays for others to name.
    #[test]
    fn a_bound_that_the_others_break_is_held() {
        let panel = SimulatedPanel::by_name("wide-gamut").unwrap();
        let seen = session(&panel, NOISY, 1);
        let least = seen.patches[4].xyz().luminance_cd_m2();
        let mut readings = clipped(&panel, 0.999 * least, 1);
        for dead in [5, 12] {
            readings.patches[dead].repeats.fill(Xyz([0.0; 3]));
        }
        let noise = NoiseModel::from_repeats(&seen).unwrap();
        let (kept, found) = without_floor(&readings, &noise);
        let found = found.unwrap();
        assert_eq!(
            (found.held, found.as_read),
            (vec!["5".to_owned()], vec!["12".to_owned()])
        );
        assert!(
            ["1", "2", "3"]
                .iter()
                .all(|id| found.left_out.iter().any(|f| f == id))
        );
        let held = kept.patches.iter().find(|p| p.id == "5").unwrap();
        assert!((held.xyz().luminance_cd_m2() / found.at_most_cd_m2 - 1.0).abs() < 1e-9);
        assert_eq!(
            kept.patches.iter().find(|p| p.id == "12"),
            readings.patches.get(12)
        );
    }
}
