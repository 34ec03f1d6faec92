//! Traces are what the audit's figures are figures of.

#[allow(dead_code, reason = "not every test binary needs all of it")]
mod common;

use common::{AdditivePanel, Map, WELL_READ, target};
use evenstep_audit::{AuditOptions, PanelContext, Subject, audit, neutral_trace, traces};
use evenstep_colour::root_mean_square;
use evenstep_lut::{Evaluation, Lut, Lut3d};

/// The same operations in the same order but for the last sum.
const ROUNDOFF: f64 = 1e-12;

/// A lattice with a bend, a tint and a dip.
fn bent() -> Lut {
    Lut::from(Lut3d::from_fn(9, |s| {
        let dip = if s == [0.25; 3] { 0.16 } else { 0.0 };
        [s[0].powf(1.1) - dip, s[1] - dip, 0.95 * s[2] - 0.9 * dip]
    }))
}

fn with_context<T>(job: impl FnOnce(&Subject, &AuditOptions, &PanelContext) -> T) -> T {
    let (panel, target, base, lut) = (AdditivePanel::new(), target(), Map(|s| s), bent());
    let correction = lut.evaluated(Evaluation::Tetrahedral);
    let context = PanelContext {
        panel: &panel,
        target: &target,
        base: &base,
        reachable: &|s| s[0] < 0.9,
        facts: WELL_READ,
    };
    job(
        &Subject::of_lut(&correction, &lut),
        &AuditOptions::default(),
        &context,
    )
}

#[test]
fn figures_of_every_ramp_follow_from_its_trace() {
    with_context(|subject, options, context| {
        let report = audit(subject, options, Some(context));
        let drawn = traces(subject, options, Some(context));
        assert_eq!(drawn.ramps.len(), report.ramps.len());
        for (ramp, trace) in report.ramps.iter().zip(&drawn.ramps) {
            assert_eq!(ramp.name, trace.name);
            let light = trace.correction.as_ref().unwrap();
            let judged = || (0..trace.judged.len()).filter(|i| trace.judged[*i]);
            let largest = judged().map(|i| light.step_itp[i].abs()).reduce(f64::max);
            assert_eq!(largest, ramp.figures.step_itp_max, "{}", ramp.name);
            let falls = judged().filter(|i| light.step_itp[*i] < 0.0).count();
            assert_eq!(falls, ramp.figures.reversed_steps, "{}", ramp.name);
            let uneven = root_mean_square(light.unevenness.iter().copied().flatten()).unwrap();
            let told = ramp.figures.unevenness.unwrap();
            assert!(
                (uneven - told).abs() < ROUNDOFF * told.max(1.0),
                "{uneven} {told}"
            );
        }
        let neutral = &drawn.ramps[0];
        assert!(
            neutral.judged.iter().any(|j| !j),
            "some codes are out of reach"
        );
        assert!(
            report.ramps[0].figures.reversed_steps > 0,
            "the dip is seen"
        );
        let alone = neutral_trace(subject, options, Some(context)).unwrap();
        assert_eq!(
            alone.correction.unwrap().step_itp,
            neutral.correction.as_ref().unwrap().step_itp
        );
    });
}

#[test]
fn a_target_that_is_hit_has_no_tint_balance_or_miss() {
    // The panel's own black fades as green rises, as the target's does, up to rounding of a mix with the matrix.
    const HIT: f64 = 1e-6;
    with_context(|_, options, context| {
        let identity = Map(|s| s);
        let drawn = traces(&Subject::new(&identity), options, Some(context));
        let light = drawn.ramps[0].correction.as_ref().unwrap();
        assert!(light.tint_itp.iter().all(|t| *t < HIT));
        let balance = light.balance.iter().flatten().flatten();
        assert!(balance.clone().count() > 3000);
        assert!(balance.clone().all(|b| b.abs() < HIT));
        assert!(
            drawn
                .cube
                .iter()
                .all(|c| c.uncorrected.itp == c.correction.itp)
        );
        assert!(drawn.planes.is_empty() && drawn.base_lattice.is_none());
        let seen: Vec<f64> = drawn.noise.iter().filter_map(|g| g.gain).collect();
        assert!(!seen.is_empty() && seen.iter().all(|g| (g - 1.0).abs() < HIT));
    });
}

#[test]
fn without_a_panel_only_drives_and_nodes_are_traced() {
    let lut = bent();
    let correction = lut.evaluated(Evaluation::Trilinear);
    let subject = Subject::of_lut(&correction, &lut);
    let drawn = traces(&subject, &AuditOptions::default(), None);
    assert!(drawn.cube.is_empty() && drawn.patches.is_empty() && drawn.noise.is_empty());
    assert_eq!(drawn.planes.len(), 3);
    assert!(
        drawn
            .ramps
            .iter()
            .all(|r| r.correction.is_none() && r.drive.len() == r.codes.len())
    );
}
