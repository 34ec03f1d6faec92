//! Theorems of the integer table, and what it refuses.

use std::path::Path;

use evenstep_lut::format::table::{self, NodeOrder, TableLayout};
use evenstep_lut::{BitDepth, Lut, Lut1d, Lut3d};
use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;

fn parse(text: &str) -> Result<(Lut, TableLayout), String> {
    table::parse(text.as_bytes(), Path::new("a.table")).map_err(|e| e.to_string())
}

fn text(lut: &Lut, layout: TableLayout) -> String {
    let mut bytes = Vec::new();
    table::write_to(lut, layout, &mut bytes).unwrap();
    String::from_utf8(bytes).unwrap()
}

fn any_layout() -> impl Strategy<Value = TableLayout> {
    (8_u8..=16, any::<bool>(), 0.0..1.0_f64).prop_map(|(bits, blue, share)| {
        let depth = BitDepth::new(bits).unwrap();
        let most = depth.largest_code();
        TableLayout {
            depth,
            scale: most - (share * f64::from(most - 1)) as u32,
            order: NodeOrder::ALL[usize::from(blue)],
        }
    })
}

fn any_rows(count: usize) -> impl Strategy<Value = Vec<[f64; 3]>> {
    prop::collection::vec(prop::array::uniform3(-0.2..1.3_f64), count)
}

proptest! {
    #![proptest_config(ProptestConfig::with_failure_persistence(
        FileFailurePersistence::WithSource("proptest-regressions")
    ))]

    /// What is written is the nearest code of each value, and reading and writing it again changes nothing.
    #[test]
    fn codes_are_rounded_once((size, nodes) in (2_usize..5).prop_flat_map(|n| (Just(n), any_rows(n.pow(3)))),
                              rows in (2_usize..9).prop_flat_map(any_rows), layout in any_layout()) {
        let lut = Lut {
            title: Some("warm white".into()),
            curves: Some(Lut1d::new(rows).unwrap()),
            lattice: Some(Lut3d::new(size, nodes).unwrap()),
        };
        let once = text(&lut, layout);
        let (back, layout_back) = parse(&once).unwrap();
        prop_assert_eq!(layout_back, layout);
        prop_assert_eq!(&back.title, &lut.title);
        let (scale, most) = (f64::from(layout.scale), f64::from(layout.depth.largest_code()));
        let written = back.lattice.as_ref().unwrap().nodes().iter().flatten();
        for (got, was) in written.zip(lut.lattice.as_ref().unwrap().nodes().iter().flatten()) {
            prop_assert_eq!(got * scale, ((was * scale).round().clamp(0.0, most) / scale) * scale);
        }
        prop_assert_eq!(text(&back, layout), once);
    }

    /// A file cut anywhere is refused.
    #[test]
    fn a_cut_file_is_refused(share in 0.0..1.0_f64, layout in any_layout()) {
        let whole = text(&Lut3d::identity(3).into(), layout);
        let length = (share * whole.len() as f64) as usize;
        let message = parse(&whole[..length]).unwrap_err();
        prop_assert_eq!(message.lines().count(), 1);
    }

    /// No bytes make the reader panic.
    #[test]
    fn arbitrary_bytes_do_not_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = table::parse(&bytes, Path::new("a.table"));
        let mut named = b"EVENSTEP-TABLE 1\n".to_vec();
        named.extend(bytes);
        let _ = table::parse(&named, Path::new("a.table"));
    }
}

#[test]
fn the_order_of_the_rows_is_the_one_declared() {
    let lattice = Lut3d::from_fn(2, |[r, _, _]| [r, 0.0, 0.0]);
    let depth = BitDepth::EIGHT;
    let mut layout = TableLayout::of_depth(depth);
    let rows = |layout| {
        let text = text(&lattice.clone().into(), layout);
        let (_, rows) = text.split_once("data\n").unwrap();
        rows.lines().take(2).map(str::to_owned).collect::<Vec<_>>()
    };
    assert_eq!(rows(layout), ["0 0 0", "255 0 0"]);
    layout.order = NodeOrder::BlueFastest;
    assert_eq!(rows(layout), ["0 0 0", "0 0 0"]);
    assert_eq!(
        parse(&text(&lattice.clone().into(), layout))
            .unwrap()
            .0
            .lattice,
        Some(lattice)
    );
}

#[test]
fn what_is_wrong_is_said_with_its_line() {
    let head = "EVENSTEP-TABLE 1\ndepth 10\n";
    for (body, expected) in [
        ("", "a.table:2: no line data above the rows"),
        (
            "data\n",
            "a.table:3: no line curves or lattice above the rows",
        ),
        (
            "lattice 2\ndata\n",
            "a.table:4: no line order above the rows",
        ),
        ("depth 8\n", "a.table:3: depth again"),
        (
            "scale 1024\ncurves 2\ndata\n",
            "a.table:5: expected a scale up to the largest code",
        ),
        (
            "lattice 257\n",
            "a.table:3: expected a lattice of 2 to 256 nodes",
        ),
        (
            "curves 4294967297\n",
            "a.table:3: expected curves with 2 to 65536 rows",
        ),
        ("gamma 2\n", "a.table:3: expected title, depth, scale"),
        (
            "curves 2\ndata\n0 0 0\n",
            "a.table:5: the file ends after 1 rows, but its head needs 2",
        ),
        (
            "curves 2\ndata\n0 0 0\n1 1\n",
            "a.table:6: expected three whole numbers from 0 to 1023, found \"1 1\"",
        ),
        (
            "curves 2\ndata\n0 0 0\n1 1 1024\n",
            "a.table:6: expected three whole numbers",
        ),
        (
            "curves 2\ndata\n0 0 +1\n",
            "a.table:5: expected three whole numbers",
        ),
        (
            "curves 2\ndata\n0 0 0\n1 1 102",
            "a.table:6: the row has no line end",
        ),
        (
            "curves 2\ndata\n0 0 0\n1 1 1\n2 2 2\n",
            "a.table:7: expected the end of the file after 2 rows",
        ),
    ] {
        let message = parse(&format!("{head}{body}")).unwrap_err();
        assert!(message.starts_with(expected), "{body:?}: {message}");
        assert!(
            message.contains("; "),
            "says nothing of what to do: {message}"
        );
    }
    assert!(
        parse("LUT_3D_SIZE 2\n")
            .unwrap_err()
            .contains("not an integer table")
    );
    let endless = format!("EVENSTEP-TABLE 1\n{}", "1".repeat(1 << 17));
    assert!(parse(&endless).unwrap_err().contains("longer than"));
}
