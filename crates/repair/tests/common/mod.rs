//! Specimens, the panel they are for, and what two LUTs differ by.

use std::path::Path;

use evenstep_audit::{AuditOptions, PanelContext, ReadingFacts};
use evenstep_colour::{delta_e_2000, lab_from_xyz};
use evenstep_display::{BaseModel, ForwardModel, PanelModel};
use evenstep_fit::{BaseCorrection, Gamut, TargetRequest, noise_of};
use evenstep_lut::Lut;
use evenstep_lut::format::cube;
use evenstep_readings::{Fitness, RgbScale, read};
use evenstep_repair::{NominalPanel, Repaired, repair};

/// A LUT of the folder of specimens.
pub(crate) fn lut(name: &str) -> Lut {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../../luts/{name}.cube"));
    cube::read(&path).expect("a specimen").0
}

/// Repaired without readings.
pub(crate) fn plain(lut: &Lut) -> Repaired {
    repair(lut, &AuditOptions::default(), None, "").expect("a lattice")
}

/// Repaired on the base model of the panel of the specimens, which adds, with the default target.
pub(crate) fn on_panel(lut: &Lut) -> Repaired {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../luts/panel.cgats");
    let (readings, _) = read(&path, RgbScale::default()).expect("the readings");
    let (noise, _) = noise_of(&readings);
    let fitness = Fitness::of(&readings);
    let base = BaseModel::fit(&readings, &noise).expect("a base");
    let model = ForwardModel::from_base(base.clone());
    let target = TargetRequest::default().settle(&readings, &model).target;
    let base = BaseCorrection::new(base, target.clone());
    let gamut = Gamut::new(&model, &target, Some(&base));
    let context = PanelContext {
        panel: &model,
        target: &target,
        base: &base,
        reachable: &|signal| gamut.reaches(signal),
        facts: ReadingFacts {
            neutral_levels: fitness.neutral_levels,
            interior: fitness.interior,
        },
    };
    repair(lut, &AuditOptions::default(), Some(&context), "panel.cgats").expect("a lattice")
}

/// Mean CIEDE2000 between the nodes of two lattices of one size on the nominal panel.
pub(crate) fn mean_between(a: &Lut, b: &Lut) -> f64 {
    let panel = NominalPanel::default();
    let white = panel.xyz([1.0; 3]);
    let nodes = |lut: &Lut| lut.lattice.clone().expect("a lattice");
    let (a, b) = (nodes(a), nodes(b));
    let lab = |v: &[f64; 3]| lab_from_xyz(panel.xyz(v.map(|v| v.clamp(0.0, 1.0))), white);
    let pairs = a.nodes().iter().zip(b.nodes());
    pairs
        .map(|(a, b)| delta_e_2000(lab(a), lab(b)))
        .sum::<f64>()
        / a.nodes().len() as f64
}
