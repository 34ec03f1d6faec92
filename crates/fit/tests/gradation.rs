//! What a gradation-safe solve promises, whatever the readings.

use evenstep_colour::{Xyz, delta_e_itp, itp_from_xyz};
use evenstep_display::{Disturbance, PanelModel, SimulatedPanel, Target, simulate};
use evenstep_fit::{CodeRange, Fit, FitOptions, Solve, TargetRequest, fit};
use evenstep_lut::{Correction, Evaluation, FOLIAGE_END, Lut, SKIN_END, SKY_END};
use evenstep_readings::{
    FullScale, PatchRequest, Reading, Readings, RgbScale, merged, parse_patches,
};
use evenstep_scatter::Scheme;
use evenstep_solve::{Grid, broken, chains};
use proptest::prelude::*;

fn patches() -> Vec<PatchRequest> {
    let text = include_bytes!("../../../examples/foyer/sparse-patches.csv");
    let path = std::path::Path::new("sparse-patches.csv");
    parse_patches(text, path, RgbScale::Given(FullScale::One))
        .unwrap()
        .0
}

fn read(panel: &SimulatedPanel) -> Readings {
    let noisy = Disturbance {
        noise: 1.0,
        drift: 0.0,
        outliers: 0.0,
    };
    merged(simulate(panel, &patches(), noisy, 1))
}

fn options(nodes: usize, solve: Solve) -> FitOptions {
    FitOptions {
        nodes,
        solve,
        // Quick, and without smoothing the roughest there is.
        scheme: Some(Scheme::RBF_LINEAR),
        ..FitOptions::default()
    }
}

fn codes(fitted: &Fit, bits: u8) -> Vec<[u32; 3]> {
    let largest = f64::from((1_u32 << bits) - 1);
    let code = |v: f64| (v * largest).round() as u32;
    fitted.lut.nodes().iter().map(|n| n.map(code)).collect()
}

/// Readings of no panel: any light for any patch, with what a fit needs at least, so that it is not refused outright.
fn hostile() -> impl Strategy<Value = (Readings, CodeRange, u8)> {
    let count = patches().len();
    let light = prop_oneof![
        6 => (0.0..200.0_f64).boxed(),
        1 => Just(0.0).boxed(),
        1 => (-1.0..0.0_f64).boxed(),
        1 => (200.0..1e5_f64).boxed(),
    ];
    let lights = prop::collection::vec(prop::array::uniform3(light), count);
    let honest = prop::sample::select(vec![0.0, 0.5, 0.9]);
    let range = prop::sample::select(vec![CodeRange::Full, CodeRange::Narrow]);
    (lights, honest, range, 8_u8..=16).prop_map(|(lights, honest, range, bits)| {
        let panel = SimulatedPanel::wrgb();
        let rows = patches()
            .into_iter()
            .zip(lights)
            .enumerate()
            .map(|(i, (patch, light))| {
                let true_light = panel.xyz(patch.drive);
                // A share of true readings among them, or most sets would be refused.
                let lies = (i as f64 * 0.618).fract() >= honest && i > 0;
                Reading {
                    id: patch.id,
                    drive: patch.drive,
                    xyz: if lies { Xyz(light) } else { true_light },
                    seconds: None,
                }
            });
        (merged(rows.collect()), range, bits)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]
    /// Either there is no fit, or its ramps rise and its nodes are drives.
    #[test]
    fn ramps_rise_whatever_was_read((readings, range, bits) in hostile()) {
        let choices = FitOptions { range, node_bits: bits, ..options(7, Solve::Gradation) };
        if let Ok(fitted) = fit(&readings, &choices, &|_, _| {}) {
            prop_assert!(fitted.lut.nodes().iter().flatten().all(|v| (0.0..=1.0).contains(v)));
            let fallen = broken(&chains(Grid::new(7)), &codes(&fitted, bits));
            prop_assert!(fallen.is_empty(), "{fallen:?}");
            // Nodes are whole codes, so that a file of that depth holds them.
            let largest = f64::from((1_u32 << bits) - 1);
            for v in fitted.lut.nodes().iter().flatten() {
                // Rounding of a product below 65536.
                prop_assert!((v * largest - (v * largest).round()).abs() < 1e-9);
            }
        }
    }
}

/// Most of those sets are fitted: the property is not empty.
#[test]
fn hostile_readings_are_mostly_fitted() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::deterministic();
    let fitted = (0..20).filter(|_| {
        let (readings, range, node_bits) = hostile().new_tree(&mut runner).unwrap().current();
        let choices = FitOptions {
            range,
            node_bits,
            ..options(5, Solve::Gradation)
        };
        fit(&readings, &choices, &|_, _| {}).is_ok()
    });
    assert!(fitted.count() >= 5);
}

