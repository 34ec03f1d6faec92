//! Measured displays, read in place from the folder that `EVENSTEP_DATA` names: what a fit makes of each.

use std::path::{Path, PathBuf};

use evenstep_colour::{Xyz, delta_e_2000, lab_from_xyz};
use evenstep_display::{PanelModel, panel_white};
use evenstep_fit::{Fit, FitFailure, FitOptions, fit, model};
use evenstep_readings::{Finding, Patch, Readings, RgbScale, read};
use evenstep_testkit::data_in_place;
use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

fn displays(check: &str) -> Option<PathBuf> {
    data_in_place(check).map(|folder| folder.join("displays"))
}

fn readings(path: &Path) -> Readings {
    read(path, RgbScale::Detect).unwrap().0
}

/// With few nodes: what is looked at here is the outcome, and the forward model does not depend on them.
fn outcome(path: &Path, base_only: bool) -> Result<Fit, FitFailure> {
    let options = FitOptions {
        nodes: 5,
        base_only,
        ..FitOptions::default()
    };
    fit(&readings(path), &options, &|_, _| {})
}

/// Ramps of single channels and black: no patch tells how the channels act on each other.
const RAMPS_ONLY: [&str; 8] = [
    "lcd-wide-gamut-a-ramps.cgats",
    "crt-aperture-grille-ramps.cgats",
    "crt-aperture-grille-spectral.cgats",
    "lcd-ips-office-a-ramps.cgats",
    "lcd-ips-office-a-spectral.cgats",
    "lcd-ips-fast-2021-04-20-spectral.cgats",
    "lcd-ips-fast-2021-04-23-spectral.cgats",
    "crt-2006-ramps.cgats",
];

#[test]
fn in_place_ramps_alone_are_declined_and_fitted_with_base_only() {
    let Some(folder) = displays("ramps alone are declined for a 3D fit and fitted with base only")
    else {
        return;
    };
    for file in RAMPS_ONLY {
        let path = folder.join(file);
        let declined = outcome(&path, false).map(|_| ());
        let Err(FitFailure::Declined { reason }) = declined else {
            panic!("{file}: not declined: {declined:?}")
        };
        assert!(reason.contains("ramp"), "{file}: {reason}");
        let base = outcome(&path, true).unwrap_or_else(|e| panic!("{file}: base only: {e}"));
        assert!(
            base.base.is_some() && base.report.scheme == "base",
            "{file}"
        );
        let drives = base.lut.nodes().iter().flatten();
        assert!(drives.copied().all(|d| (0.0..=1.0).contains(&d)), "{file}");
    }
}

/// Data's README, lcd-wide-gamut-fault-*: "the panel stayed white whatever the drive". Not even a base is fitted.
#[test]
fn in_place_the_run_that_went_wrong_is_not_fitted() {
    let Some(folder) = displays("the run that went wrong is refused, base only too") else {
        return;
    };
    for file in [
        "lcd-wide-gamut-fault-mixed.cgats",
        "lcd-wide-gamut-fault-ramps.cgats",
    ] {
        for base_only in [false, true] {
            let refused = outcome(&folder.join(file), base_only).map(|_| ());
            let Err(FitFailure::Refused { finding }) = refused else {
                panic!("{file}: not refused: {refused:?}")
            };
            assert!(
                matches!(finding, Finding::IgnoredDrive { .. }),
                "{file}: {finding}"
            );
        }
    }
}

/// Sets with mixtures of the channels get a 3D correction.
#[test]
fn in_place_mixtures_are_fitted_in_three_dimensions() {
    let Some(folder) = displays("sets with mixtures get a 3D fit") else {
        return;
    };
    for file in ["lcd-rgbw-mobile.cgats", "lcd-wide-gamut-a-mixed.cgats"] {
        let fitted = outcome(&folder.join(file), false).unwrap_or_else(|e| panic!("{file}: {e}"));
        assert_ne!(fitted.report.scheme, "base", "{file}");
        let drives = fitted.lut.nodes().iter().flatten();
        assert!(drives.copied().all(|d| (0.0..=1.0).contains(&d)), "{file}");
    }
}

const FOLDS: usize = 5;
const SEED: u64 = 1;
/// Mean CIEDE2000 over all readings, each predicted by a model that has not seen it. Our goal for this panel: a
/// scheme that lost its residual, its encoding or its smoothing misses it.
const LEFT_OUT_DE2000: f64 = 0.60;

/// A fifth is left out five times over; what was left out is predicted from the rest.
#[test]
#[expect(
    clippy::print_stderr,
    reason = "the figure is what a reader of the log wants"
)]
fn in_place_the_rgbw_panel_is_predicted_where_it_was_not_read() {
    let Some(folder) = displays("the RGBW panel is predicted where it was not read") else {
        return;
    };
    let all = readings(&folder.join("lcd-rgbw-mobile.cgats"));
    let white = panel_white(&all);
    let mut shuffled = all.patches.clone();
    shuffled.shuffle(&mut ChaCha8Rng::seed_from_u64(SEED));
    let (mut sum, mut count) = (0.0, 0);
    for fold in 0..FOLDS {
        let (mut kept, mut left_out): (Vec<Patch>, Vec<Patch>) = (Vec::new(), Vec::new());
        for (i, patch) in shuffled.iter().enumerate() {
            let side = if i % FOLDS == fold {
                &mut left_out
            } else {
                &mut kept
            };
            side.push(patch.clone());
        }
        kept.sort_by_key(|p| p.order);
        // Without its black a set is refused, and without its white a base has no anchor: both stay.
        let corner = |p: &Patch| p.drive == [0.0; 3] || p.drive == [1.0; 3];
        let corners: Vec<Patch> = left_out.iter().filter(|p| corner(p)).cloned().collect();
        kept.extend(corners);
        left_out.retain(|p| !corner(p));
        let fitted = model(&Readings { patches: kept }, &FitOptions::default()).unwrap();
        for patch in &left_out {
            sum += difference(fitted.model.xyz(patch.drive), patch.xyz(), white);
            count += 1;
        }
    }
    // All but black and white are left out once.
    assert_eq!(count, all.patches.len() - 2);
    let mean = sum / count as f64;
    eprintln!(
        "in place, figure: RGBW panel, a fifth left out five times: mean CIEDE2000 {mean:.3}"
    );
    assert!(mean <= LEFT_OUT_DE2000, "mean CIEDE2000 {mean:.3}");
}

fn difference(a: Xyz, b: Xyz, white: Xyz) -> f64 {
    delta_e_2000(lab_from_xyz(a, white), lab_from_xyz(b, white))
}
