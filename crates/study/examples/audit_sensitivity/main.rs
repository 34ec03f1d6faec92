//! How small a fault the audit sees, beside how small a fault is visible, and how often it alarms on smooth LUTs.
//!
//! `cargo run --release -p evenstep-study --example audit_sensitivity -- DIR` writes DIR/README.md and DIR/cases.csv.
//! Definitions are in the page it writes. Takes some minutes.

mod faults;
mod figures;
mod page;
mod remembering;
mod smooth;

use std::error::Error;
use std::path::PathBuf;

use evenstep_audit::{AuditOptions, AuditReport, Load, PanelContext, ReadingFacts, Subject, audit};
use evenstep_colour::{delta_e_itp, itp_from_xyz};
use evenstep_display::{Disturbance, PanelModel, SimulatedPanel, simulate};
use evenstep_fit::{Fit, FitOptions, Gamut, TargetRequest, fit};
use evenstep_lut::{BitDepth, CodeRange, CodeScale, Correction, Evaluation, Lut, Lut3d, Ramp};
use evenstep_readings::{Fitness, Readings, merged};
use evenstep_study::patches;
use rayon::prelude::*;

use faults::{FAULTS, PLACES, spoiled};
use figures::values;
use remembering::Remembering;

/// Patches that were read, and the seed of their noise.
const PATCHES: usize = 101;
const SEED: u64 = 1;
/// A panel that misses its target's red, so that the red edge is out of reach, one with a white sub-pixel, one with a raised black, and one
/// with a twist of hue.
const PANELS: [&str; 4] = ["wide-gamut", "wrgb", "lcd", "twist"];
const NODES: usize = 33;
/// Sizes of a fault in drive: from a third of a 12-bit code, each the root of [`STEP_SQUARED`] times the one before.
const SMALLEST: f64 = 1e-4;
const STEP_SQUARED: f64 = 2.0;
const SIZES: i32 = 21;
const SMOOTH_LUTS: u64 = 200;

/// A figure of every kind, or none where it is not known.
type Figures = Vec<Option<f64>>;

/// What is known of one LUT, with the readings and without.
struct Judged {
    load: [Load; 2],
    labels: [Vec<&'static str>; 2],
    figures: [Figures; 2],
    visible_itp: f64,
}

/// One fault at one place, over all sizes.
struct Series {
    fault: &'static str,
    place: &'static str,
    sizes: Vec<f64>,
    judged: Vec<Judged>,
}

/// A panel with a sound correction for it.
struct Stage {
    panel: SimulatedPanel,
    fit: Fit,
    facts: ReadingFacts,
}

impl Stage {
    fn new(name: &str) -> Result<Self, Box<dyn Error>> {
        let panel = SimulatedPanel::by_name(name).ok_or("no such panel")?;
        let (primaries, transfer) = panel.usual_target();
        let options = FitOptions {
            nodes: NODES,
            target: TargetRequest {
                primaries,
                transfer,
                ..TargetRequest::default()
            },
            ..FitOptions::default()
        };
        let noise = Disturbance {
            noise: 1.0,
            drift: 0.0,
            outliers: 0.0,
        };
        let readings: Readings = merged(simulate(&panel, &patches(PATCHES), noise, SEED));
        let fitness = Fitness::of(&readings);
        Ok(Self {
            panel,
            fit: fit(&readings, &options, &|_, _| {})?,
            facts: ReadingFacts {
                neutral_levels: fitness.neutral_levels,
                interior: fitness.interior,
            },
        })
    }

    /// The base correction in a lattice: what faults are put into and smooth LUTs are made of.
    fn base(&self) -> Result<Lut3d, Box<dyn Error>> {
        let base = self.fit.base.as_ref().ok_or("no base correction")?;
        Ok(Lut3d::from_fn(NODES, |s| {
            base.drive(s).map(|v| v.clamp(0.0, 1.0))
        }))
    }

