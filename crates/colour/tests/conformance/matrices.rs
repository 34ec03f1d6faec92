//! RGB matrices and chromatic adaptation.

use evenstep_colour::{AdaptationTransform, Chromaticity, Primaries, Xyz};
use nalgebra::{Matrix3, RowVector3};

use crate::table::rows;

/// Half a unit in the tenth printed decimal, with the rounding of elements up to 3.
const TENTH_DECIMAL: f64 = 0.5e-10 + 1e-14;

fn printed(name: &str) -> Matrix3<f64> {
    let lines: Vec<_> = rows("matrices")
        .iter()
        .filter(|row| row.text("matrix") == name)
        .map(|row| RowVector3::from(row.numbers(["column_1", "column_2", "column_3"])))
        .collect();
    assert_eq!(lines.len(), 3, "{name}");
    Matrix3::from_rows(&lines)
}

fn check(name: &str, got: Matrix3<f64>) {
    let error = (got - printed(name)).amax();
    assert!(error <= TENTH_DECIMAL, "{name} is off by {error:e}: {got}");
}

/// The derivation of SMPTE RP 177:1993 for the primaries of BT.709-6 item 1.3, BT.2020-2 table 3 and
/// SMPTE RP 431-2:2011, all with D65.
#[test]
fn rgb_to_xyz_and_between_spaces() {
    let [bt709, p3, bt2020] = [Primaries::BT709, Primaries::P3, Primaries::BT2020]
        .map(|space| space.xyz_from_rgb(Chromaticity::D65));
    let inverse = |m: Matrix3<f64>| m.try_inverse().expect("primaries span a triangle");
    check("BT.709", bt709);
    check("BT.709 inverse", inverse(bt709));
    check("P3-D65", p3);
    check("P3-D65 inverse", inverse(p3));
    check("BT.2020", bt2020);
    check("BT.2020 inverse", inverse(bt2020));
    check("BT.2020 from BT.709", inverse(bt2020) * bt709);
    check("BT.2020 from P3-D65", inverse(bt2020) * p3);
}

/// IEC 61966-2-1:1999 prints its matrix to four decimals (first row, from memory of the standard).
#[test]
fn srgb_as_printed() {
    const FOURTH_DECIMAL: f64 = 0.5e-4;
    let matrix = Primaries::BT709.xyz_from_rgb(Chromaticity::D65);
    for (got, printed) in matrix.row(0).iter().zip([0.4124, 0.3576, 0.1805]) {
        assert!((got - printed).abs() <= FOURTH_DECIMAL, "{got}");
    }
}

/// From D65 (by its rounded chromaticity) to the D50 of ICC.1:2022: Bradford by annex E there, CAT16
/// by Li et al., Color Res. Appl. 42(6), 2017.
#[test]
fn adaptation_to_d50() {
    let d65 = Chromaticity::D65.xyz_at(1.0);
    let d50 = Xyz::new(0.9642, 1.0, 0.8249);
    for (name, transform) in [
        ("Bradford D65 to D50", AdaptationTransform::Bradford),
        ("CAT16 D65 to D50", AdaptationTransform::Cat16),
    ] {
        check(name, transform.matrix(d65, d50));
    }
}
