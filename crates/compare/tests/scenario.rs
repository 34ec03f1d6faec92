//! The scenario on a coarse lattice: what it must make visible, whatever the figures are.

use std::path::Path;

use evenstep_audit::AuditOptions;
use evenstep_compare::{LutPair, TourOptions, compare_luts, tour};
use evenstep_lut::{Lut, Lut3d};
use evenstep_readings::{FullScale, RgbScale, parse_patches};

#[test]
fn the_tour_shows_colour_and_gradation_from_few_patches() {
    let text = include_bytes!("../../../examples/foyer/sparse-patches.csv");
    let (patches, _) = parse_patches(
        text,
        Path::new("sparse-patches.csv"),
        RgbScale::Given(FullScale::One),
    )
    .unwrap();
    let options = TourOptions {
        seed: 1,
        draws: 3,
        nodes: 17,
    };
    let found = tour(&patches, &options, &|_, _| {}).unwrap();
    let row = |name: &str| found.rows.iter().find(|r| r.name == name).unwrap();
    let (sparse, dense, base) = (
        row("sparse LUT"),
        row("dense LUT"),
        row("base as curves and matrix"),
    );
    assert_eq!(sparse.patches, Some(101));
    assert_eq!(dense.patches, Some(4913));
    // Colour: dense beats sparse beats base.
    assert!(dense.error.all.de2000_mean < sparse.error.all.de2000_mean);
    assert!(sparse.error.all.de2000_mean < 0.5 * base.error.all.de2000_mean);
    // Gradation: steps as even as those of the base in the same lattice, which is what a lattice costs.
    let unevenness = |r: &evenstep_compare::TourRow| r.audit.ramps[0].figures.unevenness.unwrap();
    let in_lattice = row("base-only LUT");
    assert!(
        unevenness(sparse) < unevenness(in_lattice),
        "{} {}",
        unevenness(sparse),
        unevenness(in_lattice)
    );
    // The judge is of one half, so it knows fewer patches than were read.
    assert!(found.comparison.judge.patches.unwrap() < 4913);
    assert!(
        found
            .comparison
            .gradation
            .iter()
            .any(|g| g.beyond_noise.is_some())
    );
    assert!(
        found
            .comparison
            .next_patches
            .as_ref()
            .is_some_and(|p| !p.is_empty())
    );
}

/// A LUT against itself differs in nothing; without a panel no colour figure is invented.
#[test]
fn a_lut_against_itself_differs_in_nothing() {
    let lut = Lut {
        title: None,
        curves: None,
        lattice: Some(Lut3d::from_fn(9, |s| s.map(|v| v.powf(1.1)))),
    };
    let report = compare_luts(
        LutPair {
            candidate: &lut,
            reference: &lut,
        },
        &AuditOptions::default(),
        None,
    );
    assert_eq!(report.drive_difference.max, 0.0);
    assert!(report.colour.is_none() && report.candidate_error.is_none());
    assert!(report.gradation.iter().all(|g| g.candidate == g.reference));
}
