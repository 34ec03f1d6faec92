//! Corrections with one fault each, against figures worked out from the fault.

mod common;

use common::{Map, lattice_on_panel, neutral_luminance, neutral_map, on_panel, ramp};
use evenstep_audit::{AuditOptions, BitDepth, Effect, LIMITS, Load, Subject, Thresholds, audit};
use evenstep_colour::pq_inverse_eotf;
use evenstep_lut::{Correction, Lut3d};

/// A figure against the same sum done by hand in another order.
const ROUNDOFF: f64 = 1e-9;
/// ΔE ITP of neutrals against 720·ΔPQ: D65's printed decimals leave L, M and S unequal by 1e-4.
const NEUTRAL_ITP: f64 = 2e-3;

/// ΔE ITP between two neutral 10-bit drives (Rec. ITU-R BT.2124-0, I = PQ of the luminance).
fn itp_between(from: f64, to: f64) -> f64 {
    let code = |drive: f64| pq_inverse_eotf(neutral_luminance(drive / 1023.0));
    720.0 * (code(to) - code(from))
}

fn labels(report: &evenstep_audit::AuditReport) -> Vec<&'static str> {
    report.verdict.reasons.iter().map(|r| r.label).collect()
}

#[test]
fn identity_on_a_panel_that_fits_its_target_loads() {
    let report = lattice_on_panel(Lut3d::identity(17));
    assert_eq!(
        report.verdict.load,
        Load::Load,
        "{:?}",
        report.verdict.reasons
    );
    assert!(report.verdict.reasons.is_empty());
    assert_eq!(report.verdict.against_base, Some(Effect::Keeps));
    assert_eq!(report.verdict.against_uncorrected, Some(Effect::Keeps));
    let lattice = report.lattice.as_ref().unwrap();
    assert_eq!((lattice.folds.folded, lattice.folds.collapsed), (0, 0));
    assert_eq!((lattice.clipped_nodes, lattice.non_finite), (0, 0));
    for axis in &lattice.neighbour_steps {
        assert!((axis.mean - 1.0).abs() < ROUNDOFF && axis.variance < ROUNDOFF);
    }
    assert_eq!(report.ramps.len(), 10);
    for ramp in &report.ramps {
        for figures in [&ramp.figures, &ramp.rounded.figures] {
            assert_eq!(
                (figures.reversed_steps, figures.merged_codes),
                (0, 0),
                "{}",
                ramp.name
            );
            assert_eq!(figures.reversal_depth_itp, Some(0.0));
            assert_eq!(figures.codes_unreachable, Some(0));
        }
        assert!(ramp.figures.unevenness.unwrap() < 1e-6, "{}", ramp.name);
    }
    assert!(report.neutral_wobble_itp.unwrap() < 1e-6);
}

#[test]
fn stair_steps_of_sixteen_codes() {
    let report = neutral_map(|code| (code / 16.0).floor() * 16.0);
    let neutral = ramp(&report, "neutral");
    // 64 runs of 16 codes, 15 merged pairs each.
    assert_eq!(neutral.figures.merged_codes, 960);
    assert_eq!(neutral.figures.longest_plateau, 16);
    assert_eq!(neutral.figures.first_lit_code, Some(16));
    assert_eq!(neutral.figures.reversed_steps, 0);
    let jump = neutral.figures.jump_after_plateau_itp.unwrap();
    assert!(
        (jump - itp_between(0.0, 16.0)).abs() < NEUTRAL_ITP,
        "{jump}"
    );
    // The largest excess near black, over the steps that end codes 15, 31, 47, 63, 79, 95.
    let excess = (1..=6)
        .map(|k| {
            itp_between(16.0 * f64::from(k - 1), 16.0 * f64::from(k))
                - itp_between(16.0 * f64::from(k) - 1.0, 16.0 * f64::from(k))
        })
        .fold(0.0, f64::max);
    let near_black = &neutral.near_black.as_ref().unwrap().figures;
    assert!((near_black.plateau_jump_excess_itp.unwrap() - excess).abs() < NEUTRAL_ITP);
    assert!(excess > 2.0);
    assert_eq!(report.verdict.load, Load::DoNotLoad);
    assert_eq!(report.verdict.against_base, Some(Effect::Harms));
    assert!(labels(&report).contains(&"near-black plateau and jump"));
}

