//! sRGB, BT.1886, BT.709, PQ and HLG.

use evenstep_colour::{
    Bt1886, Hlg, bt709_oetf, hlg_inverse_oetf, hlg_oetf, power_eotf, pq_eotf, pq_inverse_eotf,
    srgb_eotf, srgb_inverse_eotf,
};

use crate::table::rows;

/// Significant digits of the tables.
const DIGITS: i32 = 12;

/// IEC 61966-2-1:1999 with amendment 1:2003, clauses 5.2 and 5.3.
#[test]
fn srgb() {
    for row in rows("srgb") {
        let input = row.number("input");
        let got = match row.text("direction") {
            "eotf" => srgb_eotf(input),
            "inverse" => srgb_inverse_eotf(input),
            other => panic!("no direction {other}"),
        };
        row.check("output", got, DIGITS);
    }
}

/// Rec. ITU-R BT.1886-0 (03/2011) annex 1.
#[test]
fn bt1886() {
    for row in rows("bt1886") {
        let [white, black] = row.numbers(["Lw_cd_m2", "Lb_cd_m2"]);
        let curve = Bt1886::new(white, black);
        let signal = row.number("signal");
        row.check("luminance_cd_m2", curve.eotf(signal), DIGITS);
        row.check("signal", curve.inverse_eotf(curve.eotf(signal)), DIGITS);
    }
}

/// Rec. ITU-R BT.1886-0 (03/2011) annex 1: the curve is the one its published gain a and lift b make.
#[test]
fn bt1886_parameters() {
    // Twelve digits of b and of a, raised to 2.4.
    const RELATIVE: f64 = 1e-11;
    for row in rows("bt1886_params") {
        let [white, black, gain, lift] = row.numbers(["Lw_cd_m2", "Lb_cd_m2", "a", "b"]);
        let curve = Bt1886::new(white, black);
        for signal in [0.1, 0.25, 0.5, 0.75, 1.0] {
            let expected = gain * power_eotf(signal + lift, 2.4);
            let got = curve.eotf(signal);
            assert!(
                (got / expected - 1.0).abs() < RELATIVE,
                "{white}/{black}: {got}"
            );
        }
    }
}

/// Rec. ITU-R BT.709-6 (06/2015) item 1.2 with the constants of BT.2020-2 (10/2015) table 4.
#[test]
fn bt709() {
    for row in rows("bt709_oetf") {
        let got = bt709_oetf(row.number("scene_linear"));
        row.check("signal_exact_constants", got, DIGITS);
    }
}

/// SMPTE ST 2084:2014 clause 5; Rec. ITU-R BT.2100-2 (07/2018) table 4.
#[test]
fn pq_to_light() {
    for row in rows("pq_eotf") {
        row.check("luminance_cd_m2", pq_eotf(row.number("signal")), DIGITS);
    }
}

/// SMPTE ST 2084:2014 clause 5; Rec. ITU-R BT.2100-2 (07/2018) table 4.
#[test]
fn pq_from_light() {
    for row in rows("pq_inverse") {
        let light = row.number("luminance_cd_m2");
        row.check("signal", pq_inverse_eotf(light), DIGITS);
        row.check("back_cd_m2", pq_eotf(pq_inverse_eotf(light)), 9);
    }
}

/// Rec. ITU-R BT.2100-2 (07/2018) tables 4 and 9: luminance of full-range codes, eight digits, and the
/// step to the next, six digits.
#[test]
fn pq_code_steps() {
    for row in rows("pq_steps") {
        for (code, light, step, largest) in [
            ("code10", "L10_cd_m2", "step10_percent", 1023.0),
            ("code12", "L12_cd_m2", "step12_percent", 4095.0),
        ] {
            let code = row.number(code);
            let (here, next) = (pq_eotf(code / largest), pq_eotf((code + 1.0) / largest));
            row.check(light, here, 8);
            row.check(step, 100.0 * (next / here - 1.0), 6);
        }
    }
}

/// Rec. ITU-R BT.2100-2 (07/2018) table 5.
#[test]
fn hlg() {
    for row in rows("hlg") {
        let input = row.number("input");
        match row.text("direction") {
            "oetf" => row.check("output", hlg_oetf(input), DIGITS),
            "inverse_oetf" => row.check("output", hlg_inverse_oetf(input), DIGITS),
            "eotf" => {
                let [white, black] = row.numbers(["Lw_cd_m2", "Lb_cd_m2"]);
                let hlg = Hlg::new(white, black);
                row.check("system_gamma", hlg.system_gamma(), 8);
                for channel in hlg.eotf([input; 3]) {
                    row.check("output", channel, DIGITS);
                }
            }
            other => panic!("no direction {other}"),
        }
    }
}

/// Report ITU-R BT.2390, the extended rule, outside 400 to 2000 cd/m²: 1.48119 at 4000 cd/m²,
/// recomputed to five decimals (the rule itself from memory of the report).
#[test]
fn hlg_system_gamma_of_a_bright_display() {
    const FIFTH_DECIMAL: f64 = 0.5e-5;
    assert!((Hlg::new(4000.0, 0.0).system_gamma() - 1.48119).abs() < FIFTH_DECIMAL);
}
