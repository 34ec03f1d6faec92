//! Theorems over smooth LUTs, sound and with faults put in at random places.

use evenstep_audit::AuditOptions;
use evenstep_lut::{BitDepth, Lut, Lut3d};
use evenstep_repair::{Repaired, repair};
use proptest::prelude::*;

/// Nodes along an axis: few enough for many cases, enough for every window of steps.
const NODES: usize = 9;

/// Repaired without readings; ramps walk 8-bit codes, for speed.
fn plain(lut: &Lut) -> Repaired {
    let options = AuditOptions {
        source_bits: BitDepth::EIGHT,
        ..AuditOptions::default()
    };
    repair(lut, &options, None, "").expect("a lattice")
}

/// A smooth correction that rises: a power for each channel, less of a neighbouring channel, a hue shift.
fn smooth() -> impl Strategy<Value = Lut3d> {
    let powers = prop::array::uniform3(0.75..1.35_f64);
    (powers, -0.06..0.06_f64, -0.04..0.04_f64).prop_map(|(power, mix, hue)| {
        Lut3d::from_fn(NODES, |s| {
            let [r, g, b] = [0, 1, 2].map(|c| s[c].powf(power[c]));
            let middle = |v: f64| v * (1.0 - v);
            [
                r + mix * middle(r) * g,
                g + hue * middle(g) * (b - r),
                b - mix * middle(b) * r,
            ]
        })
    })
}

/// A fault to put in, at a place from 0 to 1 and with a strength from 0 to 1.
#[derive(Clone, Copy, Debug)]
enum Injected {
    Dip,
    Stairs,
    Fold,
    Plateau,
}

fn fault() -> impl Strategy<Value = (Injected, [usize; 3], f64)> {
    let kinds = prop_oneof![
        Just(Injected::Dip),
        Just(Injected::Stairs),
        Just(Injected::Fold),
        Just(Injected::Plateau)
    ];
    (kinds, prop::array::uniform3(1..NODES - 2), 0.2..1.0_f64)
}

fn inject(lattice: &mut Lut3d, (kind, at, strength): (Injected, [usize; 3], f64)) {
    let step = 1.0 / (NODES - 1) as f64;
    let diagonal = |lattice: &Lut3d, k: usize| lattice.index(k, k, k);
    match kind {
        Injected::Dip => {
            let (before, here) = (diagonal(lattice, at[0]), diagonal(lattice, at[0] + 1));
            let dark = lattice.nodes()[before].map(|v| (v - 0.5 * strength * step).max(0.0));
            lattice.nodes_mut()[here] = dark;
        }
        Injected::Stairs => {
            for k in 1..NODES - 1 {
                let (here, sign) = (diagonal(lattice, k), if k % 2 == 0 { 1.0 } else { -1.0 });
                for v in &mut lattice.nodes_mut()[here] {
                    *v = (*v + 0.4 * sign * strength * step).clamp(0.0, 1.0);
                }
            }
        }
        Injected::Fold => {
            let (low, high) = (
                lattice.index(at[0], at[1], at[2]),
                lattice.index(at[0] + 1, at[1], at[2]),
            );
            let nodes = lattice.nodes_mut();
            (nodes[low][0], nodes[high][0]) = (nodes[high][0], nodes[low][0]);
        }
        Injected::Plateau => {
            let (a, b) = (diagonal(lattice, at[0]), diagonal(lattice, at[0] + 1));
            lattice.nodes_mut()[b] = lattice.nodes()[a];
        }
    }
}

fn bits(lut: &Lut) -> Vec<[u64; 3]> {
    let nodes = lut.lattice.as_ref().expect("a lattice").nodes();
    nodes.iter().map(|v| v.map(f64::to_bits)).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    /// What has no fault keeps every bit.
    #[test]
    fn a_sound_lut_is_not_touched(lattice in smooth()) {
        let lut = Lut::from(lattice);
        let repaired = plain(&lut);
        prop_assert!(repaired.report.faults_before.is_empty(), "{:?}", repaired.report.faults_before);
        prop_assert_eq!(bits(&repaired.lut), bits(&lut));
        prop_assert_eq!(repaired.report.cost.de2000_max, 0.0);
    }

    /// Every fault put in is found and removed, the values stay in 0 to 1, and a second repair keeps every bit.
    #[test]
    fn faults_go_and_a_second_repair_changes_nothing(
        lattice in smooth(),
        faults in prop::collection::vec(fault(), 1..3),
    ) {
        let mut spoiled = lattice;
        for fault in &faults {
            inject(&mut spoiled, *fault);
        }
        let once = plain(&Lut::from(spoiled));
        prop_assert!(!once.report.faults_before.is_empty());
        prop_assert!(once.report.faults_after.is_empty(), "{:?}", once.report.faults_after);
        let nodes = once.lut.lattice.as_ref().expect("a lattice").nodes();
        prop_assert!(nodes.iter().flatten().all(|v| (0.0..=1.0).contains(v)));
        let twice = plain(&once.lut);
        prop_assert_eq!(bits(&twice.lut), bits(&once.lut));
    }
}

proptest! {
    // Each case takes many passes.
    #![proptest_config(ProptestConfig::with_cases(6))]

    /// Whatever the values, a second repair keeps every bit, also where faults had to remain.
    #[test]
    fn repair_is_idempotent_on_anything(values in prop::collection::vec(prop::array::uniform3(0.0..1.0_f64), 27)) {
        let once = plain(&Lut::from(Lut3d::new(3, values).expect("finite")));
        let twice = plain(&once.lut);
        prop_assert_eq!(bits(&twice.lut), bits(&once.lut));
        prop_assert_eq!(&twice.report.faults_before, &once.report.faults_after);
    }
}