#[test]
fn a_dip_near_black_is_found_with_its_depth_and_ends() {
    // Codes 30..=35 are drawn 12 codes down: 29 → 18 falls, 23 → 36 rises.
    let report = neutral_map(|code| {
        if (30.0..36.0).contains(&code) {
            code - 12.0
        } else {
            code
        }
    });
    let neutral = ramp(&report, "neutral");
    assert_eq!(neutral.figures.reversed_steps, 1);
    let depth = neutral.figures.reversal_depth_itp.unwrap();
    assert!(
        (depth - itp_between(18.0, 29.0)).abs() < ROUNDOFF,
        "{depth}"
    );
    let between = neutral.figures.reversal_between.unwrap();
    assert_eq!((between.from_code, between.to_code), (29, 30));
    assert_eq!(
        neutral.near_black.as_ref().unwrap().figures.reversed_steps,
        1
    );
    assert!(depth > 1.0);
    assert_eq!(report.verdict.load, Load::DoNotLoad);
    assert!(labels(&report).contains(&"visible neutral reversal"));
    let reason = report
        .verdict
        .reasons
        .iter()
        .find(|r| r.label == "visible neutral reversal")
        .unwrap();
    assert!(
        reason
            .sentence
            .contains("between codes 29 and 30 (2.8 % to 2.9 % signal)"),
        "{reason}"
    );
}

#[test]
fn a_dip_too_shallow_to_see_asks_for_care() {
    let report = neutral_map(|code| if code == 500.0 { code - 1.5 } else { code });
    let neutral = ramp(&report, "neutral");
    let depth = neutral.figures.reversal_depth_itp.unwrap();
    assert!(
        (depth - itp_between(498.5, 499.0)).abs() < ROUNDOFF,
        "{depth}"
    );
    assert_eq!(neutral.figures.reversed_steps, 1);
    assert_eq!(report.verdict.load, Load::WithCare);
    assert!(labels(&report).contains(&"reversed steps"));
}

#[test]
fn crushed_black_is_a_plateau_that_is_never_lit() {
    let report = neutral_map(|code| (code - 20.0).max(0.0) / 1003.0 * 1023.0);
    let neutral = ramp(&report, "neutral");
    assert_eq!(neutral.figures.longest_plateau, 21);
    assert_eq!(neutral.figures.merged_codes, 20);
    assert_eq!(neutral.figures.first_lit_code, Some(21));
    let between = neutral.figures.plateau_between.unwrap();
    assert_eq!((between.from_code, between.to_code), (0, 20));
    assert!(report.verdict.load >= Load::WithCare);
    assert!(labels(&report).contains(&"plateau"));
}

#[test]
fn a_fold_on_the_neutral_axis_stops_the_lut() {
    // Node 8 of the diagonal pulled back along red beyond its neighbour: 1 − 1.5 < 0.
    let mut lattice = Lut3d::identity(17);
    let at = lattice.index(8, 8, 8);
    lattice.nodes_mut()[at][0] -= 1.5 / 16.0;
    let report = lattice_on_panel(lattice);
    let folds = &report.lattice.as_ref().unwrap().folds;
    // The red edge towards the node is part of six tetrahedra; see the unit test of the determinants.
    assert_eq!((folds.folded, folds.unreachable), (6, Some(0)));
    assert!(folds.folded_on_ramps > 0);
    assert_eq!(report.verdict.load, Load::DoNotLoad);
    assert!(labels(&report).contains(&"folds"));
}

#[test]
fn a_clipped_primary_is_a_plateau_of_its_ramp_only() {
    let lattice = Lut3d::from_fn(11, |s| [(1.25 * s[0]).min(1.0), s[1], s[2]]);
    let report = lattice_on_panel(lattice);
    // 1.25·code/1023 reaches 1 at node 8 of 10, code 818.4: codes 819..=1023.
    let red = &ramp(&report, "red").figures;
    assert_eq!(red.longest_plateau, 205);
    assert_eq!(ramp(&report, "green").figures.longest_plateau, 1);
    // Nodes 8 and 9 of red on 121 lines.
    let lattice = report.lattice.as_ref().unwrap();
    assert_eq!(
        (lattice.clipped_nodes, lattice.clipped_high),
        (242, [242, 0, 0])
    );
    assert!(labels(&report).contains(&"plateau"));
}

