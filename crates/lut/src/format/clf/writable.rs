//! What a file of the format can hold, looked at before the first byte of it is written.

use super::ClfWriteError;
use crate::error::all_finite;
use crate::process::{Operation, ProcessList, Range};
use crate::{BitDepth, Lut, LutError};

/// Refuses tables with a value that is not finite.
pub(super) fn tables(lut: &Lut) -> Result<(), LutError> {
    all_finite(lut.curves.as_ref().map_or(&[], |c| c.rows()))?;
    all_finite(lut.lattice.as_ref().map_or(&[], |l| l.nodes()))
}

/// Refuses operations whose numbers would not be finite as they are written, and channels that differ in what is said
/// once for all.
pub(super) fn operations(list: &ProcessList, depth: Option<BitDepth>) -> Result<(), ClfWriteError> {
    let top = depth.map_or(1.0, |d| f64::from(d.largest_code()));
    for node in &list.nodes {
        let operation = node.operation.name();
        let numbers = |numbers: &[f64]| {
            let finite = numbers.iter().all(|v| v.is_finite());
            finite
                .then_some(())
                .ok_or(ClfWriteError::Number { operation })
        };
        let alike = |alike: bool| {
            alike
                .then_some(())
                .ok_or(ClfWriteError::Channels { operation })
        };
        match &node.operation {
            Operation::Curves(curves) => table(operation, curves.rows(), top)?,
            Operation::Lattice { lattice, .. } => table(operation, lattice.nodes(), top)?,
            // Raw patterns hold what is not finite; written as decimals, nothing does.
            Operation::HalfCurves(curves) if !curves.are_halfs() => all_finite(curves.rows())?,
            // Both hold finite numbers alone.
            Operation::HalfCurves(_) | Operation::MappedCurves(_) => {}
            Operation::Matrix(matrix) => numbers(matrix.rows.as_flattened())?,
            Operation::Range(Range { low, high, .. }) => {
                for [at, out] in low.iter().chain(high) {
                    numbers(&[at * top, *out])?;
                }
            }
            Operation::Log(logs) => {
                alike(logs.iter().all(|l| {
                    l.style == logs[0].style && l.camera.is_some() == logs[0].camera.is_some()
                }))?;
                for log in logs {
                    let camera = log.camera.map_or([0.0; 2], |c| {
                        [c.lin_break, c.linear_slope.unwrap_or_default()]
                    });
                    numbers(&[log.base, log.log_slope, log.log_offset])?;
                    numbers(&[log.lin_slope, log.lin_offset])?;
                    numbers(&camera)?;
                }
            }
            Operation::Exponent(powers) => {
                alike(
                    powers.iter().all(|p| {
                        p.style == powers[0].style && p.is_reverse == powers[0].is_reverse
                    }),
                )?;
                for power in powers {
                    numbers(&[power.exponent, power.offset])?;
                }
            }
            Operation::Cdl(cdl) => {
                numbers(&cdl.slope)?;
                numbers(&cdl.offset)?;
                numbers(&cdl.power)?;
                numbers(&[cdl.saturation])?;
            }
        }
    }
    Ok(())
}

/// A table whose values times `top` must be finite.
fn table(operation: &'static str, rows: &[[f64; 3]], top: f64) -> Result<(), ClfWriteError> {
    all_finite(rows)?;
    let fits = rows.iter().flatten().all(|v| (v * top).is_finite());
    fits.then_some(())
        .ok_or(ClfWriteError::Number { operation })
}
