//! A small panel, its target, and corrections given as functions.

use evenstep_audit::{
    AuditOptions, AuditReport, PanelContext, RampReport, ReadingFacts, Subject, audit,
};
use evenstep_colour::{Chromaticity, Primaries, Xyz};
use evenstep_display::{PanelModel, Target, Transfer};
use evenstep_lut::{Correction, Evaluation, Lut, Lut3d};
use nalgebra::{Matrix3, Vector3};

pub(crate) const WHITE_CD_M2: f64 = 100.0;
pub(crate) const BLACK_CD_M2: f64 = 0.05;
pub(crate) const GAMMA: f64 = 2.2;

/// An additive panel: BT.709 primaries, D65, 100 cd/m², power 2.2 above a D65 black of 0.05 cd/m², each primary
/// replacing its share of the black.
pub(crate) struct AdditivePanel(Matrix3<f64>);

impl AdditivePanel {
    pub(crate) fn new() -> Self {
        Self(Primaries::BT709.xyz_from_rgb(Chromaticity::D65) * WHITE_CD_M2)
    }
}

impl PanelModel for AdditivePanel {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        let light = self.0 * Vector3::from(drive.map(|v| v.powf(GAMMA)));
        let black = Vector3::from(Chromaticity::D65.xyz_at(BLACK_CD_M2).0);
        Xyz((black * (1.0 - light[1] / WHITE_CD_M2) + light).into())
    }
}

/// Luminance of a neutral drive on that panel, from its definition.
#[allow(dead_code, reason = "not every test binary needs it")]
pub(crate) fn neutral_luminance(drive: f64) -> f64 {
    BLACK_CD_M2 + (WHITE_CD_M2 - BLACK_CD_M2) * drive.powf(GAMMA)
}

/// A correction given as a function.
pub(crate) struct Map<F>(pub(crate) F);

impl<F: Fn([f64; 3]) -> [f64; 3] + Send + Sync> Correction for Map<F> {
    fn drive(&self, signal: [f64; 3]) -> [f64; 3] {
        (self.0)(signal)
    }
}

pub(crate) fn target() -> Target {
    Target::new(
        Primaries::BT709,
        Transfer::Gamma(GAMMA),
        Chromaticity::D65,
        WHITE_CD_M2,
        Chromaticity::D65.xyz_at(BLACK_CD_M2),
    )
}

pub(crate) const WELL_READ: ReadingFacts = ReadingFacts {
    neutral_levels: 21,
    interior: 50,
};

/// Audits on the additive panel, whose base correction is the identity.
pub(crate) fn on_panel(subject: &Subject, options: &AuditOptions) -> AuditReport {
    let (panel, target, base) = (AdditivePanel::new(), target(), Map(|s| s));
    let context = PanelContext {
        panel: &panel,
        target: &target,
        base: &base,
        reachable: &|_| true,
        facts: WELL_READ,
    };
    audit(subject, options, Some(&context))
}

/// Audits a map of all three channels alike, from code to code of 10 bits.
#[allow(dead_code, reason = "not every test binary needs it")]
pub(crate) fn neutral_map(codes: impl Fn(f64) -> f64 + Send + Sync) -> AuditReport {
    let map = Map(move |s: [f64; 3]| s.map(|v| codes((1023.0 * v).round()) / 1023.0));
    on_panel(&Subject::new(&map), &AuditOptions::default())
}

#[allow(dead_code, reason = "not every test binary needs it")]
pub(crate) fn lattice_on_panel(lattice: Lut3d) -> AuditReport {
    let lut = Lut::from(lattice);
    let correction = lut.evaluated(Evaluation::Tetrahedral);
    on_panel(
        &Subject::of_lut(&correction, &lut),
        &AuditOptions::default(),
    )
}

#[allow(dead_code, reason = "not every test binary needs it")]
pub(crate) fn ramp<'a>(report: &'a AuditReport, name: &str) -> &'a RampReport {
    report
        .ramps
        .iter()
        .find(|r| r.name == name)
        .unwrap_or_else(|| panic!("no ramp {name}"))
}
