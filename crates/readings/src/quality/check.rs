use super::finding::Finding;
use super::fitness::{Fitness, MIN_DISTINCT_3D, MIN_OFF_RAMPS_3D, dimensions};
use super::ramps;
use crate::{NoiseModel, Readings};

/// Luminances of all patches that lie this close to their mean, though the drive goes from dark to bright, mean
/// that the panel did not follow. Our choice, because a real run of that kind stayed within 1 %, and a display
/// that works spans a ratio of ten at the very least.
const IGNORED: f64 = 0.05;

/// Looks for everything that a fit or a user should know before trusting the readings; worst first.
///
/// `noise` judges whether a fall on a ramp is explained: [`NoiseModel::from_repeats`], or
/// [`NoiseModel::assumed`] where there are no repeats. Where the panel ignored its drive, ramps are not
/// judged: what they show is a consequence.
#[must_use]
pub fn check(readings: &Readings, noise: &NoiseModel) -> Vec<Finding> {
    let mut found = Vec::new();
    let ignored = ignored_drive(readings);
    if ignored.is_none() {
        ramps::falls(readings, noise, &mut found);
        ramps::plateaus(readings, &mut found);
    }
    found.extend(ignored);
    coverage(readings, &mut found);
    let zero = |p: &crate::Patch| p.repeats.iter().any(|xyz| xyz.0 == [0.0; 3]);
    if readings.black().is_some_and(zero) {
        found.push(Finding::BlackReadsZero);
    }
    let repeated = readings
        .patches
        .iter()
        .filter(|p| p.repeats.len() > 1)
        .count();
    if repeated > 0 {
        found.push(Finding::Repeated {
            distinct: readings.distinct(),
            patches: repeated,
            readings: readings.reading_count(),
        });
    }
    // A stable sort: within one severity the order above stays.
    found.sort_by_key(|finding| std::cmp::Reverse(finding.severity()));
    found
}

/// What was not read.
fn coverage(readings: &Readings, found: &mut Vec<Finding>) {
    let fitness = Fitness::of(readings);
    if !fitness.black {
        found.push(Finding::NoBlack);
    }
    if !fitness.white {
        let full = |c: usize| {
            readings
                .channel_ramp(c)
                .last()
                .is_some_and(|p| p.drive[c] == 1.0)
        };
        let primaries = (0..3).all(full);
        found.push(Finding::NoWhite { primaries });
    }
    let dimensions = dimensions(readings);
    if dimensions < 3 {
        found.push(Finding::Flat { dimensions });
    } else if fitness.off_ramps == 0 {
        found.push(Finding::OnlyRamps);
    } else if fitness.off_ramps < MIN_OFF_RAMPS_3D {
        let off_ramps = fitness.off_ramps;
        found.push(Finding::FewMixtures { off_ramps });
    }
    if fitness.distinct < MIN_DISTINCT_3D {
        let distinct = fitness.distinct;
        found.push(Finding::TooFew { distinct });
    }
    ramps::greys(readings, found);
    if fitness.interior == 0 {
        found.push(Finding::NoInterior);
    }
}

fn ignored_drive(readings: &Readings) -> Option<Finding> {
    let black = readings.black();
    // Dark to bright: from black to a channel at half drive or more, or half of the three channels' whole range.
    let sums = || readings.patches.iter().map(|p| p.drive.iter().sum::<f64>());
    let range = sums().fold(f64::MIN, f64::max) - sums().fold(f64::MAX, f64::min);
    let bright = readings
        .patches
        .iter()
        .any(|p| p.drive.iter().any(|v| *v >= 0.5));
    if !(range >= 1.5 || (black.is_some() && bright)) {
        return None;
    }
    let luminances = || readings.patches.iter().map(|p| p.xyz().luminance_cd_m2());
    let mean = luminances().sum::<f64>() / readings.patches.len() as f64;
    let spread = luminances().map(|y| (y - mean).abs()).fold(0.0, f64::max) / mean;
    (mean > 0.0 && spread <= IGNORED).then(|| Finding::IgnoredDrive {
        spread_percent: 100.0 * spread,
        mean_cd_m2: mean,
        black_cd_m2: black.map(|p| p.xyz().luminance_cd_m2()),
    })
}

#[cfg(test)]
mod tests {
    use super::super::Severity;
    use super::*;
    use crate::{Patch, Ramp};
    use evenstep_colour::Xyz;

    /// A panel that adds, power 2, D65-like, with a little black.
    fn shown(drive: [f64; 3]) -> Xyz {
        let light = drive.map(|v| v * v);
        let column = [[41.0, 21.0, 2.0], [36.0, 72.0, 12.0], [18.0, 7.0, 95.0]];
        let sum = |k: usize| 0.1 + (0..3).map(|c| light[c] * column[c][k]).sum::<f64>();
        Xyz([sum(0), sum(1), sum(2)])
    }

