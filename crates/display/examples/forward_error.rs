//! Error of forward models against simulated panels, from noisy readings of few and of many patches.
//!
//! Ways are of `base`, `thin-plate`, `structured`, `auto`; outliers a share of the readings.
//!
//! `cargo run --release -p evenstep-display --example forward_error -- [counts] [panels] [seeds] [ways] [drift,outliers]`, lists with commas.
//! Truth is the panel without noise, at drives drawn anew: 2000 in the cube, and 500 with every channel below 0.2 and a
//! tenth as many on the neutral axis there, for near-black.

#![allow(clippy::print_stdout, reason = "a program for people")]

#[path = "../../study/src/patches.rs"]
#[allow(dead_code, unreachable_pub, reason = "a module of another crate")]
mod patches;

use std::time::Instant;

use evenstep_colour::{Xyz, delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz};
use evenstep_display::{
    BaseModel, Disturbance, PanelModel, SimulatedPanel, SmoothingChoice, StructuredModel,
    choose_model, simulate,
};
use evenstep_readings::{NoiseModel, Readings, merged};
use evenstep_scatter::Scheme;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A way from readings to a model.
type Way = fn(&Readings, &NoiseModel) -> (Box<dyn PanelModel>, String, Vec<usize>);

const WAYS: [(&str, Way); 4] = [
    ("base", |readings, noise| {
        let base = BaseModel::fit(readings, noise).expect("the patches hold a neutral ramp");
        (Box::new(base), String::new(), Vec::new())
    }),
    ("thin-plate", |r, n| {
        chosen(r, n, Some(Scheme::RBF_THIN_PLATE))
    }),
    ("structured", |r, n| {
        let base = BaseModel::fit(r, n).expect("the patches hold a neutral ramp");
        let model = StructuredModel::fit(r, n, &base).expect("readings are finite");
        let said = format!("{:.3?}", model.scales());
        (Box::new(model), said, Vec::new())
    }),
    ("auto", |r, n| chosen(r, n, None)),
];

fn chosen(
    readings: &Readings,
    noise: &NoiseModel,
    scheme: Option<Scheme>,
) -> (Box<dyn PanelModel>, String, Vec<usize>) {
    let chosen = choose_model(readings, noise, scheme, SmoothingChoice::LeaveOneOut)
        .expect("readings of a simulated panel give a model");
    let mut said = chosen
        .model
        .structure()
        .map_or(String::from("base"), |s| s.to_string());
    for outlier in &chosen.outliers {
        said += &format!(", {} {:.0} sd", outlier.patch, outlier.sigma);
    }
    if let Some(drift) = chosen.drift {
        said += &format!(", drift {:.4} ± {:.4}", drift.total, drift.standard_error);
    }
    let named = chosen.outliers.iter().map(|o| o.order).collect();
    (Box::new(chosen.model), said, named)
}

fn main() {
    let given: Vec<String> = std::env::args().skip(1).collect();
    let list = |i: usize, default: &str| -> Vec<String> {
        let text = given.get(i).map_or(default, String::as_str);
        text.split(',').map(String::from).collect()
    };
    let number = |s: &String| s.parse::<u64>().expect("counts and seeds are numbers");
    let counts: Vec<usize> = list(0, "101,200,343,1000")
        .iter()
        .map(|s| number(s) as usize)
        .collect();
    let panels = list(1, &SimulatedPanel::NAMES.join(","));
    let seeds = number(&list(2, "5")[0]);
    let ways: Vec<&str> = given.get(3).map_or(Vec::new(), |w| w.split(',').collect());
    let rough: Vec<f64> = list(4, "0,0")
        .iter()
        .map(|s| s.parse().expect("drift and share of outliers are numbers"))
        .collect();
    println!(
        "panel count way: CIEDE2000 mean, 95 %; near-black dE ITP mean; seconds; outliers found, missed, false; the first seed's model"
    );
    for &count in &counts {
        for name in &panels {
            let panel = SimulatedPanel::by_name(name).expect("a name of a simulated panel");
            for (way, model) in WAYS
                .iter()
                .filter(|w| ways.is_empty() || ways.contains(&w.0))
            {
                let mut tally = [0; 3];
                let (mut figures, mut seconds, mut first) = ([0.0; 3], 0.0, String::new());
                for seed in 0..seeds {
                    let list = patches::patches(count);
                    let rough_noise = Disturbance {
                        noise: 1.0,
                        drift: rough[0],
                        outliers: rough[1],
                    };
                    let readings = merged(simulate(&panel, &list, rough_noise, seed));
                    let noise =
                        NoiseModel::from_repeats(&readings).expect("the patches hold repeats");
                    let start = Instant::now();
                    let (model, said, named) = model(&readings, &noise);
                    let read = simulate(&panel, &list, rough_noise, seed);
                    let clean = simulate(
                        &panel,
                        &list,
                        Disturbance {
                            outliers: 0.0,
                            ..rough_noise
                        },
                        seed,
                    );
                    for (order, (read, clean)) in read.iter().zip(&clean).enumerate() {
                        let found = named.contains(&order);
                        tally[match (read.xyz != clean.xyz, found) {
                            (true, true) => 0,
                            (true, false) => 1,
                            (false, true) => 2,
                            (false, false) => continue,
                        }] += 1;
                    }
                    seconds += start.elapsed().as_secs_f64() / seeds as f64;
                    for (sum, figure) in figures.iter_mut().zip(judge(&panel, &*model)) {
                        *sum += figure / seeds as f64;
                    }
                    if seed == 0 {
                        first = said;
                    }
                }
                let [mean, p95, dark] = figures;
                println!(
                    "{name:10} {count:5} {way:12} {mean:7.4} {p95:7.3} {dark:7.3} {seconds:7.3} {tally:?} {first}"
                );
            }
        }
    }
}

/// Mean and 95th percentile of CIEDE2000 in the cube, mean ΔE ITP near black.
fn judge(panel: &SimulatedPanel, model: &dyn PanelModel) -> [f64; 3] {
    let mut random = ChaCha8Rng::seed_from_u64(99);
    let mut drive =
        |most: f64| -> [f64; 3] { std::array::from_fn(|_| most * random.random::<f64>()) };
    let white: Xyz = panel.xyz([1.0; 3]);
    let mut errors: Vec<f64> = (0..2000)
        .map(|_| {
            let d = drive(1.0);
            delta_e_2000(
                lab_from_xyz(model.xyz(d), white),
                lab_from_xyz(panel.xyz(d), white),
            )
        })
        .collect();
    errors.sort_by(f64::total_cmp);
    let mut dark = 0.0;
    for i in 0..550 {
        let d = drive(0.2);
        let d = if i < 500 { d } else { [d[0]; 3] };
        dark += delta_e_itp(itp_from_xyz(model.xyz(d)), itp_from_xyz(panel.xyz(d))) / 550.0;
    }
    [errors.iter().sum::<f64>() / 2000.0, errors[1900], dark]
}