/// RMS of step over ideal step less 1, in ΔE ITP, over the dark tenth of the 10-bit neutral ramp.
fn dark_unevenness(panel: &dyn PanelModel, correction: &dyn Correction, target: &Target) -> f64 {
    let shown = |i: u32| itp_from_xyz(panel.xyz(correction.drive([f64::from(i) / 1023.0; 3])));
    let wanted = |i: u32| itp_from_xyz(target.xyz([f64::from(i) / 1023.0; 3]));
    let ratios = (0..102).map(|i| {
        let step = delta_e_itp(shown(i), shown(i + 1));
        (step / delta_e_itp(wanted(i), wanted(i + 1)) - 1.0).powi(2)
    });
    (ratios.sum::<f64>() / 102.0).sqrt()
}

/// Near black, where a lattice that is right at its nodes errs most between them, steps are more even than those of a
/// pointwise solve of the same model, however the lattice is read; and more than on the base's own lattice.
#[test]
fn dark_steps_are_more_even_than_pointwise() {
    for name in ["wrgb", "lcd"] {
        let panel = SimulatedPanel::by_name(name).unwrap();
        let readings = read(&panel);
        let solved = [Solve::Gradation, Solve::Pointwise]
            .map(|solve| fit(&readings, &options(33, solve), &|_, _| {}).unwrap());
        for how in [Evaluation::Tetrahedral, Evaluation::Trilinear] {
            let [gradation, pointwise] = solved.each_ref().map(|fitted| {
                let lut = Lut::from(fitted.lut.clone());
                dark_unevenness(&panel, &lut.evaluated(how), &fitted.settled.target)
            });
            assert!(
                gradation < pointwise,
                "{name} {how}: {gradation} against {pointwise}"
            );
        }
    }
}

/// Along the ramps of the primaries no step of what is read and rounded to the depth of the nodes falls on the model.
#[test]
fn rounded_steps_of_the_primaries_rise() {
    let fitted = fit(
        &read(&SimulatedPanel::wrgb()),
        &options(33, Solve::Gradation),
        &|_, _| {},
    )
    .unwrap();
    let lut = Lut::from(fitted.lut.clone());
    for how in [Evaluation::Tetrahedral, Evaluation::Trilinear] {
        let read = lut.evaluated(how);
        for c in 0..3 {
            let light = |i: u32| {
                let signal =
                    std::array::from_fn(|k| if k == c { f64::from(i) / 1023.0 } else { 0.0 });
                let stored = read.drive(signal).map(|v| (v * 4095.0).round() / 4095.0);
                fitted.model.xyz(stored).luminance_cd_m2()
            };
            let fallen: Vec<u32> = (1..=1023).filter(|i| light(*i) < light(i - 1)).collect();
            assert!(fallen.is_empty(), "channel {c}, {how}: {fallen:?}");
        }
    }
}

/// On a panel that saturates: greys are even up to the white, no ramp of skin, sky or foliage falls on the panel itself, the
/// white is the one asked for, and above the target's own clip all nodes are one, so that nothing of rounding is seen there.
#[test]
fn a_saturating_panel_keeps_its_ramps_up_to_the_white() {
    /// ΔE ITP of the white; 1.3 when this was written.
    const WHITE_ITP: f64 = 2.0;
    let panel = SimulatedPanel::by_name("hdr-wrgb").unwrap();
    let (primaries, transfer) = panel.usual_target();
    let choices = FitOptions {
        target: TargetRequest {
            primaries,
            transfer,
            ..TargetRequest::default()
        },
        ..FitOptions::default()
    };
    let fitted = fit(&read(&panel), &choices, &|_, _| {}).unwrap();
    let target = &fitted.settled.target;
    let lut = Lut::from(fitted.lut.clone());
    let read = lut.evaluated(Evaluation::Tetrahedral);
    for end in [[1.0; 3], SKIN_END, SKY_END, FOLIAGE_END] {
        let shown = |i: u32| panel.xyz(read.drive(end.map(|e| e * f64::from(i) / 1023.0)));
        let light = |i: u32| shown(i).luminance_cd_m2();
        let fallen: Vec<u32> = (1..=1023).filter(|i| light(*i) < light(i - 1)).collect();
        assert!(fallen.is_empty(), "{end:?}: {fallen:?}");
    }
    let white = panel.xyz(read.drive([1.0; 3]));
    let off = delta_e_itp(itp_from_xyz(white), itp_from_xyz(target.white()));
    assert!(off < WHITE_ITP, "{off}");
    let grid = Grid::new(33);
    let clipped = |k: usize| k as f64 / 32.0 >= target.clipped_from();
    let above = |i: &usize| grid.at(*i).into_iter().all(clipped);
    let nodes: Vec<[f64; 3]> = (0..grid.count())
        .filter(above)
        .map(|i| fitted.lut.nodes()[i])
        .collect();
    assert!(
        nodes.len() > 1 && nodes.iter().all(|n| *n == nodes[0]),
        "{nodes:?}"
    );
}

/// The same bytes on any number of threads.
#[test]
fn threads_change_nothing() {
    let readings = read(&SimulatedPanel::wrgb());
    let choices = FitOptions {
        scheme: Some(Scheme::RBF_THIN_PLATE),
        target: TargetRequest::default(),
        ..options(17, Solve::Gradation)
    };
    let [one, three] = [1, 3].map(|threads| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| fit(&readings, &choices, &|_, _| {}).unwrap().lut)
    });
    assert_eq!(one, three);
}
