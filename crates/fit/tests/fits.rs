//! Whole fits on panels whose behaviour is known.

use evenstep_colour::{Chromaticity, Primaries, Xyz, delta_e_2000, lab_from_xyz};
use evenstep_display::{Disturbance, PanelModel, SimulatedPanel, Target, Transfer, simulate};
use evenstep_fit::{
    Black, BlackColour, CodeRange, Fit, FitFailure, FitOptions, InSignal, Peak, TargetRequest,
    White, fit,
};
use evenstep_lut::{Correction, Evaluation, Lut};
use evenstep_readings::{
    FullScale, PatchRequest, Reading, Readings, RgbScale, merged, parse_patches,
};
use nalgebra::Vector3;

/// A panel that adds, with its own primaries, white and power; no threshold, a little black.
struct Additive;

impl PanelModel for Additive {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        let white = Chromaticity { x: 0.300, y: 0.315 };
        let matrix = Primaries::P3.xyz_from_rgb(white) * 180.0;
        let light = Vector3::from(drive.map(|d| d.powf(2.3)));
        let black = Vector3::from(white.xyz_at(0.05).0);
        Xyz((matrix * light + black).into())
    }
}

fn requests(drives: impl IntoIterator<Item = [f64; 3]>) -> Vec<PatchRequest> {
    drives
        .into_iter()
        .enumerate()
        .map(|(i, drive)| PatchRequest {
            id: format!("P{i}"),
            drive,
        })
        .collect()
}

fn ramps(levels: u32) -> Vec<[f64; 3]> {
    let level = |i: u32| f64::from(i) / f64::from(levels);
    let mut drives: Vec<[f64; 3]> = (0..=levels).map(|i| [level(i); 3]).collect();
    for c in 0..3 {
        drives.extend(
            (1..=levels).map(|i| std::array::from_fn(|k| if k == c { level(i) } else { 0.0 })),
        );
    }
    drives
}

fn read(panel: &dyn PanelModel, drives: Vec<[f64; 3]>) -> Readings {
    let rows = requests(drives).into_iter().map(|p| Reading {
        xyz: panel.xyz(p.drive),
        id: p.id,
        drive: p.drive,
        seconds: None,
    });
    merged(rows.collect())
}

fn foyer() -> Readings {
    let text = include_bytes!("../../../examples/foyer/sparse-patches.csv");
    let (patches, _) = parse_patches(
        text,
        std::path::Path::new("sparse-patches.csv"),
        RgbScale::Given(FullScale::One),
    )
    .unwrap();
    let noisy = Disturbance {
        noise: 1.0,
        drift: 0.0,
        outliers: 0.0,
    };
    merged(simulate(&SimulatedPanel::wrgb(), &patches, noisy, 1))
}

fn options(nodes: usize, peak: Peak) -> FitOptions {
    FitOptions {
        nodes,
        target: TargetRequest {
            peak,
            ..TargetRequest::default()
        },
        ..FitOptions::default()
    }
}

/// Mean CIEDE2000 between what the panel shows through the LUT and the target, over a lattice off the nodes.
fn mean_error(panel: &dyn PanelModel, correction: &dyn Correction, target: &Target) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for r in 0..7 {
        for g in 0..7 {
            for b in 0..7 {
                let signal = [r, g, b].map(|v| 0.05 + 0.15 * f64::from(v));
                let lab = |xyz| lab_from_xyz(xyz, target.white());
                sum += delta_e_2000(
                    lab(panel.xyz(correction.drive(signal))),
                    lab(target.xyz(signal)),
                );
                count += 1.0;
            }
        }
    }
    sum / count
}

fn lut(fit: &Fit) -> Lut {
    Lut {
        title: None,
        curves: None,
        lattice: Some(fit.lut.clone()),
    }
}

/// On a panel that adds, the base correction is the whole answer: a 33³ LUT of it errs by no more than its lattice
/// and its 12-bit nodes cost.
#[test]
fn base_only_is_enough_on_a_panel_that_adds() {
    let readings = read(&Additive, ramps(16));
    let choices = FitOptions {
        base_only: true,
        ..options(33, Peak::Given(120.0))
    };
    let fitted = fit(&readings, &choices, &|_, _| {}).unwrap();
    let error = mean_error(
        &Additive,
        &lut(&fitted).evaluated(Evaluation::Tetrahedral),
        &fitted.settled.target,
    );
    // Measured 0.05; a tenth of a just-noticeable difference is what the lattice itself may cost.
    assert!(error < 0.1, "{error}");
}

/// The three-dimensional model is what the non-additive panel needs: it errs by less than half of the base.
#[test]
fn interior_patches_pay_on_a_panel_that_does_not_add() {
    let panel = SimulatedPanel::wrgb();
    let readings = foyer();
    let three = fit(&readings, &options(17, Peak::Given(120.0)), &|_, _| {}).unwrap();
    let error = mean_error(
        &panel,
        &lut(&three).evaluated(Evaluation::Tetrahedral),
        &three.settled.target,
    );
    let base = mean_error(&panel, three.base.as_ref().unwrap(), &three.settled.target);
    assert!(error < 0.5 * base, "3D {error}, base {base}");
    assert!(!three.report.base_suffices);
}

/// The white asked for by default is reached with a margin, so no channel clips on the neutral axis.
#[test]
fn the_default_white_is_within_reach() {
    let panel = SimulatedPanel::wrgb();
    let fitted = fit(&foyer(), &options(9, Peak::Measured), &|_, _| {}).unwrap();
    let settled = &fitted.settled;
    let reach = settled.reach_cd_m2;
    let white = settled.target.white();
    assert!(white.luminance_cd_m2() <= 0.995 * reach);
    // The brightest D65 of the true panel, by scaling its white until one channel is full, is not exceeded.
    assert!(reach < panel.xyz([1.0; 3]).luminance_cd_m2());
    let drive = fitted.lut.node(8, 8, 8);
    assert!(
        drive.iter().all(|d| *d <= 1.0) && drive.iter().any(|d| *d > 0.9),
        "{drive:?}"
    );
}

