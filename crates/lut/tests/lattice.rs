//! Lattice evaluation: theorems, and values computed elsewhere.

use std::path::Path;

use evenstep_lut::Evaluation::{self, Tetrahedral, Trilinear, Weights};
use evenstep_lut::format::cube;
use evenstep_lut::{Lut1d, Lut3d, compose};
use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;

/// About 20 operations on values up to 5, with a wide margin.
const ROUNDOFF: f64 = 1e-12;

fn any_signal() -> impl Strategy<Value = [f64; 3]> {
    prop::array::uniform3(0.0..=1.0)
}

fn any_evaluation() -> impl Strategy<Value = Evaluation> {
    prop_oneof![
        Just(Trilinear),
        Just(Tetrahedral),
        (1_u8..=60).prop_map(|bits| Weights { bits }),
    ]
}

fn any_lattice() -> impl Strategy<Value = Lut3d> {
    (2_usize..=9)
        .prop_flat_map(|n| {
            let node = prop::array::uniform3(-2.0..2.0);
            let low = prop::array::uniform3(-3.0..3.0);
            let length = prop::array::uniform3(0.1..5.0);
            (Just(n), prop::collection::vec(node, n.pow(3)), low, length)
        })
        .prop_map(|(n, nodes, low, length): (_, _, [f64; 3], [f64; 3])| {
            let high = [0, 1, 2].map(|c| low[c] + length[c]);
            Lut3d::new(n, nodes)
                .and_then(|lut| lut.with_domain(low, high))
                .unwrap()
        })
}

fn config() -> ProptestConfig {
    // The default looks for a lib.rs beside the tests and finds none.
    let beside = FileFailurePersistence::WithSource("proptest-regressions");
    ProptestConfig::with_failure_persistence(beside)
}

proptest! {
    #![proptest_config(config())]

    /// Both schemes are exact on affine maps that mix the channels, for any lattice size.
    #[test]
    fn affine_maps_are_reproduced(
        at in any_signal(),
        n in 2_usize..=40,
        rows in prop::array::uniform3(prop::array::uniform4(-1.0..1.0)),
        how in prop_oneof![Just(Trilinear), Just(Tetrahedral)],
    ) {
        let affine = |s: [f64; 3]| rows.map(|m: [f64; 4]| m[0] * s[0] + m[1] * s[1] + m[2] * s[2] + m[3]);
        let got = Lut3d::from_fn(n, affine).sample(at, how);
        for (g, e) in got.iter().zip(affine(at)) {
            prop_assert!((g - e).abs() < ROUNDOFF, "{how:?}, n = {n}: got {g}, expected {e}");
        }
    }

    /// A signal at a node reads that node, whatever the evaluation and the domain.
    #[test]
    fn nodes_are_hit_exactly(lut in any_lattice(), pick in prop::array::uniform3(0_usize..9), how in any_evaluation()) {
        let [r, g, b] = pick.map(|i| i % lut.size());
        prop_assert_eq!(lut.sample(lut.position(r, g, b), how), lut.node(r, g, b));
    }

    /// Every answer lies within the nodes' range, and only the clamped signal counts.
    #[test]
    fn outside_is_the_nearest_end(lut in any_lattice(), at in prop::array::uniform3(-9.0..9.0), how in any_evaluation()) {
        let (low, high) = (lut.domain_min(), lut.domain_max());
        let clamped = [0, 1, 2].map(|c| f64::clamp(at[c], low[c], high[c]));
        let got = lut.sample(at, how);
        prop_assert_eq!(got, lut.sample(clamped, how));
        for (c, value) in got.into_iter().enumerate() {
            let channel = lut.nodes().iter().map(|node| node[c]);
            let least = channel.clone().fold(f64::INFINITY, f64::min);
            let most = channel.fold(f64::NEG_INFINITY, f64::max);
            prop_assert!(least - ROUNDOFF <= value && value <= most + ROUNDOFF);
        }
    }

    /// Any bit pattern as a signal gives a finite answer; NaN reads the low end.
    #[test]
    fn no_signal_is_too_odd(lut in any_lattice(), at in prop::array::uniform3(any::<f64>()), how in any_evaluation()) {
        let got = lut.sample(at, how);
        prop_assert!(got.iter().all(|v| v.is_finite()), "{at:?} gave {got:?}");
        let low = lut.domain_min();
        let read = [0, 1, 2].map(|c| if at[c].is_nan() { low[c] } else { at[c] });
        prop_assert_eq!(got, lut.sample(read, how));
    }

    /// On the neutral diagonal of a cell tetrahedral reads the two diagonal nodes alone.
    #[test]
    fn tetrahedral_neutrals_use_two_nodes(n in 2_usize..=9, at in 0.0..=1.0) {
        let off_diagonal = Lut3d::from_fn(n, |[r, g, b]| if r == g && g == b { [r; 3] } else { [7.0; 3] });
        let got = off_diagonal.sample([at; 3], Tetrahedral);
        prop_assert!(got.iter().all(|v| (v - at).abs() < ROUNDOFF), "{at} gave {got:?}");
    }

    /// Rounding the weights moves the position inside the cell by at most half a step.
    #[test]
    fn weights_are_within_half_a_step(at in any_signal(), n in 2_usize..=33, bits in 1_u8..=16) {
        let got = Lut3d::identity(n).sample(at, Weights { bits });
        let half_step = 0.5 / f64::from(1_u32 << bits) / (n - 1) as f64;
        for (g, e) in got.iter().zip(at) {
            prop_assert!((g - e).abs() <= half_step + ROUNDOFF, "{e} gave {g}");
            let steps = g * f64::from(1_u32 << bits) * (n - 1) as f64;
            prop_assert!((steps - steps.round()).abs() < 1e-6, "{g} is not a step"); // 2²¹ steps of ROUNDOFF
        }
    }

    /// More weight bits than an f64 has places change nothing.
    #[test]
    fn fine_weights_are_tetrahedral(lut in any_lattice(), at in prop::array::uniform3(-4.0..9.0)) {
        let (fine, exact) = (lut.sample(at, Weights { bits: 255 }), lut.sample(at, Tetrahedral));
        for (f, e) in fine.iter().zip(exact) {
            prop_assert!((f - e).abs() < ROUNDOFF);
        }
    }

    /// The identity before or after a lattice, on the same nodes, leaves the nodes as they are.
    #[test]
    fn composition_with_the_identity_changes_nothing(lut in any_lattice(), how in any_evaluation()) {
        let (low, high) = (lut.domain_min(), lut.domain_max());
        let over = |n: usize, low: [f64; 3], high: [f64; 3]| {
            let positions = Lut3d::identity(n).with_domain(low, high).unwrap();
            let mut nodes = Vec::new();
            for (b, g, r) in blue_green_red(n) {
                nodes.push(positions.position(r, g, b));
            }
            Lut3d::new(n, nodes).and_then(|lut| lut.with_domain(low, high)).unwrap()
        };
        let before = compose(&over(lut.size(), low, high), &lut, lut.size(), how);
        prop_assert_eq!(&before, &lut);
        // After: a two-node identity over the range of the outputs interpolates, so it is exact to roundoff.
        let after = compose(&lut, &over(2, [-2.0; 3], [2.0; 3]), lut.size(), Tetrahedral);
        for (a, e) in after.nodes().iter().flatten().zip(lut.nodes().iter().flatten()) {
            prop_assert!((a - e).abs() < ROUNDOFF);
        }
        prop_assert_eq!((after.domain_min(), after.domain_max()), (low, high));
    }

    /// Curves are exact on affine maps and at their rows.
    #[test]
    fn curves_reproduce_lines(at in any_signal(), n in 2_usize..=300, gain in -4.0..4.0, offset in -1.0..1.0) {
        let line = |v: f64| gain * v + offset;
        let curves = Lut1d::from_fn(n, |v| [line(v), -line(v), 2.0 * line(v)]);
        let got = curves.sample(at);
        let expected = [line(at[0]), -line(at[1]), 2.0 * line(at[2])];
        for (g, e) in got.iter().zip(expected) {
            prop_assert!((g - e).abs() < ROUNDOFF);
        }
        let row = n / 2;
        prop_assert_eq!(curves.sample(curves.position(row)), curves.rows()[row]);
    }
}

