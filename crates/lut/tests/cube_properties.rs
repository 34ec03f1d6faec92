//! Theorems of the cube reader and writer.

use std::path::Path;

use evenstep_lut::format::cube::{self, CubeError};
use evenstep_lut::{Lut, Lut1d, Lut3d};
use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;

fn parse(bytes: &[u8]) -> Result<Lut, CubeError> {
    cube::parse(bytes, Path::new("a.cube")).map(|(lut, _)| lut)
}

fn text(lut: &Lut) -> Vec<u8> {
    let mut bytes = Vec::new();
    cube::write_to(lut, &mut bytes).unwrap();
    bytes
}

/// Every finite number there is, with zeros and subnormal numbers among them.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<u64>()
            .prop_map(f64::from_bits)
            .prop_filter("finite", |v| v.is_finite()),
        prop::num::f64::SUBNORMAL | prop::num::f64::NEGATIVE | prop::num::f64::ZERO,
        -1.0..2.0,
    ]
}

fn any_triples(count: usize) -> impl Strategy<Value = Vec<[f64; 3]>> {
    prop::collection::vec(prop::array::uniform3(any_number()), count)
}

fn any_lut() -> impl Strategy<Value = Lut> {
    let low = prop::array::uniform3(-3.0..0.5);
    let length = prop::array::uniform3(0.5..5.0);
    let title = prop::option::of("[ !#-~äß–]{0,60}");
    (1_usize..4, 2_usize..6, 2_usize..40, low, length, title).prop_flat_map(
        |(kind, size, rows, low, length, title): (_, _, _, [f64; 3], [f64; 3], _)| {
            (any_triples(size.pow(3)), any_triples(rows)).prop_map(move |(nodes, rows)| {
                // Files with both tables hold one range for all channels.
                let (low, length) = if kind == 3 {
                    ([low[0]; 3], [length[0]; 3])
                } else {
                    (low, length)
                };
                let high = [0, 1, 2].map(|c| low[c] + length[c]);
                let curves = Lut1d::new(rows).unwrap().with_domain(low, high).unwrap();
                let lattice = Lut3d::new(size, nodes)
                    .unwrap()
                    .with_domain(low, high)
                    .unwrap();
                Lut {
                    title: title.clone(),
                    curves: (kind != 1).then_some(curves),
                    lattice: (kind != 2).then_some(lattice),
                }
            })
        },
    )
}

fn bits(lut: &Lut) -> Vec<u64> {
    let curves = lut.curves.iter().flat_map(|c| {
        c.rows()
            .iter()
            .copied()
            .chain([c.domain_min(), c.domain_max()])
    });
    let lattice = lut.lattice.iter().flat_map(|l| {
        l.nodes()
            .iter()
            .copied()
            .chain([l.domain_min(), l.domain_max()])
    });
    curves.chain(lattice).flatten().map(f64::to_bits).collect()
}

fn config() -> ProptestConfig {
    // The default looks for a lib.rs beside the tests and finds none.
    let beside = FileFailurePersistence::WithSource("proptest-regressions");
    ProptestConfig::with_failure_persistence(beside)
}

proptest! {
    #![proptest_config(config())]

    /// Reading what was written gives the same LUT, bit for bit.
    #[test]
    fn read_undoes_write(lut in any_lut()) {
        let back = parse(&text(&lut)).unwrap();
        prop_assert_eq!(bits(&back), bits(&lut));
        prop_assert_eq!(back, lut);
    }

    /// Plain rows take a fast way through the reader, rows with a blank at the end do not: both say the same.
    #[test]
    fn the_fast_way_and_the_careful_way_agree(lut in any_lut()) {
        let plain = text(&lut);
        let careful = String::from_utf8(plain.clone()).unwrap().replace('\n', " \n");
        let back = parse(careful.as_bytes()).unwrap();
        prop_assert_eq!(bits(&back), bits(&parse(&plain).unwrap()));
    }

    /// Any title can be written, and the file is read.
    #[test]
    fn any_title_can_be_written(title in any::<String>()) {
        let mut lut = Lut::from(Lut3d::identity(2));
        lut.title = Some(title);
        let back = parse(&text(&lut)).unwrap();
        prop_assert_eq!(back.lattice, lut.lattice);
    }

    /// No bytes make the reader panic.
    #[test]
    fn arbitrary_bytes_do_not_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = parse(&bytes);
    }

    /// Neither do bytes that look much like a cube file, and what is read from them can be written and read.
    #[test]
    fn shuffled_pieces_do_not_panic(pieces in prop::collection::vec(prop::sample::select(vec![
        "LUT_3D_SIZE 2\n", "LUT_1D_SIZE 2\n", "LUT_1D_SIZE", "DOMAIN_MIN 0 0 0\n", "DOMAIN_MAX 1 2 3\r\n", "TITLE \"a\"\n",
        "TITLE", "LUT_3D_INPUT_RANGE 0 1\n", "0 0 0\n", "1 .5 -1e-3\n", "0 0", " ", "\t", "\n", "\r", "#", "\u{feff}", "\"", "nan",
        ",", "é", "0 0 0\n0 0 0\n0 0 0\n0 0 0\n0 0 0\n0 0 0\n0 0 0\n0 0 0\n", "0 0 0\n1 1 1\n",
    ]), 0..12)) {
        if let Ok(lut) = parse(pieces.concat().as_bytes()) {
            prop_assert_eq!(parse(&text(&lut)).unwrap(), lut);
        }
    }
}

/// A file cut anywhere is refused, or is whole but for the end of its last line.
#[test]
fn a_cut_file_is_never_a_shorter_lut() {
    let lut = Lut {
        title: Some("cut me – here".into()),
        curves: Some(
            Lut1d::from_fn(5, |v| [v, v * v, 0.1 + v])
                .with_domain([-1.0; 3], [2.0; 3])
                .unwrap(),
        ),
        lattice: Some(Lut3d::from_fn(3, |[r, g, b]| [r * 0.123_456, g, b + 0.25])),
    };
    let whole = text(&lut);
    let last_row = whole[..whole.len() - 1]
        .iter()
        .rposition(|&b| b == b'\n')
        .unwrap();
    for length in 0..whole.len() {
        match parse(&whole[..length]) {
            Ok(cut) => {
                assert!(
                    length > last_row,
                    "{length} of {} bytes were read",
                    whole.len()
                );
                assert_eq!(cut.curves, lut.curves);
                let (cut, lattice) = (cut.lattice.unwrap(), lut.lattice.clone().unwrap());
                assert_eq!(cut.nodes()[..26], lattice.nodes()[..26]);
                assert_eq!(cut.size(), lattice.size());
            }
            Err(e) => assert_eq!(e.to_string().lines().count(), 1, "{e}"),
        }
    }
    assert_eq!(parse(&whole).unwrap(), lut);
}
