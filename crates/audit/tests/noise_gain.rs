//! Theorems of the noise gain: how much larger a correction makes the noise of a picture.

mod common;

use common::{Map, on_panel};
use evenstep_audit::{AuditOptions, NoiseGain, Subject};
use proptest::prelude::*;

/// Differences of PQ-encoded light of neighbouring codes, in ΔE ITP above 0.1, from numbers of order 1.
const ROUNDOFF: f64 = 1e-9;

/// Light on the steeper piece is raised by up to 0.1 of drive above 0.4, where PQ of a power of 2.2 is nearly straight:
/// its slope changes by less than this share.
const RAISED: f64 = 0.15;

fn gain(map: impl Fn([f64; 3]) -> [f64; 3] + Send + Sync) -> NoiseGain {
    let map = Map(map);
    let report = on_panel(&Subject::new(&map), &AuditOptions::default());
    report.noise_gain.unwrap()
}

#[test]
fn a_correction_that_hits_its_target_has_a_gain_of_one() {
    let found = gain(|s| s);
    for value in [
        found.near_black_p95,
        found.near_black_max,
        found.mid_p95,
        found.mid_max,
    ] {
        assert!((value.unwrap() - 1.0).abs() < ROUNDOFF, "{found:?}");
    }
    // Noise of code 0 leaves the range in every direction.
    assert!(found.left_out >= 1, "{found:?}");
}

/// A correction that shows one colour for every signal shows no noise.
#[test]
fn a_constant_has_none() {
    let found = gain(|_| [0.5; 3]);
    assert_eq!(found.near_black_max, Some(0.0));
    assert_eq!(found.mid_max, Some(0.0));
}

#[test]
fn in_narrow_range_the_identity_has_a_gain_of_one_too() {
    let identity = Map(|s| s);
    let options = AuditOptions {
        range: evenstep_audit::CodeRange::Narrow,
        ..AuditOptions::default()
    };
    let found = on_panel(&Subject::new(&identity), &options)
        .noise_gain
        .unwrap();
    // Positions are converted to signals and back once.
    assert!((found.mid_max.unwrap() - 1.0).abs() < 1e3 * ROUNDOFF);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(5))]

    /// Around a mid-tone whose slope is steeper by a factor, noise is larger by nearly that factor; elsewhere it stays.
    #[test]
    fn a_steeper_piece_makes_noise_larger_by_its_slope(slope in 1.2_f64..3.0, at in 0.4_f64..0.6) {
        let bent = move |v: f64| v + (slope - 1.0) * (v - at).clamp(0.0, 0.05);
        let found = gain(move |s| s.map(bent));
        let largest = found.mid_max.unwrap();
        prop_assert!((largest / slope - 1.0).abs() < RAISED, "{} for {}", largest, slope);
        prop_assert!((found.near_black_max.unwrap() - 1.0).abs() < ROUNDOFF);
    }

    /// The largest is not below the 95th percentile, and neither is negative.
    #[test]
    fn the_summary_is_ordered(a in 0.0_f64..0.02, k in 1.0_f64..60.0) {
        let found = gain(move |s| s.map(|v| (v + a * (k * v).sin()).clamp(0.0, 1.0)));
        prop_assert!(0.0 <= found.near_black_p95.unwrap() && found.near_black_p95 <= found.near_black_max);
        prop_assert!(0.0 <= found.mid_p95.unwrap() && found.mid_p95 <= found.mid_max);
    }
}
