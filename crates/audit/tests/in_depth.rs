//! Theorems of the figures that only an audit in depth computes.

mod common;

use common::{Map, on_panel};
use evenstep_audit::{AuditOptions, AuditReport, CodeRange, Subject, audit};
use evenstep_lut::{Evaluation, Lut, Lut1d, Lut3d};
use proptest::prelude::*;

/// Few operations on numbers about 1.
const ROUNDOFF: f64 = 1e-9;

fn options() -> AuditOptions {
    AuditOptions {
        in_depth: true,
        // A quarter of the codes: the theorems hold at any depth.
        source_bits: evenstep_audit::BitDepth::EIGHT,
        ..AuditOptions::default()
    }
}

fn alone(lut: &Lut, options: &AuditOptions) -> AuditReport {
    let correction = lut.evaluated(options.evaluation);
    audit(&Subject::of_lut(&correction, lut), options, None)
}

#[test]
fn a_correction_that_hits_its_target_steps_as_its_target_does() {
    let identity = Map(|s| s);
    let report = on_panel(&Subject::new(&identity), &options());
    let found = report.neighbours26.unwrap();
    assert!((found.itp_max - found.itp_ideal_max).abs() < ROUNDOFF);
    assert!((found.de2000_max - found.de2000_ideal_max).abs() < ROUNDOFF);
    assert!(found.itp_excess_max < ROUNDOFF && found.itp_max > 0.0);
    let regions = report.regions.unwrap();
    for region in [
        &regions.all,
        &regions.near_black,
        &regions.neutral,
        &regions.skin,
        &regions.saturated,
    ] {
        assert!((region.drive_gain_max - 1.0).abs() < ROUNDOFF, "{region:?}");
        assert!(
            (region.noise_gain_max.unwrap() - 1.0).abs() < ROUNDOFF,
            "{region:?}"
        );
    }
}

/// A jump of some codes between two greys shows at one of them, and the test says at which.
#[test]
fn the_26_neighbours_see_a_jump_where_it_is() {
    let jump = Map(|s: [f64; 3]| {
        s.map(|v| {
            if v * 255.0 > 100.5 {
                (v + 4.0 / 255.0).min(1.0)
            } else {
                v
            }
        })
    });
    let found = on_panel(&Subject::new(&jump), &options())
        .neighbours26
        .unwrap();
    assert!(found.itp_excess_max > 1.0, "{found:?}");
    assert!((100..=101).contains(&found.itp_excess_code), "{found:?}");
}

#[test]
fn without_readings_or_lattice_the_rest_is_there() {
    let lut = Lut::from(Lut1d::from_fn(17, |v| [v * v; 3]));
    let report = alone(&lut, &options());
    assert!(report.neighbours26.is_none() && report.evaluation_sensitivity.is_none());
    assert_eq!(
        report.why.reason("evaluation_sensitivity"),
        Some("the correction has no lattice")
    );
    let curves = report.curves.unwrap();
    assert_eq!((curves.rows, curves.falls), (17, [0; 3]));
    // Noise leaves the range at the last of 13 signals; that before it, 11/12 and a code of 8 bits, lies between rows 14
    // and 15 of 16: (15² − 14²)/16.
    let most = report.regions.unwrap().all.drive_gain_max;
    assert!((most - 29.0 / 16.0).abs() < ROUNDOFF, "{most}");
}

#[test]
fn curves_in_front_of_a_lattice_place_its_nodes() {
    let mut lattice = Lut3d::identity(5);
    let at = lattice.index(2, 2, 2);
    lattice.nodes_mut()[at][0] += 0.1;
    let lut = Lut {
        curves: Some(Lut1d::from_fn(257, |v| [v * v; 3])),
        ..Lut::from(lattice)
    };
    let report = alone(&lut, &options());
    let worst = report
        .worst
        .iter()
        .find(|w| w.figure == "lattice.second_difference")
        .unwrap();
    assert_eq!(worst.node, Some([2, 2, 2]));
    // The square of √½ is the middle node: 8-bit code 180.
    assert_eq!(worst.source_code, [180; 3]);
}

