use evenstep_lut::Correction;
use evenstep_readings::Reading;

/// Drives this near in every channel are one: half of a 12-bit code, less than a panel or a stored node tells apart.
const SAME_DRIVE: f64 = 0.5 / 4095.0;

/// Turns readings that were taken through a loaded LUT into readings of the panel itself: the signals that were shown
/// become the drives that the LUT made of them.
///
/// `known` are readings of the same panel taken without it; the two are joined, the known ones first. Where drives
/// coincide, or nearly so because the LUT clips or flattens there, all take that of the first, so that
/// [`merged`](evenstep_readings::merged) makes one patch of them: a model of two patches side by side would follow the
/// difference of their noise.
#[must_use]
pub fn through(
    loaded: &dyn Correction,
    mut known: Vec<Reading>,
    readings: Vec<Reading>,
) -> Vec<Reading> {
    for mut reading in readings {
        reading.drive = loaded.drive(reading.drive);
        let is_same = |other: &&Reading| {
            let pairs = other.drive.iter().zip(reading.drive);
            pairs
                .map(|(a, b)| (a - b).abs())
                .all(|apart| apart < SAME_DRIVE)
        };
        if let Some(first) = known.iter().find(is_same) {
            reading.drive = first.drive;
        }
        known.push(reading);
    }
    known
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstep_colour::Xyz;
    use evenstep_lut::{Evaluation, Lut, Lut3d};
    use evenstep_readings::merged;
    use proptest::prelude::*;

    fn reading(drive: [f64; 3]) -> Reading {
        Reading {
            id: String::new(),
            drive,
            xyz: Xyz::new(1.0, 1.0, 1.0),
            seconds: None,
        }
    }

    proptest! {
        /// Whatever the LUT, no two patches are nearer than a panel can tell, no reading is lost, and each lies within
        /// that of the drive that was shown.
        #[test]
        fn no_two_patches_are_one(
            signals in prop::collection::vec(prop::array::uniform3(0.0..1.0_f64), 1..40),
            known in prop::collection::vec(prop::array::uniform3(0.0..1.0_f64), 0..5),
            clip in 0.3..1.0_f64,
        ) {
            let lut = Lut::from(Lut3d::from_fn(5, |s| s.map(|v| v.min(clip))));
            let loaded = lut.evaluated(Evaluation::Tetrahedral);
            let first: Vec<Reading> = known.into_iter().map(reading).collect();
            let start = first.len();
            let shown: Vec<Reading> = signals.iter().map(|s| reading(*s)).collect();
            let joined = through(&loaded, first, shown);
            prop_assert_eq!(joined.len(), start + signals.len());
            for (reading, signal) in joined[start..].iter().zip(&signals) {
                let drive = loaded.drive(*signal);
                prop_assert!((0..3).all(|c| (reading.drive[c] - drive[c]).abs() < SAME_DRIVE));
            }
            let patches = merged(joined[start..].to_vec()).patches;
            for (i, a) in patches.iter().enumerate() {
                let apart = |b: &[f64; 3]| (0..3).any(|c| (a.drive[c] - b[c]).abs() > 0.0);
                prop_assert!(patches[..i].iter().all(|b| apart(&b.drive)));
            }
        }
    }

    #[test]
    fn what_a_lut_flattens_is_one_patch() {
        let lut = Lut::from(Lut3d::from_fn(3, |s| s.map(|v| v.min(0.5))));
        let signals = [[0.6; 3], [0.7; 3], [1.0; 3], [0.2; 3]];
        let loaded = lut.evaluated(Evaluation::Tetrahedral);
        let joined = through(
            &loaded,
            vec![reading([0.5; 3])],
            signals.map(reading).to_vec(),
        );
        let patches = merged(joined).patches;
        assert_eq!(patches.len(), 2);
        assert_eq!(patches[0].repeats.len(), 4);
    }
}