    /// Judges LUTs by the model of the readings, and each beside `clean` by the true panel.
    fn judge(&self, luts: &[Lut3d], clean: &Lut3d) -> Result<Vec<Judged>, Box<dyn Error>> {
        let base = self.fit.base.as_ref().ok_or("no base correction")?;
        let target = &self.fit.settled.target;
        let gamut = Gamut::new(&self.fit.model, target, Some(base));
        let reachable = |signal| gamut.reaches(signal);
        let seen = Remembering::new(&self.fit.model);
        let context = PanelContext {
            panel: &seen,
            target,
            base,
            reachable: &reachable,
            facts: self.facts,
        };
        // The figures in depth would take ten times as long as all others.
        let options = AuditOptions::default();
        Ok(luts
            .par_iter()
            .map(|lattice| {
                let lut = Lut::from(lattice.clone());
                let correction = lut.evaluated(Evaluation::Tetrahedral);
                let subject = Subject::of_lut(&correction, &lut);
                let reports = [
                    audit(&subject, &options, Some(&context)),
                    audit(&subject, &options, None),
                ];
                Judged {
                    load: [&reports[0], &reports[1]].map(|r| r.verdict.load),
                    labels: [&reports[0], &reports[1]].map(labels),
                    figures: [&reports[0], &reports[1]].map(values),
                    visible_itp: self.difference(lattice, clean),
                }
            })
            .collect())
    }

    /// Largest ΔE ITP on the true panel between two LUTs over the named ramps.
    fn difference(&self, a: &Lut3d, b: &Lut3d) -> f64 {
        let scale = CodeScale {
            depth: BitDepth::TEN,
            range: CodeRange::Full,
        };
        let seen = |lattice: &Lut3d, signal| {
            itp_from_xyz(
                self.panel
                    .xyz(lattice.sample(signal, Evaluation::Tetrahedral)),
            )
        };
        Ramp::named()
            .iter()
            .flat_map(|ramp| ramp.walk(scale).signals)
            .map(|signal| delta_e_itp(seen(a, signal), seen(b, signal)))
            .fold(0.0, f64::max)
    }
}

/// The size in drive, by its place among all.
fn size(k: i32) -> f64 {
    SMALLEST * STEP_SQUARED.powf(0.5 * f64::from(k))
}

/// Labels of the reasons that are about the LUT.
fn labels(report: &AuditReport) -> Vec<&'static str> {
    let about_the_lut =
        |label: &&str| *label != "panel unknown" && *label != "readings say too little";
    let reasons = report.verdict.reasons.iter().map(|r| r.label);
    reasons.filter(about_the_lut).collect()
}

fn main() -> Result<(), Box<dyn Error>> {
    let folder = PathBuf::from(std::env::args().nth(1).ok_or("say a folder for the page")?);
    std::fs::create_dir_all(&folder)?;
    let mut page = page::Page::new();
    for name in PANELS {
        let stage = Stage::new(name)?;
        let clean = stage.base()?;
        let sizes: Vec<f64> = (0..SIZES).map(size).collect();
        let kinds: Vec<(&str, &str)> = FAULTS
            .iter()
            .flat_map(|&fault| PLACES.map(|place| (fault, place)))
            .collect();
        // All at once: what the panel shows and reaches is then asked once for all of them.
        let mut luts = vec![clean.clone()];
        for &(fault, place) in &kinds {
            luts.extend(
                sizes
                    .iter()
                    .map(|&size| spoiled(&clean, fault, place, size)),
            );
        }
        luts.extend((0..SMOOTH_LUTS).map(|seed| smooth::drawn(&stage, seed)));
        let mut judged = stage.judge(&luts, &clean)?.into_iter();
        let untouched = judged.next().ok_or("no LUT was judged")?;
        let series: Vec<Series> = kinds
            .into_iter()
            .map(|(fault, place)| Series {
                fault,
                place,
                sizes: sizes.clone(),
                judged: judged.by_ref().take(sizes.len()).collect(),
            })
            .collect();
        let smooth: Vec<Judged> = judged.collect();
        page.panel(name, &untouched, &smooth, &series);
        // After each panel, so that a run that is stopped leaves what it has.
        std::fs::write(folder.join("README.md"), page.text())?;
        std::fs::write(folder.join("cases.csv"), page.csv())?;
    }
    Ok(())
}
