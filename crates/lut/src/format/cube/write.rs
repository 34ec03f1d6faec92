use std::fmt::Write as _;
use std::io::{self, Write};
use std::path::Path;

use evenstep_files::{WriteError, write_atomic};

use crate::error::all_finite;
use crate::format::lines::LONGEST_LINE;
use crate::{Lut, LutError};

/// Why a LUT was not written as a cube file.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CubeWriteError {
    /// The LUT holds neither curves nor a lattice.
    #[error("the LUT holds no table; a cube file needs curves or a lattice")]
    NoTable,
    /// A value is NaN or infinite.
    #[error("cannot write the LUT: {0}")]
    NotFinite(#[from] LutError),
    /// Curves before a lattice, and channels with different domains.
    #[error(
        "the domain of the {table} differs between channels; a cube file with curves and a lattice holds one range for all"
    )]
    ChannelDomains {
        /// curves or lattice.
        table: &'static str,
    },
    /// The file could not be written.
    #[error(transparent)]
    File(#[from] WriteError),
    /// The stream could not be written.
    #[error("cannot write the LUT: {0}")]
    Stream(#[from] io::Error),
}

/// Writes `lut` to `path` as cube text, whole or not at all; see [`write_to`] for what is written.
///
/// # Errors
/// [`CubeWriteError`]: the LUT does not fit the format, or the file cannot be written; an existing file is
/// replaced only with `force`.
pub fn write(lut: &Lut, path: &Path, force: bool) -> Result<(), CubeWriteError> {
    check(lut)?;
    write_atomic(path, force, |out| write_text(lut, out))?;
    Ok(())
}

/// Writes `lut` to `out` as cube text.
///
/// Reading it back gives the same numbers bit for bit. Domain lines stand only where the domain is not 0 to 1. In
/// the title, double quotes become single ones and control characters blanks, because the format has no escape; a
/// title too long for its line is cut.
///
/// # Errors
/// [`CubeWriteError`]: the LUT does not fit the format, or `out` refuses.
pub fn write_to(lut: &Lut, out: &mut dyn Write) -> Result<(), CubeWriteError> {
    check(lut)?;
    write_text(lut, out)?;
    Ok(())
}

type Domain = ([f64; 3], [f64; 3]);

const UNIT: Domain = ([0.0; 3], [1.0; 3]);

/// Size keyword, range keyword, size, domain and rows of one table.
struct Table<'a> {
    name: &'static str,
    size_keyword: &'static str,
    range_keyword: &'static str,
    size: usize,
    domain: Domain,
    rows: &'a [[f64; 3]],
}

fn tables(lut: &Lut) -> impl Iterator<Item = Table<'_>> {
    let curves = lut.curves.as_ref().map(|curves| Table {
        name: "curves",
        size_keyword: "LUT_1D_SIZE",
        range_keyword: "LUT_1D_INPUT_RANGE",
        size: curves.size(),
        domain: (curves.domain_min(), curves.domain_max()),
        rows: curves.rows(),
    });
    let lattice = lut.lattice.as_ref().map(|lattice| Table {
        name: "lattice",
        size_keyword: "LUT_3D_SIZE",
        range_keyword: "LUT_3D_INPUT_RANGE",
        size: lattice.size(),
        domain: (lattice.domain_min(), lattice.domain_max()),
        rows: lattice.nodes(),
    });
    curves.into_iter().chain(lattice)
}

fn check(lut: &Lut) -> Result<(), CubeWriteError> {
    let both = tables(lut).count() == 2;
    if tables(lut).next().is_none() {
        return Err(CubeWriteError::NoTable);
    }
    for table in tables(lut) {
        all_finite(table.rows)?;
        let (min, max) = table.domain;
        if both && (min != [min[0]; 3] || max != [max[0]; 3]) {
            return Err(CubeWriteError::ChannelDomains { table: table.name });
        }
    }
    Ok(())
}

fn write_text(lut: &Lut, out: &mut dyn Write) -> io::Result<()> {
    if let Some(title) = &lut.title {
        writeln!(out, "TITLE \"{}\"", written_title(title))?;
    }
    let both = lut.curves.is_some() && lut.lattice.is_some();
    for table in tables(lut) {
        writeln!(out, "{} {}", table.size_keyword, table.size)?;
        let (min, max) = table.domain;
        if same_bits(table.domain, UNIT) {
            continue;
        }
        if both {
            let range = format!("{} {}", number(min[0]), number(max[0]));
            writeln!(out, "{} {range}", table.range_keyword)?;
        } else {
            writeln!(out, "DOMAIN_MIN {}", row(min))?;
            writeln!(out, "DOMAIN_MAX {}", row(max))?;
        }
    }
    let mut text = String::new();
    for table in tables(lut) {
        for &values in table.rows {
            text.clear();
            push_row(&mut text, values);
            text.push('\n');
            out.write_all(text.as_bytes())?;
        }
    }
    Ok(())
}

