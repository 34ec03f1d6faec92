//! What a second pass gains: the same patches shown again through the first LUT, fitted together with the first readings.
//!
//! `cargo run --release -p evenstep-study --example second_pass`

#![expect(clippy::print_stdout, reason = "the table is what it is for")]

use evenstep_colour::{delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz};
use evenstep_display::{Disturbance, PanelModel, SimulatedPanel, simulate};
use evenstep_fit::{Fit, FitOptions, Gamut, Region, TargetRequest, fit, through};
use evenstep_lut::{Correction, Evaluation, NEAR_BLACK};
use evenstep_readings::{PatchRequest, merged};
use evenstep_study::patches;

const COUNT: usize = 101;
const SEEDS: std::ops::Range<u64> = 1..4;
const NOISY: Disturbance = Disturbance {
    noise: 1.0,
    drift: 0.0,
    outliers: 0.0,
};

/// Mean ΔE ITP and CIEDE2000 of what the panel shows against the target, over reachable signals of the cube.
fn error(panel: &SimulatedPanel, fit: &Fit, gamut: &Gamut<'_>) -> [f64; 2] {
    let target = &fit.settled.target;
    let lut = fit.loaded();
    let lut = lut.evaluated(Evaluation::Tetrahedral);
    let lab = |xyz| lab_from_xyz(xyz, target.white());
    let (mut sum, mut count) = ([0.0; 2], 0.0);
    for signal in Region::All.signals(NEAR_BLACK) {
        if gamut.reaches(signal) {
            let (shown, wanted) = (panel.xyz(lut.drive(signal)), target.xyz(signal));
            sum[0] += delta_e_itp(itp_from_xyz(shown), itp_from_xyz(wanted));
            sum[1] += delta_e_2000(lab(shown), lab(wanted));
            count += 1.0;
        }
    }
    sum.map(|s| s / count)
}

fn main() {
    println!(
        "mean ΔE ITP and CIEDE2000 on the true panel: first pass, {COUNT} more through its LUT, {COUNT} more without it"
    );
    for name in SimulatedPanel::NAMES {
        let panel = SimulatedPanel::by_name(name).expect("its own name");
        let (primaries, transfer) = panel.usual_target();
        let options = FitOptions {
            target: TargetRequest {
                primaries,
                transfer,
                ..TargetRequest::default()
            },
            ..FitOptions::default()
        };
        let list = patches(COUNT);
        let mut mean = [[0.0; 2]; 3];
        for seed in SEEDS {
            let first = simulate(&panel, &list, NOISY, seed);
            let fitted = |sequence| {
                fit(&merged(sequence), &options, &|_, _| {}).expect("patches span the cube")
            };
            let one = fitted(first.clone());
            let lut = one.loaded();
            let loaded = lut.evaluated(Evaluation::Tetrahedral);
            // What the instrument sees: the panel at the drives the LUT makes of the signals.
            let shown: Vec<PatchRequest> = list
                .iter()
                .map(|p| PatchRequest {
                    id: p.id.clone(),
                    drive: loaded.drive(p.drive),
                })
                .collect();
            let mut again = simulate(&panel, &shown, NOISY, seed + 1000);
            for (reading, patch) in again.iter_mut().zip(&list) {
                reading.drive = patch.drive;
            }
            let two = fitted(through(&loaded, first.clone(), again));
            // Read twice without a LUT: what the second reading alone is worth.
            let same = [first, simulate(&panel, &list, NOISY, seed + 1000)].concat();
            let gamut = Gamut::new(&panel, &one.settled.target, one.base.as_ref());
            for (sum, fit) in mean.iter_mut().zip([&one, &two, &fitted(same)]) {
                let found = error(&panel, fit, &gamut);
                for k in 0..2 {
                    sum[k] += found[k] / (SEEDS.end - SEEDS.start) as f64;
                }
            }
        }
        println!(
            "{name:<12}{}",
            mean.map(|m| format!("{:7.3} {:6.3}   ", m[0], m[1]))
                .concat()
        );
    }
}
