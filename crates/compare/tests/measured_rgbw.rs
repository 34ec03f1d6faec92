//! The measured RGBW panel, read in place from the folder that `EVENSTEP_DATA` names: what an audit says of a LUT that
//! was fitted to its surface readings.

use evenstep_audit::{AuditOptions, Load, PanelContext, ReadingFacts, Subject, audit};
use evenstep_fit::{FitOptions, Gamut, fit};
use evenstep_lut::{Evaluation, Lut};
use evenstep_readings::{Fitness, RgbScale, read};
use evenstep_testkit::data_in_place;

/// Data's README, lcd-rgbw-mobile: "no interior and no grey ramp". A LUT made from such readings must not be waved
/// through, and the audit says that they are the reason.
#[test]
fn in_place_a_lut_from_surface_readings_is_not_waved_through() {
    let Some(folder) = data_in_place("a LUT from surface readings alone is not waved through")
    else {
        return;
    };
    let file = folder.join("displays/lcd-rgbw-mobile.cgats");
    let (readings, _) = read(&file, RgbScale::Detect).unwrap();
    let options = FitOptions {
        nodes: 9,
        ..FitOptions::default()
    };
    let fitted = fit(&readings, &options, &|_, _| {}).unwrap();
    let target = &fitted.settled.target;
    let base = fitted.base.as_ref().unwrap();
    let gamut = Gamut::new(&fitted.model, target, Some(base));
    let reachable = |signal| gamut.reaches(signal);
    let fitness = Fitness::of(&readings);
    let context = PanelContext {
        panel: &fitted.model,
        target,
        base,
        reachable: &reachable,
        facts: ReadingFacts {
            neutral_levels: fitness.neutral_levels,
            interior: fitness.interior,
        },
    };
    let lut = Lut::from(fitted.lut.clone());
    let correction = lut.evaluated(Evaluation::Tetrahedral);
    let report = audit(
        &Subject::of_lut(&correction, &lut),
        &AuditOptions::default(),
        Some(&context),
    );
    assert!(report.verdict.load >= Load::WithCare, "{}", report.verdict);
    for figure in ["interior", "neutral_levels"] {
        assert!(
            report.verdict.reasons.iter().any(|r| r.figure == figure),
            "no reason about {figure}: {:?}",
            report.verdict.reasons
        );
    }
}
