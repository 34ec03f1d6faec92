//! Theorems of the figures.

mod common;

use common::{Map, neutral_map, on_panel, ramp};
use evenstep_audit::{AuditOptions, AuditTarget, LatticeReport, PanelContext, Subject, audit};
use evenstep_colour::{Chromaticity, Primaries, Xyz, pq_eotf};
use evenstep_display::{PanelModel, Target, Transfer};
use evenstep_lut::{Evaluation, Lut, Lut3d};
use proptest::prelude::*;

/// A few operations on numbers about 1, scaled by up to 32² where second differences are taken.
const ROUNDOFF: f64 = 1e-9;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// A linear map is the same map on any lattice, so its figures are the same.
    #[test]
    fn figures_of_a_linear_map_do_not_depend_on_the_lattice(
        coarse in 2_usize..9, fine in 9_usize..24, gain in 0.3_f64..0.95, leak in 0.0_f64..0.04,
    ) {
        let linear = move |s: [f64; 3]| [0, 1, 2].map(|c| gain * s[c] + leak * s[(c + 1) % 3]);
        let figures = |size| {
            let lut = Lut::from(Lut3d::from_fn(size, linear));
            let correction = lut.evaluated(Evaluation::Tetrahedral);
            audit(&Subject::of_lut(&correction, &lut), &AuditOptions::default(), None)
        };
        let (a, b) = (figures(coarse), figures(fine));
        for (a, b) in a.ramps.iter().zip(&b.ramps) {
            prop_assert_eq!(a.figures.reversed_steps, 0);
            prop_assert_eq!(b.figures.reversed_steps, 0);
            prop_assert_eq!(a.figures.merged_codes, b.figures.merged_codes);
            prop_assert!((a.figures.unevenness.unwrap() - b.figures.unevenness.unwrap()).abs() < ROUNDOFF);
        }
        let (a, b): (LatticeReport, LatticeReport) = (a.lattice.unwrap(), b.lattice.unwrap());
        for axis in 0..3 {
            prop_assert!((a.neighbour_steps[axis].mean - gain).abs() < ROUNDOFF);
            prop_assert!((b.neighbour_steps[axis].mean - gain).abs() < ROUNDOFF);
            prop_assert!(a.step_variance[axis] < ROUNDOFF && b.step_variance[axis] < ROUNDOFF);
        }
        prop_assert_eq!((a.folds.folded, b.folds.folded), (0, 0));
    }

    /// Every dip of one code is one reversed step, and a deeper dip is never less deep.
    #[test]
    fn dips_are_counted_and_depth_grows_with_them(
        dips in proptest::collection::btree_set(2_u32..25, 0..8), size in 1.5_f64..6.0, more in 0.1_f64..6.0,
    ) {
        let count = dips.len();
        let with = |size: f64| {
            let at: Vec<f64> = dips.iter().map(|k| f64::from(40 * k)).collect();
            let report = neutral_map(move |code| if at.contains(&code) { code - size } else { code });
            let figures = &ramp(&report, "neutral").figures;
            (figures.reversed_steps, figures.reversal_depth_itp.unwrap())
        };
        let ((steps, depth), (deeper_steps, deeper)) = (with(size), with(size + more));
        prop_assert_eq!(steps, count);
        prop_assert_eq!(deeper_steps, count);
        let grows = if count == 0 { deeper == 0.0 } else { depth > 0.0 && deeper > depth };
        prop_assert!(grows, "{} {}", depth, deeper);
    }
}

/// A panel whose every neutral is PQ: drive → light without black.
struct PqPanel;

impl PanelModel for PqPanel {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        let matrix = Primaries::BT2020.xyz_from_rgb(Chromaticity::D65);
        Xyz((matrix * nalgebra::Vector3::from(drive.map(pq_eotf))).into())
    }
}

#[test]
fn every_neutral_step_of_ten_bit_pq_is_720_over_1023() {
    // Rec. ITU-R BT.2124-0 with BT.2100-2 PQ; 5.3e-4 less at code 0, because 0 cd/m² encodes to 7.3e-7.
    const AT_ZERO: f64 = 1e-3;
    let target = Target::new(
        Primaries::BT2020,
        Transfer::Pq,
        Chromaticity::D65,
        10_000.0,
        Xyz::default(),
    );
    let identity = Map(|s| s);
    let context = PanelContext {
        panel: &PqPanel,
        target: &target,
        base: &identity,
        reachable: &|_| true,
        facts: common::WELL_READ,
    };
    let report = audit(
        &Subject::new(&identity),
        &AuditOptions::default(),
        Some(&context),
    );
    let figures = &ramp(&report, "neutral").figures;
    assert!((figures.step_itp_max.unwrap() - 720.0 / 1023.0).abs() < AT_ZERO);
    assert_eq!(figures.reversed_steps, 0);
    assert!(figures.unevenness.unwrap() < ROUNDOFF);
    // For PQ near black is a tenth of the span of codes from L_b to L_w, here of all codes.
    assert!((report.near_black_end - AuditTarget::near_black_end(&target, 0.10)).abs() < ROUNDOFF);
    assert_eq!(
        ramp(&report, "neutral")
            .near_black
            .as_ref()
            .unwrap()
            .figures
            .codes,
        103
    );
}

#[test]
fn narrow_range_changes_the_codes_and_nothing_else_for_the_identity() {
    let identity = Map(|s| s);
    let options = AuditOptions {
        range: evenstep_audit::CodeRange::Narrow,
        ..AuditOptions::default()
    };
    let report = on_panel(&Subject::new(&identity), &options);
    let neutral = ramp(&report, "neutral");
    assert_eq!(neutral.figures.codes, 877);
    assert_eq!(neutral.figures.first_lit_code, Some(65));
    assert_eq!(neutral.rounded.figures.merged_codes, 0);
    assert!(neutral.figures.unevenness.unwrap() < 1e-6);
    assert!(
        report.verdict.reasons.is_empty(),
        "{:?}",
        report.verdict.reasons
    );
}

#[test]
fn the_number_of_threads_does_not_change_the_report() {
    let wavy = |s: [f64; 3]| s.map(|v| (v + 0.002 * (40.0 * v).sin()).clamp(0.0, 1.0));
    let lut = Lut::from(Lut3d::from_fn(17, wavy));
    let correction = lut.evaluated(Evaluation::Trilinear);
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        let report = pool.install(|| {
            on_panel(
                &Subject::of_lut(&correction, &lut),
                &AuditOptions::default(),
            )
        });
        serde_json::to_string(&report).unwrap()
    };
    assert_eq!(with(1), with(3));
}
