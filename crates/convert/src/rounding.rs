//! Values rounded to the codes of a depth, and counts of what that changes.

use evenstep_lut::process::{Operation, ProcessList};
use evenstep_lut::{BitDepth, Lut, Lut1d, Lut3d};

use crate::{FileFormat, Loss};

/// Counts of what rounding changes.
struct Rounding {
    top: f64,
    limits: bool,
    rounded: usize,
    limited: usize,
}

impl Rounding {
    fn values(&mut self, rows: &[[f64; 3]]) -> Vec<[f64; 3]> {
        rows.iter().map(|row| row.map(|v| self.value(v))).collect()
    }

    fn value(&mut self, value: f64) -> f64 {
        let code = (value * self.top).round();
        let held = if self.limits {
            code.clamp(0.0, self.top)
        } else {
            code
        };
        // A code written as a quotient comes back a few last places off; it was that code.
        const SAME: f64 = 1e-9;
        if held != code {
            self.limited += 1;
        } else if (value * self.top - code).abs() > SAME {
            self.rounded += 1;
        }
        held / self.top
    }

    fn tell(&self, bits: u8, losses: &mut Vec<Loss>) {
        if self.rounded > 0 {
            losses.push(Loss::Rounded {
                bits,
                values: self.rounded,
            });
        }
        if self.limited > 0 {
            losses.push(Loss::Limited {
                values: self.limited,
            });
        }
    }
}

fn rounding(format: FileFormat, depth: BitDepth) -> Rounding {
    Rounding {
        top: f64::from(depth.largest_code()),
        limits: matches!(format, FileFormat::Picture | FileFormat::Table),
        rounded: 0,
        limited: 0,
    }
}

/// `lut` in codes of `bits`, if any.
pub(crate) fn rounded(
    lut: Lut,
    format: FileFormat,
    bits: Option<BitDepth>,
    losses: &mut Vec<Loss>,
) -> Lut {
    let Some(depth) = bits else {
        return lut;
    };
    let mut rounding = rounding(format, depth);
    let curves = lut.curves.map(|c| rounded_curves(&c, &mut rounding));
    let lattice = lut.lattice.map(|l| rounded_lattice(&l, &mut rounding));
    rounding.tell(depth.bits(), losses);
    Lut {
        title: lut.title,
        curves,
        lattice,
    }
}

fn rounded_curves(curves: &Lut1d, rounding: &mut Rounding) -> Lut1d {
    let (min, max) = (curves.domain_min(), curves.domain_max());
    // Rounded values are as finite as those they come from, and the domain is as it was.
    Lut1d::new(rounding.values(curves.rows()))
        .and_then(|c| c.with_domain(min, max))
        .unwrap_or_else(|_| curves.clone())
}

fn rounded_lattice(lattice: &Lut3d, rounding: &mut Rounding) -> Lut3d {
    let mut rounded = lattice.clone();
    let values = rounding.values(lattice.nodes());
    rounded.nodes_mut().copy_from_slice(&values);
    rounded
}

/// The tables of a chain rounded; its other operations stay.
pub(crate) fn round_list(
    list: &ProcessList,
    bits: Option<BitDepth>,
    losses: &mut Vec<Loss>,
) -> ProcessList {
    let mut out = list.clone();
    let Some(depth) = bits else {
        return out;
    };
    let mut rounding = rounding(FileFormat::Clf, depth);
    for node in &mut out.nodes {
        match &mut node.operation {
            Operation::Curves(curves) => *curves = rounded_curves(curves, &mut rounding),
            Operation::Lattice { lattice, .. } => {
                *lattice = rounded_lattice(lattice, &mut rounding);
            }
            _ => {}
        }
    }
    rounding.tell(depth.bits(), losses);
    out
}
