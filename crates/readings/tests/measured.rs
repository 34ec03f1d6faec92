//! Measured displays, read in place from the folder that `EVENSTEP_DATA` names: nothing of them is kept here
//! but the facts that their own README states.
//!
//! Without the variable the tests say so and do nothing; with it, a missing file is a failure.

use std::path::PathBuf;

use evenstep_readings::{
    Finding, Fitness, NoiseModel, Ramp, Readings, ReadingsError, RgbScale, Severity, check, read,
};
use evenstep_testkit::data_in_place;

/// The folder of displays, or `None` after saying that the test does not run.
fn displays(check: &str) -> Option<PathBuf> {
    data_in_place(check).map(|folder| folder.join("displays"))
}

fn judged(readings: &Readings) -> Vec<Finding> {
    let noise = NoiseModel::from_repeats(readings).unwrap_or(NoiseModel::assumed());
    check(readings, &noise)
}

/// What the data's README states of one file, with the line it stands in.
struct Stated {
    file: &'static str,
    rows: usize,
    distinct: Option<usize>,
    white_cd_m2: Option<f64>,
    black_cd_m2: Option<f64>,
}

const fn stated(
    file: &'static str,
    rows: usize,
    distinct: Option<usize>,
    white_cd_m2: Option<f64>,
    black_cd_m2: Option<f64>,
) -> Stated {
    Stated {
        file,
        rows,
        distinct,
        white_cd_m2,
        black_cd_m2,
    }
}

/// Source: the table "Measured displays" of the data's README, columns rows, white Y and black Y. Distinct counts
/// where that table gives none: 60 levels a channel share one black, so 3 · 59 + 1 = 178; 15 levels without
/// black 3 · 15 + 1 = 46; 30 levels without black 3 · 30 + 1 = 91.
const STATED: &[Stated] = &[
    stated(
        "lcd-rgbw-mobile.cgats",
        602,
        Some(602),
        Some(698.7),
        Some(0.724),
    ),
    stated(
        "lcd-wide-gamut-a-mixed.cgats",
        64,
        Some(29),
        Some(195.9),
        Some(0.0),
    ),
    stated(
        "lcd-wide-gamut-a-ramps.cgats",
        46,
        Some(46),
        None,
        Some(0.0),
    ),
    stated(
        "lcd-wide-gamut-fault-mixed.cgats",
        64,
        Some(29),
        Some(194.9),
        Some(194.4),
    ),
    stated("lcd-wide-gamut-fault-ramps.cgats", 46, Some(46), None, None),
    stated(
        "crt-aperture-grille-ramps.cgats",
        540,
        Some(178),
        None,
        Some(0.224),
    ),
    stated(
        "crt-aperture-grille-spectral.cgats",
        180,
        Some(178),
        None,
        Some(0.232),
    ),
    stated(
        "lcd-ips-office-a-ramps.cgats",
        180,
        Some(178),
        None,
        Some(0.195),
    ),
    stated(
        "lcd-ips-office-a-spectral.cgats",
        180,
        Some(178),
        None,
        Some(0.177),
    ),
    stated(
        "lcd-ips-fast-2021-04-20-spectral.cgats",
        58,
        Some(58),
        None,
        None,
    ),
    stated(
        "lcd-ips-fast-2021-04-23-spectral.cgats",
        58,
        Some(58),
        None,
        None,
    ),
    stated("crt-2006-ramps.cgats", 91, Some(91), None, Some(5.57)),
];

/// Half a unit in the last digit that the README prints: one decimal for white; black to three, and 5.57 to two.
const WHITE_PRINTED: f64 = 0.05;
const BLACK_PRINTED: f64 = 0.0005;

