use std::io::{self, Write};

use super::{NAME, NodeOrder, TableLayout};
use crate::format::lines::LONGEST_COMMENT;
use crate::{Lut, Lut1d, Lut3d};

/// Why a LUT was not written as an integer table.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TableWriteError {
    /// Nothing to write.
    #[error("the LUT holds no table; an integer table needs curves or a lattice")]
    NoTable,
    /// A table over another domain than 0 to 1.
    #[error("the domain of a table is not 0 to 1; resample the LUT first")]
    Domain,
    /// A scale beyond the depth.
    #[error("scale {scale} does not go with a depth of {bits} bits; use 1 to {most}")]
    Scale {
        /// The scale.
        scale: u32,
        /// Bits of a code.
        bits: u8,
        /// Largest code.
        most: u32,
    },
    /// The stream could not be written.
    #[error("cannot write the LUT: {0}")]
    Stream(#[from] io::Error),
}

/// `title` as a file holds it: control characters become blanks, and what is beyond the longest line that is read is cut.
#[must_use]
pub fn written_title(title: &str) -> String {
    const ROOM: usize = LONGEST_COMMENT - "title ".len();
    let line = title.replace(char::is_control, " ");
    let line = line.trim();
    let ends = line.char_indices().map(|(at, c)| at + c.len_utf8());
    let end = ends.take_while(|end| *end <= ROOM).last().unwrap_or(0);
    line[..end].trim_end().to_owned()
}

/// Writes `lut` to `out`. Values are rounded to the nearest code and limited to those of the depth; NaN becomes 0. The
/// title is that of [`written_title`].
///
/// # Errors
/// [`TableWriteError`]: the LUT does not fit the layout, or `out` refuses.
pub fn write_to(
    lut: &Lut,
    layout: TableLayout,
    out: &mut dyn Write,
) -> Result<(), TableWriteError> {
    let most = layout.depth.largest_code();
    if lut.curves.is_none() && lut.lattice.is_none() {
        return Err(TableWriteError::NoTable);
    }
    let curve_ends = lut
        .curves
        .as_ref()
        .map(|c| (c.domain_min(), c.domain_max()));
    let lattice_ends = lut
        .lattice
        .as_ref()
        .map(|l| (l.domain_min(), l.domain_max()));
    if [curve_ends, lattice_ends]
        .into_iter()
        .flatten()
        .any(|ends| ends != ([0.0; 3], [1.0; 3]))
    {
        return Err(TableWriteError::Domain);
    }
    if layout.scale == 0 || layout.scale > most {
        return Err(TableWriteError::Scale {
            scale: layout.scale,
            bits: layout.depth.bits(),
            most,
        });
    }
    writeln!(out, "{NAME} 1")?;
    if let Some(title) = &lut.title {
        writeln!(out, "title {}", written_title(title))?;
    }
    writeln!(out, "depth {}", layout.depth.bits())?;
    if layout.scale != most {
        writeln!(out, "scale {}", layout.scale)?;
    }
    writeln!(out, "order {}", layout.order)?;
    if let Some(curves) = &lut.curves {
        writeln!(out, "curves {}", curves.size())?;
    }
    if let Some(lattice) = &lut.lattice {
        writeln!(out, "lattice {}", lattice.size())?;
    }
    writeln!(out, "data")?;
    let code = |v: f64| {
        (v * f64::from(layout.scale))
            .round()
            .clamp(0.0, f64::from(most)) as u32
    };
    let mut rows = |rows: &[[f64; 3]]| -> io::Result<()> {
        for row in rows {
            let [r, g, b] = row.map(code);
            writeln!(out, "{r} {g} {b}")?;
        }
        Ok(())
    };
    rows(lut.curves.as_ref().map_or(&[], Lut1d::rows))?;
    match (&lut.lattice, layout.order) {
        (Some(lattice), NodeOrder::BlueFastest) => {
            rows(&crate::lut3d::with_ends_swapped(
                lattice.nodes(),
                lattice.size(),
            ))?;
        }
        (lattice, _) => rows(lattice.as_ref().map_or(&[], Lut3d::nodes))?,
    }
    Ok(())
}
