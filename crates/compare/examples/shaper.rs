//! What a shaper gains on the simulated panels, seen through the model as a fit reports it.
//!
//! `cargo run --release -p evenstep-compare --example shaper`

#![expect(clippy::print_stdout, reason = "the table is what it is for")]

use std::path::Path;

use evenstep_compare::shaper_gain;
use evenstep_display::{Disturbance, SimulatedPanel, simulate};
use evenstep_fit::{CodeRange, FitOptions, ShaperFigures, TargetRequest, fit};
use evenstep_readings::{FullScale, RgbScale, merged, parse_patches};

const PATCHES: &[u8] = include_bytes!("../../../examples/foyer/sparse-patches.csv");

fn main() {
    let scale = RgbScale::Given(FullScale::One);
    let (patches, _) = parse_patches(PATCHES, Path::new("sparse-patches.csv"), scale)
        .expect("it is in the repository");
    let noisy = Disturbance {
        noise: 1.0,
        drift: 0.0,
        outliers: 0.0,
    };
    println!(
        "near black: unevenness, ΔE ITP mean and 95 %; whole cube: ΔE ITP mean. With the shaper, then without"
    );
    for name in SimulatedPanel::NAMES {
        let panel = SimulatedPanel::by_name(name).expect("its own name");
        let (primaries, transfer) = panel.usual_target();
        for nodes in [17, 33] {
            let options = FitOptions {
                target: TargetRequest {
                    primaries,
                    transfer,
                    ..TargetRequest::default()
                },
                nodes,
                shaper: true,
                ..FitOptions::default()
            };
            let readings = merged(simulate(&panel, &patches, noisy, 1));
            let fitted = fit(&readings, &options, &|_, _| {}).expect("the patches span the cube");
            let Some(gain) = shaper_gain(&fitted, &readings, CodeRange::Full) else {
                println!("{name:<12}{nodes:>3}   not measured");
                continue;
            };
            let said = |f: &ShaperFigures| {
                format!(
                    "{:6.3} {:6.2} {:6.2} {:7.3}",
                    f.near_black_unevenness,
                    f.near_black_itp_mean,
                    f.near_black_itp_p95,
                    f.all_itp_mean
                )
            };
            println!(
                "{name:<12}{nodes:>3}   {}   {}",
                said(&gain.with),
                said(&gain.without)
            );
        }
    }
}