#[test]
fn in_place_every_display_is_read_as_its_readme_states() {
    let Some(folder) = displays("every display is read as its README states") else {
        return;
    };
    for s in STATED {
        let (readings, notes) = read(&folder.join(s.file), RgbScale::Detect).unwrap();
        assert_eq!(readings.reading_count(), s.rows, "{}: rows", s.file);
        if let Some(distinct) = s.distinct {
            assert_eq!(readings.distinct(), distinct, "{}: distinct", s.file);
        }
        let declared = notes.iter().any(|n| n.text.contains("0 to 255, declared"));
        assert!(declared, "{}: {notes:?}", s.file);
        assert_eq!(
            readings.white().is_some(),
            s.white_cd_m2.is_some(),
            "{}",
            s.file
        );
        let pairs = [
            (readings.white(), s.white_cd_m2, WHITE_PRINTED),
            (
                readings.black(),
                s.black_cd_m2,
                black_printed(s.black_cd_m2),
            ),
        ];
        for (patch, stated, half_unit) in pairs {
            let (Some(patch), Some(stated)) = (patch, stated) else {
                continue;
            };
            let got = patch.xyz().luminance_cd_m2();
            assert!(
                (got - stated).abs() <= half_unit,
                "{}: {got}, stated {stated}",
                s.file
            );
        }
    }
}

/// Black is printed to three decimals up to 1 cd/m², to two up to 10, to one above.
fn black_printed(stated: Option<f64>) -> f64 {
    match stated {
        Some(y) if y > 10.0 => WHITE_PRINTED,
        Some(y) if y > 1.0 => 10.0 * BLACK_PRINTED,
        _ => BLACK_PRINTED,
    }
}

#[test]
fn in_place_luminance_alone_and_several_surrounds_are_refused() {
    let Some(folder) = displays("luminance alone and several surrounds are refused") else {
        return;
    };
    for file in [
        "lcd-ips-fast-2021-04-20-luminance.csv",
        "lcd-ips-fast-2021-04-23-luminance.csv",
    ] {
        let refused = read(&folder.join(file), RgbScale::Detect).unwrap_err();
        assert!(
            matches!(refused, ReadingsError::LuminanceOnly { .. }),
            "{refused}"
        );
    }
    for file in [
        "lcd-wide-gamut-a-surround.csv",
        "lcd-wide-gamut-fault-surround.csv",
    ] {
        let refused = read(&folder.join(file), RgbScale::Detect).unwrap_err();
        assert!(
            matches!(refused, ReadingsError::Surround { .. }),
            "{refused}"
        );
    }
}

#[test]
fn in_place_the_run_that_went_wrong_is_refused_and_no_other() {
    let Some(folder) = displays("the run that went wrong is refused and no other") else {
        return;
    };
    for s in STATED {
        let (readings, _) = read(&folder.join(s.file), RgbScale::Detect).unwrap();
        let findings = judged(&readings);
        let refused = findings.iter().any(|f| f.severity() == Severity::Refuse);
        assert_eq!(
            refused,
            s.file.contains("fault"),
            "{}: {findings:?}",
            s.file
        );
        if !refused {
            continue;
        }
        // README: "every reading of every patch lies within 1 % of the mean, black included".
        let Finding::IgnoredDrive {
            spread_percent,
            black_cd_m2,
            ..
        } = findings[0]
        else {
            panic!("{}: {findings:?}", s.file);
        };
        assert!(spread_percent < 1.0, "{}: {spread_percent}", s.file);
        assert!(
            black_cd_m2.is_some_and(|y| y > 190.0),
            "{}: {black_cd_m2:?}",
            s.file
        );
    }
}