#[test]
fn eight_bits_in_the_lut_are_a_fault_and_at_the_output_are_arithmetic() {
    let eight = |v: f64| (255.0 * v).round() / 255.0;
    let map = Map(move |s: [f64; 3]| s.map(eight));
    let report = on_panel(&Subject::new(&map), &AuditOptions::default());
    // 1023 pairs, 255 of them between different 8-bit codes. The trend's window shrinks to one and three codes at
    // the ends, where codes 0..=2 and 1021..=1023 are equal: one pair of the smooth curve merges at either end.
    let neutral = ramp(&report, "neutral");
    assert_eq!(neutral.figures.merged_codes, 768);
    let rounded = &neutral.rounded.figures;
    assert_eq!((rounded.merged_codes, rounded.merged_floor), (768, 2));
    assert!(report.verdict.load >= Load::WithCare);

    let identity = Map(|s: [f64; 3]| s);
    let options = AuditOptions {
        output_bits: BitDepth::EIGHT,
        ..AuditOptions::default()
    };
    let report = on_panel(&Subject::new(&identity), &options);
    let neutral = ramp(&report, "neutral");
    assert_eq!(
        (
            neutral.rounded.figures.merged_codes,
            neutral.rounded.figures.merged_floor
        ),
        (768, 768)
    );
    assert_eq!(
        report.verdict.load,
        Load::Load,
        "{:?}",
        report.verdict.reasons
    );
}

#[test]
fn a_narrow_tint_wobbles_and_a_broad_one_does_not() {
    let tinted = |width: f64| {
        let map = Map(move |s: [f64; 3]| {
            let bump = 0.05 * (-((s[2] - 0.5) / width).powi(2)).exp();
            [s[0], s[1], s[2] - bump]
        });
        on_panel(&Subject::new(&map), &AuditOptions::default())
    };
    let narrow = tinted(0.01);
    assert!(narrow.neutral_wobble_itp.unwrap() > 1.0);
    assert!((i64::from(narrow.neutral_wobble_code.unwrap()) - 512).abs() <= 2);
    assert!(labels(&narrow).contains(&"neutral tint wobbles"));
    let broad = tinted(0.3);
    assert!(
        broad.neutral_wobble_itp.unwrap() < 0.2,
        "{:?}",
        broad.neutral_wobble_itp
    );
    assert!(!labels(&broad).contains(&"neutral tint wobbles"));
}

#[test]
fn a_tint_too_dark_to_be_seen_is_no_reason() {
    let map = Map(|s: [f64; 3]| {
        let bump = 0.05 * (-((s[2] - 0.5) / 0.01).powi(2)).exp();
        [s[0], s[1], s[2] - bump]
    });
    let mut options = AuditOptions::default();
    // The tint stands at some 20 cd/m².
    options.thresholds.colour_seen_cd_m2 = 40.0;
    let report = on_panel(&Subject::new(&map), &options);
    assert!(report.neutral_wobble_itp.unwrap() > 1.0);
    assert!(report.neutral_wobble_seen_itp.unwrap() < 0.1);
    assert!(!labels(&report).contains(&"neutral tint wobbles"));
    options.thresholds.colour_seen_cd_m2 = 400.0;
    let report = on_panel(&Subject::new(&map), &options);
    assert_eq!(report.neutral_wobble_seen_itp, None);
}

/// A node of an edge and one of the diagonal, moved by some two just-noticeable differences: named by ramp and codes.
/// Twelve nodes are 93 codes apart.
#[test]
fn a_node_that_leaves_its_neighbours_visibly_is_a_bump_of_its_ramp() {
    for (name, node, codes) in [
        ("red", [6, 0, 0], [465, 651]),
        ("neutral", [6; 3], [465, 651]),
    ] {
        let mut lattice = Lut3d::identity(12);
        let at = lattice.index(node[0], node[1], node[2]);
        lattice.nodes_mut()[at][0] -= 0.01;
        let report = lattice_on_panel(lattice);
        let found = ramp(&report, name);
        assert!(found.bump_itp.unwrap() > 1.0, "{name}");
        assert!(
            (found.bump_drive.unwrap() - 0.01).abs() < ROUNDOFF,
            "{name}"
        );
        let reason = &report.verdict.reasons[0];
        assert_eq!((reason.label, reason.ramp.as_deref()), ("bump", Some(name)));
        let between = reason.between.unwrap();
        assert_eq!([between.from_code, between.to_code], codes, "{name}");
        assert_eq!(report.verdict.load, Load::WithCare);
    }
}

/// A turned tetrahedron of a fine lattice that is thinner than what is visible.
#[test]
fn a_fold_that_does_not_show_is_no_reason() {
    let mut lattice = Lut3d::identity(65);
    // Its red beyond that of the node before by a thousandth of a step.
    let at = lattice.index(60, 50, 40);
    lattice.nodes_mut()[at][0] -= 1.001 / 64.0;
    let report = lattice_on_panel(lattice);
    let found = report.lattice.as_ref().unwrap();
    assert!(found.folds.folded > 0);
    let depth = found.fold_depth_itp.unwrap();
    assert!(depth > 0.0 && depth < 0.1, "{depth}");
    assert_eq!(report.verdict.load, Load::Load, "{:?}", labels(&report));
}

