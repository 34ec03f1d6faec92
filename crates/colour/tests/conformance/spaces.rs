//! CIELAB, CIEDE2000, ICtCp and ΔE ITP.

use evenstep_colour::{
    Chromaticity, Lab, Primaries, Xyz, delta_e_2000, delta_e_2000_of_pairs, delta_e_itp,
    ictcp_from_xyz, itp_from_xyz, lab_from_xyz, pq_eotf, xyz_from_lab,
};
use nalgebra::Vector3;

use crate::table::rows;

/// Half a unit in the last printed digit of the published table.
const SHARMA_ROUNDING: f64 = 0.5e-4;
/// One unit in the tenth decimal of the recomputed column.
const TENTH_DECIMAL: f64 = 1e-10;

/// Sharma, Wu & Dalal, Color Res. Appl. 30(1):21-30, 2005, table I: 34 pairs, each in both orders.
#[test]
fn ciede2000_pairs() {
    let table = rows("ciede2000");
    assert_eq!(table.len(), 34);
    let pair = |row: &crate::table::Row| {
        let [l1, a1, b1, l2, a2, b2] = row.numbers(["L1", "a1", "b1", "L2", "a2", "b2"]);
        (Lab::new(l1, a1, b1), Lab::new(l2, a2, b2))
    };
    let (firsts, seconds): (Vec<Lab>, Vec<Lab>) = table.iter().map(pair).unzip();
    let together = delta_e_2000_of_pairs(&firsts, &seconds);
    for (i, row) in table.iter().enumerate() {
        let (first, second) = (firsts[i], seconds[i]);
        let alone = [delta_e_2000(first, second), delta_e_2000(second, first)];
        for got in alone.into_iter().chain([together[i]]) {
            let pair = row.text("pair");
            let published = row.number("dE00_published");
            assert!(
                (got - published).abs() < SHARMA_ROUNDING,
                "pair {pair}: got {got:.6}, published {published}"
            );
            let double = row.number("dE00_double");
            assert!(
                (got - double).abs() <= TENTH_DECIMAL,
                "pair {pair}: got {got:.12}, recomputed {double}"
            );
        }
    }
}

/// Lightness steps of 1 at black, middle and white: recomputed from the formula of ISO/CIE
/// 11664-6:2014, four decimals.
#[test]
fn ciede2000_of_neutral_steps() {
    for (low, printed) in [(0.0, 0.5749), (50.0, 0.9992), (99.0, 0.5749)] {
        let got = delta_e_2000(Lab::new(low, 0.0, 0.0), Lab::new(low + 1.0, 0.0, 0.0));
        assert!((got - printed).abs() < SHARMA_ROUNDING, "{low}: {got}");
    }
}

/// CIE 015:2018 clause 8.2.1, two whites, recomputed to ten digits; and back.
#[test]
fn cielab_values() {
    // One unit in the tenth digit of an XYZ about 1; the ten digits of Lab give at most 2e-10 more.
    const BACK: f64 = 1.2e-9;
    for row in rows("cielab") {
        let white = match row.text("white") {
            "D65_xy" => Chromaticity::D65.xyz_at(1.0),
            "D50_ICC" => Xyz::new(0.9642, 1.0, 0.8249),
            other => panic!("no white {other}"),
        };
        let xyz = Xyz(row.numbers(["X", "Y", "Z"]));
        let lab = lab_from_xyz(xyz, white);
        row.check("L", lab.l, 10);
        // The table's last D65 row prints its white to ten digits: the chroma left is 500 and 200
        // times a third of that, which the reader of printed zeros would not allow.
        if row.number("L") == 100.0 {
            assert!(lab.a.abs() < 1e-7 && lab.b.abs() < 1e-7, "{lab:?}");
        } else {
            row.check("a", lab.a, 10);
            row.check("b", lab.b, 10);
        }
        let [l, a, b] = row.numbers(["L", "a", "b"]);
        let back = xyz_from_lab(Lab::new(l, a, b), white);
        for (got, sent) in back.0.iter().zip(xyz.0) {
            assert!((got - sent).abs() < BACK, "{sent} came back as {got}");
        }
    }
}

fn xyz_from_bt2020(rgb_cd_m2: [f64; 3]) -> Xyz {
    let matrix = Primaries::BT2020.xyz_from_rgb(Chromaticity::D65);
    (matrix * Vector3::from(rgb_cd_m2)).into()
}

/// Rec. ITU-R BT.2100-2 (07/2018) table 7, recomputed to twelve digits.
#[test]
fn ictcp_values() {
    for row in rows("ictcp") {
        let rgb = row.numbers(["R2020_cd_m2", "G2020_cd_m2", "B2020_cd_m2"]);
        let got = ictcp_from_xyz(xyz_from_bt2020(rgb));
        row.check("I", got.i, 12);
        row.check("Ct", got.ct, 12);
        row.check("Cp", got.cp, 12);
    }
}

/// Rec. ITU-R BT.2124-0 (01/2019) annex 1, recomputed to ten digits.
#[test]
fn delta_e_itp_values() {
    for row in rows("de_itp") {
        let first = itp_from_xyz(xyz_from_bt2020(row.numbers(["R1", "G1", "B1"])));
        let second = itp_from_xyz(xyz_from_bt2020(row.numbers(["R2", "G2", "B2"])));
        row.check("dE_ITP", delta_e_itp(first, second), 10);
        row.check("dE_ITP", delta_e_itp(second, first), 10);
    }
}

/// Every ten-bit step of a PQ neutral is 720/1023 by construction of BT.2124.
#[test]
fn pq_code_steps_are_equal_in_itp() {
    const ROUNDOFF: f64 = 1e-10; // 720 times the rounding of the encoding, 1e-13
    let neutral =
        |code: u32| itp_from_xyz(Chromaticity::D65.xyz_at(pq_eotf(f64::from(code) / 1023.0)));
    for code in 1..1023 {
        let step = delta_e_itp(neutral(code), neutral(code + 1));
        assert!((step - 720.0 / 1023.0).abs() < ROUNDOFF, "{code}: {step}");
    }
}
