//! Prints the JSON of an audit in depth on a panel that is a formula, for comparison with other programs.
//!
//! Usage: `audit_values LUT.cube [EDGE]`. The panel adds and has no reading behind it, so that another program can be given the
//! same: XYZ(d) = M·d^γ + black·(1 − Y(M·d^γ)/100) with γ of 2.1, 2.2 and 2.35, M the matrix of BT.709 primaries at D65
//! scaled to 100 cd/m², and a D65 black of 0.05 cd/m². The target is the same with γ of 2.2 throughout, the base correction
//! the identity, and every signal counts as reachable; with EDGE, those whose blue exceeds their red by no more than it. Ramps are walked at 10 bits, outputs rounded to 12.
#![expect(clippy::print_stdout, reason = "an example prints its result")]

use std::error::Error;
use std::path::Path;

use evenstep_audit::{AuditOptions, PanelContext, ReadingFacts, Subject, audit};
use evenstep_colour::{Chromaticity, Primaries, Xyz};
use evenstep_display::{PanelModel, Target, Transfer};
use evenstep_lut::format::cube;
use evenstep_lut::{Evaluation, Lut};
use nalgebra::{Matrix3, Vector3};

const WHITE_CD_M2: f64 = 100.0;
const BLACK_CD_M2: f64 = 0.05;
const EXPONENTS: [f64; 3] = [2.1, 2.2, 2.35];

struct Panel(Matrix3<f64>);

impl PanelModel for Panel {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        let light = self.0 * Vector3::from_fn(|c, _| drive[c].powf(EXPONENTS[c]));
        let black = Vector3::from(Chromaticity::D65.xyz_at(BLACK_CD_M2).0);
        Xyz((black * (1.0 - light[1] / WHITE_CD_M2) + light).into())
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args()
        .nth(1)
        .ok_or("usage: audit_values LUT.cube")?;
    let (lut, _) = cube::read(Path::new(&path))?;
    let panel = Panel(Primaries::BT709.xyz_from_rgb(Chromaticity::D65) * WHITE_CD_M2);
    let target = Target::new(
        Primaries::BT709,
        Transfer::Gamma(2.2),
        Chromaticity::D65,
        WHITE_CD_M2,
        Chromaticity::D65.xyz_at(BLACK_CD_M2),
    );
    let edge: f64 = match std::env::args().nth(2) {
        Some(edge) => edge.parse()?,
        None => f64::INFINITY,
    };
    let identity = Lut::default();
    let base = identity.evaluated(Evaluation::Tetrahedral);
    let context = PanelContext {
        panel: &panel,
        target: &target,
        base: &base,
        reachable: &|signal| signal[2] - signal[0] <= edge,
        facts: ReadingFacts {
            neutral_levels: 21,
            interior: 50,
        },
    };
    let options = AuditOptions {
        in_depth: true,
        ..AuditOptions::default()
    };
    let correction = lut.evaluated(options.evaluation);
    let report = audit(
        &Subject::of_lut(&correction, &lut),
        &options,
        Some(&context),
    );
    println!("{}", serde_json::to_string(&report)?);
    Ok(())
}