#[test]
fn a_slope_of_nine_tenths_merges_102_codes_by_arithmetic_alone() {
    // 1023 pairs onto codes 0..=round(0.9·1023) = 921: 1023 − 921 = 102.
    let map = Map(|s: [f64; 3]| s.map(|v| 0.9 * v));
    let options = AuditOptions {
        output_bits: BitDepth::TEN,
        ..AuditOptions::default()
    };
    let report = audit(&Subject::new(&map), &options, None);
    for name in ["neutral", "red", "yellow"] {
        let rounded = &ramp(&report, name).rounded.figures;
        assert_eq!(
            (rounded.merged_codes, rounded.merged_floor),
            (102, 102),
            "{name}"
        );
    }
    assert_eq!(ramp(&report, "neutral").figures.merged_codes, 0);
}

#[test]
fn without_readings_a_certain_fall_stops_and_a_small_one_asks_for_care() {
    let fall = |depth: f64| {
        let map = Map(move |s: [f64; 3]| s.map(|v| if v > 0.5 && v < 0.6 { v - depth } else { v }));
        audit(&Subject::new(&map), &AuditOptions::default(), None)
    };
    // Codes 511 and 512 are 0.4995 and 0.5005: the drive falls by 0.03 less one code.
    let deep = fall(0.03);
    let figures = &ramp(&deep, "neutral").figures;
    assert_eq!(
        (figures.reversed_steps, figures.drive_reversals),
        (1, [1; 3])
    );
    assert!((figures.certain_fall_drive - (0.03 - 1.0 / 1023.0)).abs() < ROUNDOFF);
    assert_eq!(figures.reversal_depth_itp, None);
    assert_eq!(deep.verdict.load, Load::DoNotLoad);
    // The reason's figure is that whose value it carries.
    let reason = &deep.verdict.reasons[0];
    assert_eq!(
        (reason.figure, reason.value, reason.scale),
        (
            "certain_fall_drive",
            Some(figures.certain_fall_drive),
            Some("drive")
        )
    );
    assert_eq!(fall(0.005).verdict.load, Load::WithCare);
}

#[test]
fn too_few_readings_ask_for_care() {
    let (panel, target, identity) = (common::AdditivePanel::new(), common::target(), Map(|s| s));
    let context = evenstep_audit::PanelContext {
        panel: &panel,
        target: &target,
        base: &identity,
        reachable: &|_| true,
        facts: evenstep_audit::ReadingFacts {
            neutral_levels: 2,
            interior: 0,
        },
    };
    let report = audit(
        &Subject::new(&identity),
        &AuditOptions::default(),
        Some(&context),
    );
    assert_eq!(report.verdict.load, Load::WithCare);
    assert_eq!(labels(&report), ["readings say too little"; 2]);
}

#[test]
fn faults_where_the_target_cannot_be_reached_are_set_aside() {
    let map = Map(|s: [f64; 3]| s.map(|v| if v > 0.9 { 1.8 - v } else { v }));
    let (panel, target, identity) = (common::AdditivePanel::new(), common::target(), Map(|s| s));
    let context = evenstep_audit::PanelContext {
        panel: &panel,
        target: &target,
        base: &identity,
        reachable: &|s| s.iter().all(|&v| v <= 0.9),
        facts: common::WELL_READ,
    };
    let report = audit(
        &Subject::new(&map),
        &AuditOptions::default(),
        Some(&context),
    );
    let neutral = &ramp(&report, "neutral").figures;
    // 0.9·1023 = 920.7: codes 921..=1023 cannot be reached, and drive falls in the 102 pairs among them.
    assert_eq!(neutral.codes_unreachable, Some(103));
    assert_eq!(
        (neutral.reversed_steps, neutral.reversed_steps_clipped),
        (0, Some(102))
    );
    assert_eq!(neutral.reversal_depth_itp, Some(0.0));
    assert_eq!(
        report.verdict.load,
        Load::Load,
        "{:?}",
        report.verdict.reasons
    );
}

/// Limits of which `name` alone can decide a margin.
fn only(name: &str, value: f64) -> Thresholds {
    let mut limits = Thresholds::default();
    for limit in LIMITS {
        let far = match limit.unit {
            "levels" | "patches" => 0.0,
            _ => 1e6,
        };
        limits.set(limit.name, far).unwrap();
    }
    limits.set(name, value).unwrap();
    limits
}

