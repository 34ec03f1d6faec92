//! DICOM GSDF and Barten thresholds.

use evenstep_colour::{
    BartenObserver, Bt1886, ContrastConvention, gsdf_index, gsdf_luminance, pq_eotf,
};

use crate::table::rows;

/// DICOM PS3.14 (2024c) clause 7.1 for every index, recomputed to eight digits; and its inversion.
#[test]
fn gsdf() {
    // Eight digits of luminance are 1e-7 of it at worst, and one index at least 0.65 % (the table).
    const INDEX: f64 = 1e-7 / 0.0065;
    let table = rows("gsdf");
    assert_eq!(table.len(), 1023);
    for row in &table {
        let [index, luminance] = row.numbers(["j", "luminance_cd_m2"]);
        row.check("luminance_cd_m2", gsdf_luminance(index), 8);
        // The first and last printed luminance may round to just outside the scale.
        if (2.0..=1022.0).contains(&index) {
            let back = gsdf_index(luminance).expect("the table lies on the scale");
            assert!((back - index).abs() < INDEX, "{index} came back as {back}");
        }
    }
}

/// DICOM PS3.14 (2024c) annex B, table B-1, first and last row as printed. The printed coefficients
/// end 1.9e-5 below the printed table, hence the relative tolerance.
#[test]
fn gsdf_ends_as_printed() {
    const RELATIVE: f64 = 1e-4;
    const FOURTH_DECIMAL: f64 = 0.5e-4;
    for (index, printed) in [(1.0, 0.0500), (1023.0, 3993.4040)] {
        let got = gsdf_luminance(index);
        let tolerance = f64::max(FOURTH_DECIMAL, RELATIVE * printed);
        assert!((got - printed).abs() <= tolerance, "{index}: {got}");
    }
}

/// DICOM PS3.14 (2024c) annex D works with 12.0 cd/m²: 233.2910 by exact inversion (recomputed; the
/// standard's own polynomial gives 233.32).
#[test]
fn gsdf_index_of_the_worked_range() {
    const FOURTH_DECIMAL: f64 = 0.5e-4;
    let index = gsdf_index(12.0).expect("12 cd/m² lies on the scale");
    assert!((index - 233.2910).abs() < FOURTH_DECIMAL, "{index}");
}

/// Report ITU-R BT.2246, figure "minimum detectable contrast", for both fields; recomputed to six
/// digits.
#[test]
fn barten_peaks() {
    // The table's frequency, six digits, is an honest rival of the search's; about 30 operations.
    const PEAK_ROUNDOFF: f64 = 1e-12;
    for row in rows("barten_threshold") {
        let light = row.number("luminance_cd_m2");
        for (eye, frequency, peak, threshold) in [
            (
                BartenObserver::BT2246_60_DEG,
                "u_peak_X60",
                "S_peak_X60",
                "step_threshold_percent_X60",
            ),
            (
                BartenObserver::PQ_DESIGN_40_DEG,
                "u_peak_X40",
                "S_peak_X40",
                "step_threshold_percent_X40",
            ),
        ] {
            row.check(peak, eye.peak_sensitivity(light), 6);
            let there = eye.sensitivity(light, row.number(frequency));
            row.check(peak, there, 6);
            assert!(
                there <= eye.peak_sensitivity(light) * (1.0 + PEAK_ROUNDOFF),
                "{light}"
            );
            let step = eye.step_threshold(light, ContrastConvention::SquareWave);
            row.check(threshold, 100.0 * step, 6);
        }
        if row.optional("gsdf_one_jnd_percent").is_some() {
            let index = gsdf_index(light).expect("the cell is empty off the scale");
            let step = gsdf_luminance(index + 1.0) / light - 1.0;
            row.check("gsdf_one_jnd_percent", 100.0 * step, 6);
        }
    }
}

/// Both contrast conventions and both fields, recomputed to six digits: Miller, Nezamabadi & Daly,
/// SMPTE Motion Imaging Journal 122(4), 2013, and Report ITU-R BT.2246.
#[test]
fn barten_conventions() {
    for row in rows("pq_vs_barten") {
        let light = row.number("luminance_cd_m2");
        for (eye, sine, square) in [
            (
                BartenObserver::PQ_DESIGN_40_DEG,
                "2_over_S_X40_percent",
                "2_over_1.27S_X40_percent",
            ),
            (
                BartenObserver::BT2246_60_DEG,
                "2_over_S_X60_percent",
                "2_over_1.27S_X60_percent",
            ),
        ] {
            let percent = |how| 100.0 * eye.step_threshold(light, how);
            row.check(sine, percent(ContrastConvention::PeakToPeak), 6);
            row.check(square, percent(ContrastConvention::SquareWave), 6);
        }
    }
}

/// Steps of four curves on both scales, recomputed: eight digits of luminance, six of the rest.
#[test]
fn steps_on_both_scales() {
    for row in rows("step_jnd_examples") {
        let curve = row.text("curve");
        let largest = match curve.rsplit(' ').next() {
            Some("8-bit") => 255.0,
            Some("10-bit") => 1023.0,
            Some("12-bit") => 4095.0,
            other => panic!("no depth {other:?}"),
        };
        let light = |code: f64| match curve.split(" Lb").next() {
            Some("BT.1886 Lw100") => Bt1886::new(100.0, 0.05).eotf(code / largest),
            Some("BT.1886 Lw700") => Bt1886::new(700.0, 0.05).eotf(code / largest),
            _ => pq_eotf(code / largest),
        };
        let code = row.number("code");
        let (here, next) = (light(code), light(code + 1.0));
        row.check("L_code_cd_m2", here, 8);
        row.check("L_next_cd_m2", next, 8);
        let index = |l| gsdf_index(l).expect("the examples lie on the scale");
        row.check("delta_j_exact", index(next) - index(here), 6);
        row.check("contrast_percent", 200.0 * (next - here) / (next + here), 6);
        let steps =
            BartenObserver::BT2246_60_DEG.steps_between(here, next, ContrastConvention::SquareWave);
        row.check("contrast_over_barten_X60", steps, 6);
    }
}