/// Where nothing is wrong there is no worst place, and where one node is there are some.
#[test]
fn worst_places_are_places_of_faults() {
    for size in [5, 10] {
        let sound = alone(&Lut::from(Lut3d::identity(size)), &options());
        assert!(sound.worst.is_empty(), "{:?}", sound.worst);
        let gentle = Lut3d::from_fn(size, |s| s.map(|v| 0.8 * v));
        let gentle = alone(&Lut::from(gentle), &options());
        assert!(gentle.worst.is_empty(), "{:?}", gentle.worst);
    }
    let mut lattice = Lut3d::identity(5);
    let at = lattice.index(2, 2, 2);
    lattice.nodes_mut()[at] = [0.2; 3];
    let report = alone(&Lut::from(lattice), &options());
    let figures: Vec<&str> = report.worst.iter().map(|w| w.figure).collect();
    for figure in [
        "lattice.second_difference",
        "lattice.neighbour_steps.min",
        "lattice.folds",
        "certain_fall_drive",
        "evaluation_sensitivity.trilinear",
        "regions.all.drive_gain_max",
    ] {
        assert!(figures.contains(&figure), "{figure}: {figures:?}");
    }
}

#[test]
fn a_plain_audit_leaves_them_out() {
    let report = alone(&Lut::from(Lut3d::identity(5)), &AuditOptions::default());
    assert!(report.regions.is_none() && report.evaluation_sensitivity.is_none());
}

/// In narrow range a node's value is a position in all codes, and the figure is drive as on the ramps: 255/219 times it.
#[test]
fn evaluation_sensitivity_of_a_narrow_lattice_is_in_drive() {
    let lut = Lut::from(Lut3d::from_fn(2, |[r, g, b]| [r * g, g, b]));
    let with = |range| {
        let options = AuditOptions { range, ..options() };
        alone(&lut, &options).evaluation_sensitivity.unwrap()
    };
    let (full, narrow) = (with(CodeRange::Full), with(CodeRange::Narrow));
    // A twist of 1 in the middle of the face: a quarter. Three steps of which one is 1, half of 2⁻⁸.
    for (figure, by_hand) in [
        (full.trilinear.drive, 0.25),
        (narrow.trilinear.drive, 0.25 * 255.0 / 219.0),
        (full.weights.drive, 1.0 / 512.0),
        (narrow.weights.drive, 255.0 / 219.0 / 512.0),
    ] {
        assert!((figure - by_hand).abs() < ROUNDOFF, "{figure} {by_hand}");
    }
    // The ramps cannot show more than the bounds of their parts.
    assert!(narrow.on_ramps <= narrow.trilinear.drive + narrow.weights.drive + ROUNDOFF);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(6))]

    /// Every way to read an affine lattice gives the same, up to the rounding of weights, whose bound grows with the slope
    /// and falls by half with each place.
    #[test]
    fn affine_lattices_depend_on_the_rounding_alone(
        size in 2_usize..9, gain in 0.2_f64..0.9, bits in 4_u8..9,
    ) {
        let lut = Lut::from(Lut3d::from_fn(size, |s| s.map(|v| gain * v)));
        let options = AuditOptions { evaluation: Evaluation::Weights { bits }, ..options() };
        let found = alone(&lut, &options).evaluation_sensitivity.unwrap();
        prop_assert_eq!(found.weight_bits, bits);
        prop_assert!(found.trilinear.drive < ROUNDOFF);
        let bound = gain / (size - 1) as f64 / f64::from(1_u32 << (bits + 1));
        prop_assert!((found.weights.drive - bound).abs() < ROUNDOFF);
        prop_assert!(found.on_ramps <= bound + ROUNDOFF);
    }

    /// A map that shrinks every colour alike has that gain everywhere.
    #[test]
    fn the_gain_of_a_scaled_identity_is_the_scale(gain in 0.2_f64..0.9, size in 2_usize..18) {
        let lut = Lut::from(Lut3d::from_fn(size, |s| s.map(|v| gain * v)));
        let regions = alone(&lut, &options()).regions.unwrap();
        for region in [&regions.all, &regions.near_black, &regions.neutral, &regions.skin, &regions.saturated] {
            prop_assert!((region.drive_gain_p95 - gain).abs() < ROUNDOFF);
            prop_assert!((region.drive_gain_max - gain).abs() < ROUNDOFF);
            prop_assert_eq!(region.folded, Some(0));
        }
    }
}