    fn set(drives: &[[f64; 3]]) -> Readings {
        let patch = |(order, drive): (usize, &[f64; 3])| Patch {
            id: format!("p{order}"),
            drive: *drive,
            repeats: vec![shown(*drive)],
            order,
            later: Vec::new(),
            doubt: 1.0,
        };
        Readings {
            patches: drives.iter().enumerate().map(patch).collect(),
        }
    }

    /// A lattice of 4³ drives: every kind of patch is there.
    fn lattice() -> Readings {
        let level = |k: usize| k as f64 / 3.0;
        let all = |i: usize| [level(i % 4), level(i / 4 % 4), level(i / 16)];
        let mut drives: Vec<[f64; 3]> = (0..64).map(all).collect();
        drives.push([0.5; 3]);
        set(&drives)
    }

    fn found(readings: &Readings) -> Vec<Finding> {
        check(readings, &NoiseModel::assumed())
    }

    #[test]
    fn a_sound_set_has_no_findings() {
        assert_eq!(found(&lattice()), []);
        assert!(Fitness::of(&lattice()).supports_3d());
    }

    #[test]
    fn missing_black_and_white_are_named() {
        let mut readings = lattice();
        readings
            .patches
            .retain(|p| p.drive != [0.0; 3] && p.drive != [1.0; 3]);
        assert_eq!(
            found(&readings)[..2],
            [Finding::NoBlack, Finding::NoWhite { primaries: true }]
        );
        readings.patches.retain(|p| p.drive != [1.0, 0.0, 0.0]);
        assert!(found(&readings).contains(&Finding::NoWhite { primaries: false }));
    }

    #[test]
    fn drives_on_a_line_or_in_a_plane_are_refused() {
        let greys: Vec<[f64; 3]> = (0..30).map(|k| [f64::from(k) / 29.0; 3]).collect();
        assert!(found(&set(&greys)).contains(&Finding::Flat { dimensions: 1 }));
        let plane: Vec<[f64; 3]> = (0..49)
            .map(|k| [f64::from(k % 7) / 6.0, f64::from(k / 7) / 6.0, 0.0])
            .collect();
        assert!(found(&set(&plane)).contains(&Finding::Flat { dimensions: 2 }));
        assert!(found(&set(&[[0.0; 3]])).contains(&Finding::Flat { dimensions: 0 }));
        assert_eq!(found(&Readings::default())[0].severity(), Severity::Refuse);
    }

    #[test]
    fn a_set_of_ramps_is_declined_for_a_3d_fit() {
        let mut drives = vec![[0.0; 3]];
        for k in 1..=9 {
            let v = f64::from(k) / 9.0;
            drives.extend([[v; 3], [v, 0.0, 0.0], [0.0, v, 0.0], [0.0, 0.0, v]]);
        }
        let readings = set(&drives);
        assert_eq!(found(&readings), [Finding::OnlyRamps, Finding::NoInterior]);
        let fitness = Fitness::of(&readings);
        assert!(fitness.supports_base() && !fitness.supports_3d());
    }

    #[test]
    fn a_fall_is_named_and_weighed_against_noise() {
        let mut readings = lattice();
        let fall = |readings: &mut Readings, depth: f64| {
            let mid = shown([0.5; 3]);
            let patch = readings
                .patches
                .iter_mut()
                .find(|p| p.drive == [2.0 / 3.0; 3])
                .unwrap();
            patch.repeats = vec![Xyz([mid.0[0], mid.0[1] - depth, mid.0[2]])];
        };
        fall(&mut readings, 0.01);
        let [
            Finding::NonMonotone {
                ramp: Ramp::Neutral,
                from,
                sigmas,
                drop_cd_m2,
                ..
            },
        ] = &found(&readings)[..]
        else {
            panic!("{:?}", found(&readings));
        };
        assert_eq!(from, "p64");
        assert!((drop_cd_m2 - 0.01).abs() < 1e-12 && *sigmas < 1.0);
        assert_eq!(found(&readings)[0].severity(), Severity::Warn);
        fall(&mut readings, 5.0);
        assert_eq!(found(&readings)[0].severity(), Severity::Strong);
    }

    #[test]
    fn a_panel_that_ignores_its_drive_is_refused() {
        let mut readings = lattice();
        for (k, patch) in readings.patches.iter_mut().enumerate() {
            let y = 200.0 + (k % 5) as f64;
            patch.repeats = vec![Xyz([y, y, y])];
        }
        let Finding::IgnoredDrive {
            black_cd_m2,
            spread_percent,
            ..
        } = found(&readings)[0]
        else {
            panic!("{:?}", found(&readings));
        };
        assert_eq!(black_cd_m2, Some(200.0));
        assert!((0.9..1.1).contains(&spread_percent), "{spread_percent}");
    }

    #[test]
    fn a_set_with_little_range_of_drive_is_not_called_ignored() {
        let near: Vec<[f64; 3]> = (0..8).map(|k| [1.0, 1.0, f64::from(k) / 40.0]).collect();
        let any = found(&set(&near));
        assert!(
            !any.iter()
                .any(|f| matches!(f, Finding::IgnoredDrive { .. })),
            "{any:?}"
        );
    }
}
