//! How often the truth lies inside the band that a fit states, on the simulated panels.
//!
//! `cargo run --release -p evenstep-study --example confidence`

#![expect(clippy::print_stdout, reason = "the table is what it is for")]

use std::time::Instant;

use evenstep_colour::{delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz, root_mean_square};
use evenstep_display::{Disturbance, PanelModel, SimulatedPanel, simulate};
use evenstep_fit::{Band, Doubt, Fit, FitOptions, Gamut, Region, Regions, TargetRequest, fit};
use evenstep_lut::{Correction, Evaluation, NEAR_BLACK};
use evenstep_readings::{Readings, merged};
use evenstep_study::patches;
use rayon::prelude::*;

const COUNTS: [usize; 2] = [101, 343];
/// Not those that the constants of the method were tuned on, which were 100 and 101.
const SEEDS: std::ops::Range<u64> = 102..105;

/// Share inside the band, band, and root mean square error; for ΔE ITP and CIEDE2000.
type Row = [[f64; 3]; 2];

fn rows(panel: &SimulatedPanel, fit: &Fit) -> Regions<Option<Row>> {
    let target = &fit.settled.target;
    let gamut = Gamut::new(panel, target, fit.base.as_ref());
    let lut = fit.loaded();
    let lut = lut.evaluated(Evaluation::Tetrahedral);
    let stated = fit
        .report
        .confidence
        .as_ref()
        .expect("parts can be left out");
    Regions::from_fn(|region| {
        let band: Band = match region {
            Region::All => stated.all,
            Region::NearBlack => stated.near_black,
            Region::Neutral => stated.neutral,
            Region::Skin => stated.skin,
            Region::Saturated => stated.saturated,
        }?;
        let lab = |xyz| lab_from_xyz(xyz, target.white());
        let errors: Vec<[f64; 2]> = region
            .strewn(target.near_black_end(NEAR_BLACK))
            .into_par_iter()
            .filter(|s| gamut.reaches(*s))
            .map(|s| {
                let (shown, wanted) = (panel.xyz(lut.drive(s)), target.xyz(s));
                [
                    delta_e_itp(itp_from_xyz(shown), itp_from_xyz(wanted)),
                    delta_e_2000(lab(shown), lab(wanted)),
                ]
            })
            .collect();
        let of = |k: usize, band: f64| {
            let inside = errors.iter().filter(|e| e[k] <= band).count();
            let rms = root_mean_square(errors.iter().map(|e| e[k]));
            rms.map(|rms| [inside as f64 / errors.len() as f64, band, rms])
        };
        Some([of(0, band.itp_q95)?, of(1, band.de2000_q95)?])
    })
}

/// Share inside and band over error, each in the mean over fits.
fn said(rows: &[Row], k: usize) -> String {
    let mean = |i: usize| rows.iter().map(|r| r[k][i]).sum::<f64>() / rows.len() as f64;
    format!("{:.3} x{:.2}", mean(0), mean(1) / mean(2))
}

fn main() {
    let noisy = Disturbance {
        noise: 1.0,
        drift: 0.0,
        outliers: 0.0,
    };
    let mut all: [Vec<Row>; 5] = Default::default();
    println!(
        "share of the truth inside the ΔE ITP band, band over root mean square error; a line is the mean over seeds"
    );
    println!(
        "{:<16}{:<14}{:<14}{:<14}{:<14}{:<14}seconds of it",
        "panel", "whole cube", "near black", "neutral", "skin", "saturated"
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
        for count in COUNTS {
            let mut here: [Vec<Row>; 5] = Default::default();
            let mut seconds = 0.0;
            for seed in SEEDS {
                let readings: Readings = merged(simulate(&panel, &patches(count), noisy, seed));
                let fitted = fit(&readings, &options, &|_, _| {}).expect("patches span the cube");
                let start = Instant::now();
                let doubt = Doubt::new(&readings, &fitted.model).expect("parts can be left out");
                let lut = fitted.loaded();
                let _ = doubt.bands(
                    &fitted.settled.target,
                    &lut.evaluated(Evaluation::Tetrahedral),
                    NEAR_BLACK,
                );
                seconds += start.elapsed().as_secs_f64() / (SEEDS.end - SEEDS.start) as f64;
                let rows = rows(&panel, &fitted);
                for (list, row) in here.iter_mut().zip([
                    rows.all,
                    rows.near_black,
                    rows.neutral,
                    rows.skin,
                    rows.saturated,
                ]) {
                    list.extend(row);
                }
            }
            let cells = here.each_ref().map(|rows| {
                if rows.is_empty() {
                    "-".to_owned()
                } else {
                    said(rows, 0)
                }
            });
            println!(
                "{:<16}{}{seconds:.2}",
                format!("{name} {count}"),
                cells.map(|c| format!("{c:<14}")).concat()
            );
            for (list, rows) in all.iter_mut().zip(here) {
                list.extend(rows);
            }
        }
    }
    println!(
        "{:<16}{}",
        "all, ΔE ITP",
        all.each_ref()
            .map(|r| format!("{:<14}", said(r, 0)))
            .concat()
    );
    println!(
        "{:<16}{}",
        "all, CIEDE2000",
        all.each_ref()
            .map(|r| format!("{:<14}", said(r, 1)))
            .concat()
    );
}