/// README, lcd-rgbw-mobile: "R and G saturate from code 178 up (flat to 0.1 %, three and two tiny reversals,
/// noise)"; "no interior and no grey ramp".
#[test]
fn in_place_the_saturating_channels_are_found() {
    let Some(folder) = displays("the saturating channels are found") else {
        return;
    };
    let (readings, _) = read(&folder.join("lcd-rgbw-mobile.cgats"), RgbScale::Detect).unwrap();
    let findings = judged(&readings);
    let flat: Vec<(Ramp, f64, f64)> = findings
        .iter()
        .filter_map(|f| match f {
            Finding::Plateau {
                ramp,
                from_drive,
                to_drive,
                ..
            } => Some((*ramp, *from_drive, *to_drive)),
            _ => None,
        })
        .collect();
    let from = 178.0 / 255.0;
    assert_eq!(
        flat,
        [(Ramp::Channel(0), from, 1.0), (Ramp::Channel(1), from, 1.0)]
    );
    let falls = |wanted: Ramp| {
        let all = findings.iter().filter(|f| {
            matches!(f, Finding::NonMonotone { ramp, .. } if *ramp == wanted)
                && f.severity() == Severity::Warn
        });
        all.count()
    };
    assert_eq!(falls(Ramp::Channel(0)), 3);
    assert_eq!(falls(Ramp::Channel(1)), 2);
    assert!(findings.contains(&Finding::NoInterior));
    assert!(findings.contains(&Finding::NoNeutralRamp { greys: 0 }));
}

/// README, crt-aperture-grille-ramps: "monotone but one 0.035 cd/m2 reversal in B".
#[test]
fn in_place_the_one_fall_of_the_tube_is_found() {
    let Some(folder) = displays("the one fall of the tube is found") else {
        return;
    };
    const PRINTED: f64 = 0.0005;
    let file = folder.join("crt-aperture-grille-ramps.cgats");
    let (readings, _) = read(&file, RgbScale::Detect).unwrap();
    let findings = judged(&readings);
    let falls: Vec<(Ramp, f64)> = findings
        .iter()
        .filter_map(|f| match f {
            Finding::NonMonotone {
                ramp, drop_cd_m2, ..
            } => Some((*ramp, *drop_cd_m2)),
            _ => None,
        })
        .collect();
    let [(Ramp::Channel(2), drop)] = falls[..] else {
        panic!("{findings:?}");
    };
    assert!((drop - 0.035).abs() <= PRINTED, "{drop}");
}

/// README, repeat spread of Y: 0.07 % median (wide gamut, two readings each); of the tube 10 % below 0.5 cd/m²
/// and 0.07 % above 50. A spread of a few readings is not a standard deviation, so a factor of three is allowed.
#[test]
fn in_place_the_noise_of_real_repeats_has_the_stated_size() {
    let Some(folder) = displays("the noise of real repeats has the stated size") else {
        return;
    };
    const FACTOR: f64 = 3.0;
    let like = |got: f64, stated: f64| (stated / FACTOR..=stated * FACTOR).contains(&got);
    let noise = |file: &str| {
        let (readings, _) = read(&folder.join(file), RgbScale::Detect).unwrap();
        NoiseModel::from_repeats(&readings).unwrap()
    };
    let wide = noise("lcd-wide-gamut-a-mixed.cgats");
    assert!(like(wide.luminance_sd(100.0) / 100.0, 0.0007), "{wide:?}");
    let tube = noise("crt-aperture-grille-ramps.cgats");
    assert!(like(tube.luminance_sd(100.0) / 100.0, 0.0007), "{tube:?}");
    assert!(like(tube.luminance_sd(0.25) / 0.25, 0.1), "{tube:?}");
}

#[test]
fn in_place_fitness_tells_ramps_from_mixtures() {
    let Some(folder) = displays("fitness tells ramps from mixtures") else {
        return;
    };
    let fitness = |file: &str| {
        let (readings, _) = read(&folder.join(file), RgbScale::Detect).unwrap();
        Fitness::of(&readings)
    };
    let mixed = fitness("lcd-wide-gamut-a-mixed.cgats");
    assert!(mixed.supports_3d(), "{mixed:?}");
    let tube = fitness("crt-aperture-grille-ramps.cgats");
    assert_eq!(tube.ramp_levels, [60; 3]);
    assert!(tube.supports_base() && !tube.supports_3d(), "{tube:?}");
    let surface = fitness("lcd-rgbw-mobile.cgats");
    assert!(
        surface.supports_3d() && surface.interior == 0,
        "{surface:?}"
    );
}
