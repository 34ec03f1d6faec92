//! What twenty more patches gain on the simulated panels: those that a fit names, against the next of Halton's sequence.
//!
//! `cargo run --release -p evenstep-study --example next_patches`

#![expect(clippy::print_stdout, reason = "the table is what it is for")]

use evenstep_colour::{delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz};
use evenstep_display::{
    Disturbance, PanelModel, SimulatedPanel, SmoothingChoice, Target, choose_model, simulate,
};
use evenstep_fit::{BaseCorrection, Doubt, Region, next_patches, noise_of};
use evenstep_lut::{Correction, NEAR_BLACK};
use evenstep_readings::{PatchRequest, Readings, merged};
use evenstep_study::patches;

const COUNT: usize = 101;
const MORE: usize = 20;
const SEEDS: std::ops::Range<u64> = 200..203;
/// Panels times seeds.
const FITS: f64 = 15.0;
const NOISY: Disturbance = Disturbance {
    noise: 1.0,
    drift: 0.0,
    outliers: 0.0,
};

/// Mean ΔE ITP and CIEDE2000 between panel and model over drives.
fn error(
    panel: &dyn PanelModel,
    model: &dyn PanelModel,
    drives: &[[f64; 3]],
    white: evenstep_colour::Xyz,
) -> [f64; 2] {
    let mut sum = [0.0; 2];
    for drive in drives {
        let (a, b) = (panel.xyz(*drive), model.xyz(*drive));
        sum[0] += delta_e_itp(itp_from_xyz(a), itp_from_xyz(b)) / drives.len() as f64;
        sum[1] +=
            delta_e_2000(lab_from_xyz(a, white), lab_from_xyz(b, white)) / drives.len() as f64;
    }
    sum
}

/// Halton's sequence in one base.
fn radical_inverse(mut i: u64, base: u64) -> f64 {
    let (mut value, mut scale) = (0.0, 1.0);
    while i > 0 {
        scale /= base as f64;
        value += scale * (i % base) as f64;
        i /= base;
    }
    value
}

fn main() {
    let mut logs = [[0.0; 2]; 3];
    println!(
        "panel       seed   before          named           halton       (mean ITP / CIEDE2000 of the model at used drives)"
    );
    for name in SimulatedPanel::NAMES {
        let panel = SimulatedPanel::by_name(name).expect("its own name");
        let (primaries, transfer) = panel.usual_target();
        for seed in SEEDS {
            let list = patches(COUNT);
            let fitted = |more: &[PatchRequest]| {
                let all: Vec<PatchRequest> = list.iter().chain(more).cloned().collect();
                let readings: Readings = merged(simulate(&panel, &all, NOISY, seed));
                let (noise, _) = noise_of(&readings);
                let chosen = choose_model(&readings, &noise, None, SmoothingChoice::LeaveOneOut);
                (readings, chosen.expect("patches span the cube").model)
            };
            let (readings, model) = fitted(&[]);
            // Near the most that each panel reaches; this one is flat above.
            let white = if name == "hdr-wrgb" {
                550.0
            } else {
                0.95 * panel.xyz([1.0; 3]).luminance_cd_m2()
            };
            let target = Target::new(
                primaries,
                transfer,
                evenstep_colour::Chromaticity::D65,
                white,
                model.xyz([0.0; 3]),
            );
            let base = BaseCorrection::new(model.base().expect("a base").clone(), target.clone());
            let doubt = Doubt::new(&readings, &model).expect("parts can be left out");
            let t = std::time::Instant::now();
            let named: Vec<PatchRequest> =
                next_patches(&doubt, &readings, &target, &base, NEAR_BLACK, MORE)
                    .iter()
                    .map(|n| n.request())
                    .collect();
            let spent = t.elapsed();
            let halton: Vec<PatchRequest> = (0..MORE as u64)
                .map(|i| PatchRequest {
                    id: format!("H{i}"),
                    drive: [2, 3, 5].map(|base| {
                        radical_inverse(1 + i + MORE as u64 * (seed - SEEDS.start), base)
                    }),
                })
                .collect();
            let signals = Region::All.signals(NEAR_BLACK);
            let drives: Vec<[f64; 3]> = signals.iter().map(|s| base.drive(*s)).collect();
            let rows = [model, fitted(&named).1, fitted(&halton).1]
                .map(|m| error(&panel, &m, &drives, target.white()));
            for (log, row) in logs.iter_mut().zip(&rows) {
                for k in 0..2 {
                    log[k] += row[k].ln() / FITS;
                }
            }
            println!(
                "{name:10} {seed:5} {} {:.3} s",
                rows.map(|r| format!("{:7.3} {:6.3}", r[0], r[1]))
                    .join("  "),
                spent.as_secs_f64()
            );
        }
    }
    println!(
        "geometric mean {}",
        logs.map(|r| format!("{:.3} {:.3}", r[0].exp(), r[1].exp()))
            .join("   ")
    );
}
