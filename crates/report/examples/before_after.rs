//! Draws the steps of greys near black, as a simulated panel shows them, before and after a gradation-safe fit of the same
//! 101 noisy readings: the thin plate on the base correction solved node by node, and what `fit` does by itself.
//!
//! `cargo run --release -p evenstep-report --example before_after -- FOLDER` writes a picture for each panel.

use std::error::Error;
use std::path::Path;

use evenstep_audit::{AuditOptions, PanelContext, ReadingFacts, Subject, audit, traces};
use evenstep_display::{Disturbance, SimulatedPanel, simulate};
use evenstep_fit::{FitOptions, Gamut, Solve, TargetRequest, fit};
use evenstep_lut::Lut;
use evenstep_readings::merged;
use evenstep_report::{Drawn, tour_picture};
use evenstep_scatter::Scheme;
use evenstep_study::patches;

const PANELS: [&str; 2] = ["wrgb", "lcd"];

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args().nth(1).ok_or("say where to: FOLDER")?;
    for name in PANELS {
        let panel = SimulatedPanel::by_name(name).ok_or("no such panel")?;
        let noisy = Disturbance {
            noise: 1.0,
            drift: 0.0,
            outliers: 0.0,
        };
        let readings = merged(simulate(&panel, &patches(101), noisy, 1));
        let (primaries, transfer) = panel.usual_target();
        let after = FitOptions {
            target: TargetRequest {
                primaries,
                transfer,
                ..TargetRequest::default()
            },
            ..FitOptions::default()
        };
        let before = FitOptions {
            scheme: Some(Scheme::RBF_THIN_PLATE),
            solve: Solve::Pointwise,
            ..after.clone()
        };
        let fits = [before, after].map(|options| fit(&readings, &options, &|_, _| {}));
        let fits = fits.into_iter().collect::<Result<Vec<_>, _>>()?;
        let luts: Vec<Lut> = fits.iter().map(|f| Lut::from(f.lut.clone())).collect();
        let options = AuditOptions::default();
        let base = fits[1].base.as_ref().ok_or("these readings allow a base")?;
        let target = &fits[1].settled.target;
        let gamut = Gamut::new(&panel, target, Some(base));
        let reachable = |signal| gamut.reaches(signal);
        let context = PanelContext {
            panel: &panel,
            target,
            base,
            reachable: &reachable,
            facts: ReadingFacts {
                neutral_levels: usize::MAX,
                interior: usize::MAX,
            },
        };
        let judge = |lut: &Lut| {
            let read = lut.evaluated(options.evaluation);
            let subject = Subject::of_lut(&read, lut);
            let report = audit(&subject, &options, Some(&context));
            (report, traces(&subject, &options, Some(&context)))
        };
        let judged: Vec<_> = luts.iter().map(judge).collect();
        let drawn: Vec<Drawn<'_>> = ["before", "after"]
            .into_iter()
            .zip(judged.iter().zip(&luts))
            .map(|(name, ((report, traces), lut))| Drawn {
                name,
                report,
                traces,
                lut,
            })
            .collect();
        let path = Path::new(&folder).join(format!("{name}-near-black.svg"));
        std::fs::write(path, tour_picture(&drawn))?;
    }
    Ok(())
}