fn blue_green_red(n: usize) -> impl Iterator<Item = (usize, usize, usize)> {
    (0..n.pow(3)).map(move |i| (i / (n * n), i / n % n, i % n))
}

#[test]
fn tables_that_are_no_lattice_are_refused() {
    for (size, count) in [(0, 0), (1, 1), (257, 257), (2, 7), (2, 9)] {
        assert!(
            Lut3d::new(size, vec![[0.0; 3]; count]).is_err(),
            "{size}, {count}"
        );
    }
    let mut nodes = vec![[0.0; 3]; 8];
    nodes[5][2] = f64::NAN;
    let message = Lut3d::new(2, nodes).unwrap_err().to_string();
    assert!(message.starts_with("node 5, channel 2: NaN"), "{message}");
    assert!(
        Lut3d::identity(2)
            .with_domain([0.0; 3], [1.0, 0.0, 1.0])
            .is_err()
    );
}

/// 100 inputs with both outputs; source in `data/README.md`.
#[test]
fn values_computed_elsewhere_are_met() {
    const PRINTED: f64 = 1e-12; // the last printed decimal; half a unit of it plus roundoff on either side
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data");
    let (lut, notes) = cube::read(&data.join("lut5.cube")).unwrap();
    assert_eq!(notes, []);
    let lattice = lut.lattice.unwrap();
    let mut rows = 0;
    for record in csv::Reader::from_path(data.join("lut5_expected.csv"))
        .unwrap()
        .deserialize()
    {
        let row: [f64; 9] = record.unwrap();
        let at = [row[0], row[1], row[2]];
        for (how, expected) in [(Trilinear, &row[3..6]), (Tetrahedral, &row[6..9])] {
            let got = lattice.sample(at, how);
            for (g, e) in got.iter().zip(expected) {
                assert!(
                    (g - e).abs() <= PRINTED,
                    "{how}, {at:?}: got {got:?}, expected {expected:?}"
                );
            }
        }
        rows += 1;
    }
    assert_eq!(rows, 100);
}