/// Where nothing is wrong the margin looks at all that the verdict judges: rounded figures, and ramps that are not neutral.
#[test]
fn the_margin_sees_every_figure_that_has_a_limit() {
    let decides = |name: &str, limit: f64, output_bits, map: &dyn Correction| {
        let options = AuditOptions {
            output_bits,
            thresholds: only(name, limit),
            ..AuditOptions::default()
        };
        let report = on_panel(&Subject::new(map), &options);
        assert_eq!(report.verdict.load, Load::Load, "{name}");
        (report.verdict.margin.clone().unwrap(), report)
    };
    let codes = |s: f64| (1023.0 * s).round();

    // Pairs of codes from 400 to 420 that 10 bits merge and that are apart before.
    let pairs = Map(|s: [f64; 3]| {
        s.map(|v| {
            let odd = codes(v) % 2.0 == 1.0 && (400.0..420.0).contains(&codes(v));
            (codes(v) - if odd { 0.6 } else { 0.0 }) / 1023.0
        })
    });
    let (margin, report) = decides("merged_excess_share", 0.5, BitDepth::TEN, &pairs);
    let figures = &ramp(&report, "neutral").rounded.figures;
    let excess = (figures.merged_codes - figures.merged_floor) as f64;
    assert_eq!(
        (margin.figure, margin.value),
        ("rounded.merged_codes", excess)
    );
    assert!(excess > 0.0);

    // Green falls by a hundredth of an 8-bit code over half of one, which red and blue outweigh until all are rounded.
    let over_half = Map(|s: [f64; 3]| {
        let green = match codes(s[1]) {
            508.0 if s == [s[1]; 3] => 126.505 / 255.0,
            509.0 if s == [s[1]; 3] => 126.495 / 255.0,
            _ => s[1],
        };
        [s[0], green, s[2]]
    });
    let (margin, report) = decides("visible_reversal_itp", 50.0, BitDepth::EIGHT, &over_half);
    let neutral = ramp(&report, "neutral");
    assert_eq!(neutral.figures.reversal_depth_itp, Some(0.0));
    assert_eq!(margin.figure, "rounded.reversal_depth_itp");
    let rounded = &neutral.rounded;
    let beyond =
        rounded.figures.reversal_depth_itp.unwrap() - rounded.floor.reversal_depth_itp.unwrap();
    assert!(margin.value == beyond && beyond > 0.1, "{beyond}");

    // Ten codes near black rise by a twenty-fifth of a code each, then all at once.
    let slow = Map(|s: [f64; 3]| {
        s.map(|v| match codes(v) {
            c @ 40.0..=50.0 => (40.0 + 0.04 * (c - 40.0)) / 1023.0,
            _ => v,
        })
    });
    let (margin, report) = decides("plateau_jump_itp", 50.0, BitDepth::TEN, &slow);
    let near = ramp(&report, margin.ramp.as_deref().unwrap())
        .near_black
        .as_ref()
        .unwrap();
    assert_eq!(margin.figure, "near_black.plateau_jump_excess_itp");
    let beyond = near.rounded.figures.plateau_jump_excess_itp.unwrap()
        - near.rounded.floor.plateau_jump_excess_itp.unwrap();
    assert!(margin.value == beyond && beyond > near.figures.plateau_jump_excess_itp.unwrap());

    // Every second code of the red ramp is raised by a twelfth of a code.
    let red = Map(|s: [f64; 3]| {
        let raised = s[1] == 0.0 && s[2] == 0.0 && codes(s[0]) % 2.0 == 1.0;
        [if raised { s[0] + 0.08 / 1023.0 } else { s[0] }, s[1], s[2]]
    });
    let limits = Thresholds {
        unevenness_times_base_care: 1.0,
        unevenness_times_base_stop: 1.0,
        ..only("unevenness_ignored", 0.5)
    };
    let options = AuditOptions {
        thresholds: limits,
        ..AuditOptions::default()
    };
    let margin = on_panel(&Subject::new(&red), &options)
        .verdict
        .margin
        .unwrap();
    assert!(
        margin.figure.ends_with("unevenness") && margin.ramp.as_deref() == Some("red"),
        "{margin:?}"
    );
}

/// One code is no plateau, so that without readings a sound LUT is told how little rounding merges.
#[test]
fn without_readings_no_margin_is_made_of_a_plateau_of_one_code() {
    let identity = Map(|s| s);
    let report = audit(&Subject::new(&identity), &AuditOptions::default(), None);
    let margin = report.verdict.margin.unwrap();
    assert_eq!((margin.figure, margin.value), ("rounded.merged_codes", 0.0));
}