fn same_bits(a: Domain, b: Domain) -> bool {
    let bits = |(min, max): Domain| (min.map(f64::to_bits), max.map(f64::to_bits));
    bits(a) == bits(b)
}

/// `title` without what the format cannot hold, cut to fit its line.
#[must_use]
pub fn written_title(title: &str) -> String {
    const ROOM: usize = LONGEST_LINE - "TITLE \"\"".len();
    let mut lawful = String::new();
    for c in title.chars() {
        let c = match c {
            '"' => '\'',
            c if c.is_ascii_control() => ' ',
            c => c,
        };
        if lawful.len() + c.len_utf8() > ROOM {
            break;
        }
        lawful.push(c);
    }
    lawful
}

fn row(values: [f64; 3]) -> String {
    let mut text = String::new();
    push_row(&mut text, values);
    text
}

pub(super) fn push_row(text: &mut String, values: [f64; 3]) {
    for (i, value) in values.into_iter().enumerate() {
        if i > 0 {
            text.push(' ');
        }
        push_number(text, value);
    }
}

fn number(value: f64) -> String {
    let mut text = String::new();
    push_number(&mut text, value);
    text
}

/// The shortest decimal that reads back as `value`. Exponents are used only where plain digits would not fit the
/// line, because some readers refuse them.
fn push_number(text: &mut String, value: f64) {
    const PLAIN: std::ops::Range<f64> = 1e-40..1e40;
    // Writing to a String cannot fail.
    let _ = if value == 0.0 || PLAIN.contains(&value.abs()) {
        write!(text, "{value}")
    } else {
        write!(text, "{value:e}")
    };
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Lut1d, Lut3d};

    fn text(lut: &Lut) -> String {
        let mut bytes = Vec::new();
        write_to(lut, &mut bytes).unwrap();
        String::from_utf8(bytes).unwrap()
    }

    #[test]
    fn a_plain_lattice_has_no_domain_lines() {
        let mut lut = Lut::from(Lut3d::identity(2));
        lut.title = Some("warm\n\"white\"".into());
        assert_eq!(
            text(&lut),
            "TITLE \"warm 'white'\"\nLUT_3D_SIZE 2\n0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n1 1 1\n"
        );
    }

    #[test]
    fn a_domain_is_written_channel_by_channel() {
        let curves = Lut1d::new(vec![[0.1, -0.0, 1e-9], [1e300, 1.0, 5e-324]])
            .unwrap()
            .with_domain([0.0, -0.5, 0.0], [1.0, 1.0, 2.0])
            .unwrap();
        assert_eq!(
            text(&curves.into()),
            "LUT_1D_SIZE 2\nDOMAIN_MIN 0 -0.5 0\nDOMAIN_MAX 1 1 2\n0.1 -0 0.000000001\n1e300 1 5e-324\n"
        );
    }

    #[test]
    fn curves_before_a_lattice_use_range_keywords() {
        let lut = Lut {
            title: None,
            curves: Some(Lut1d::identity(2)),
            lattice: Some(Lut3d::identity(2).with_domain([0.0; 3], [2.0; 3]).unwrap()),
        };
        assert!(text(&lut).starts_with(
            "LUT_1D_SIZE 2\nLUT_3D_SIZE 2\nLUT_3D_INPUT_RANGE 0 2\n0 0 0\n1 1 1\n0 0 0\n"
        ));
        let uneven = Lut {
            lattice: Some(
                Lut3d::identity(2)
                    .with_domain([0.0; 3], [1.0, 2.0, 1.0])
                    .unwrap(),
            ),
            ..lut
        };
        assert!(matches!(
            write_to(&uneven, &mut Vec::new()),
            Err(CubeWriteError::ChannelDomains { table: "lattice" })
        ));
    }

    #[test]
    fn what_no_reader_takes_is_not_written() {
        let mut broken = Lut3d::identity(2);
        broken.nodes_mut()[3][1] = f64::INFINITY;
        let refused = write_to(&broken.into(), &mut Vec::new());
        assert!(matches!(refused, Err(CubeWriteError::NotFinite(_))));
        let refused = write_to(&Lut::default(), &mut Vec::new());
        assert!(matches!(refused, Err(CubeWriteError::NoTable)));
    }

    #[test]
    fn the_longest_lines_fit_the_format() {
        let value = -1.234_567_890_123_456_7e-40;
        let lut = Lut {
            title: Some("é".repeat(400)),
            ..Lut3d::from_fn(2, |_| [value; 3])
                .with_domain([value; 3], [-value; 3])
                .unwrap()
                .into()
        };
        for line in text(&lut).lines() {
            assert!(line.len() <= LONGEST_LINE, "{} bytes: {line}", line.len());
        }
    }
}