/// Nodes that hold D65 white and black land on them.
#[test]
fn ends_of_the_neutral_axis_are_the_target() {
    for transfer in [
        Transfer::Bt1886,
        Transfer::Gamma(2.2),
        Transfer::Srgb,
        Transfer::Pq,
    ] {
        let mut choices = options(9, Peak::Given(100.0));
        choices.target.transfer = transfer;
        let readings = foyer();
        let fitted = fit(&readings, &choices, &|_, _| {}).unwrap();
        let panel = SimulatedPanel::wrgb();
        let shown = panel.xyz(fitted.lut.node(8, 8, 8));
        let white = fitted.settled.target.white();
        let error = delta_e_2000(lab_from_xyz(shown, white), lab_from_xyz(white, white));
        // One just-noticeable difference: readings carry 0.15 % noise and nodes 12 bits.
        assert!(error < 1.0, "{transfer}: {error}");
        assert!(
            panel.xyz(fitted.lut.node(0, 0, 0)).luminance_cd_m2() < 0.01,
            "{transfer}"
        );
    }
}

#[test]
fn the_black_can_be_given_and_codes_it_costs_are_counted() {
    let readings = read(&Additive, ramps(10));
    let mut choices = FitOptions {
        base_only: true,
        ..options(5, Peak::Given(100.0))
    };
    choices.target.black = Black::Given(0.001);
    choices.target.black_colour = BlackColour::White;
    choices.target.white = White::Native;
    let fitted = fit(&readings, &choices, &|_, _| {}).unwrap();
    let black = fitted.settled.target.black();
    assert!((black.luminance_cd_m2() - 0.001).abs() < 1e-12);
    assert!(
        fitted.settled.neutral_codes_missed > 10,
        "{}",
        fitted.settled.neutral_codes_missed
    );
}

/// In narrow range the legal codes carry the same correction, and codes outside pass through.
#[test]
fn narrow_range_carries_the_same_correction() {
    let readings = read(&Additive, ramps(16));
    let full = FitOptions {
        base_only: true,
        ..options(65, Peak::Given(120.0))
    };
    let narrow = FitOptions {
        range: CodeRange::Narrow,
        ..full.clone()
    };
    let full = fit(&readings, &full, &|_, _| {}).unwrap();
    let narrow = fit(&readings, &narrow, &|_, _| {}).unwrap();
    let (full_lut, narrow_lut) = (lut(&full), lut(&narrow));
    let inner = narrow_lut.evaluated(Evaluation::Tetrahedral);
    let seen = InSignal {
        inner: &inner,
        range: CodeRange::Narrow,
    };
    for i in 2..=20 {
        let signal = [f64::from(i) / 20.0; 3];
        let (a, b) = (
            full_lut.evaluated(Evaluation::Tetrahedral).drive(signal),
            seen.drive(signal),
        );
        // Nodes fall elsewhere: they differ by what a 65³ lattice of a power curve errs between nodes.
        assert!(
            a.iter().zip(b).all(|(x, y)| (x - y).abs() < 2e-3),
            "{signal:?} {a:?} {b:?}"
        );
    }
    let super_white = inner.drive([1.0; 3]);
    assert!(
        super_white
            .iter()
            .all(|v| *v > inner.drive([940.0 / 1023.0; 3])[0] - 0.2)
    );
}

#[test]
fn ramps_alone_are_declined_with_the_reason() {
    let refused = fit(
        &read(&Additive, ramps(16)),
        &options(9, Peak::Measured),
        &|_, _| {},
    )
    .map(|_| ());
    let Err(FitFailure::Declined { reason }) = refused else {
        panic!("not declined: {refused:?}")
    };
    assert!(reason.contains("ramp"), "{reason}");
}

#[test]
fn a_panel_that_ignored_its_drive_is_refused_with_the_reason() {
    struct Stuck;
    impl PanelModel for Stuck {
        fn xyz(&self, drive: [f64; 3]) -> Xyz {
            Xyz::new(186.0, 195.0 + 0.3 * drive[1], 223.0)
        }
    }
    let refused = fit(
        &read(&Stuck, ramps(16)),
        &options(9, Peak::Measured),
        &|_, _| {},
    )
    .map(|_| ());
    let Err(failure) = refused else {
        panic!("accepted")
    };
    assert!(matches!(failure, FitFailure::Refused { .. }), "{failure}");
    assert!(failure.to_string().contains("drive"), "{failure}");
}

#[test]
fn impossible_requests_say_what_is_wrong() {
    let readings = foyer();
    let nodes = fit(&readings, &options(66, Peak::Measured), &|_, _| {}).map(|_| ());
    assert!(matches!(nodes, Err(FitFailure::Nodes { nodes: 66 })));
    let mut choices = options(9, Peak::Given(0.5));
    choices.target.black = Black::Given(1.0);
    let dark = fit(&readings, &choices, &|_, _| {}).map(|_| ());
    assert!(
        matches!(dark, Err(FitFailure::WhiteBelowBlack { .. })),
        "{dark:?}"
    );
}

/// The same readings give the same bytes on one thread and on two.
#[test]
fn threads_do_not_change_a_bit() {
    let readings = foyer();
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| fit(&readings, &options(9, Peak::Measured), &|_, _| {}).unwrap())
    };
    let (one, two) = (on(1), on(2));
    assert_eq!(one.lut, two.lut);
    assert_eq!(one.report, two.report);
}
