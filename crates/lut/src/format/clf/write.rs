use std::io::{self, Write};
use std::path::Path;

use evenstep_files::{WriteError, write_atomic};

use super::{SMPTE_NAMESPACE, writable};
use crate::lut3d::with_ends_swapped;
use crate::process::{
    Cdl, CdlStyle, Exponent, ExponentStyle, HalfCurves, Log, LogStyle, Matrix, Operation,
    ProcessList, Range,
};
use crate::{BitDepth, Evaluation, Lut, LutError};

/// Why a LUT was not written as a Common LUT Format file.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ClfWriteError {
    /// Nothing to write.
    #[error("the LUT holds no table; a CLF file needs at least one process node")]
    NoTable,
    /// A value is NaN or infinite.
    #[error("cannot write the LUT: {0}")]
    NotFinite(#[from] LutError),
    /// A number of an operation is infinite or NaN, or becomes so in the scale of the depth.
    #[error(
        "cannot write the LUT: a number of {operation} is not finite, or not at this depth; correct it or write no codes"
    )]
    Number {
        /// The operation's element.
        operation: &'static str,
    },
    /// Channels that the format has one word for go different ways.
    #[error(
        "cannot write the LUT: {operation} goes another way for each channel, and has one style for all; split it"
    )]
    Channels {
        /// The operation's element.
        operation: &'static str,
    },
    /// A depth the format does not have.
    #[error("a CLF file holds codes of 8, 10, 12 or 16 bits, not {bits}; use one of these")]
    Depth {
        /// Bits asked for.
        bits: u8,
    },
    /// The file could not be written.
    #[error(transparent)]
    File(#[from] WriteError),
    /// The stream could not be written.
    #[error("cannot write the LUT: {0}")]
    Stream(#[from] io::Error),
}

/// Writes `lut` to `path`, whole or not at all; see [`write_list_to`] for what is written.
///
/// # Errors
/// [`ClfWriteError`]: the LUT does not fit the format, or the file cannot be written.
pub fn write(
    lut: &Lut,
    how: Evaluation,
    depth: Option<BitDepth>,
    path: &Path,
    force: bool,
) -> Result<(), ClfWriteError> {
    let mut text = Vec::new();
    write_to(lut, how, depth, &mut text)?;
    write_atomic(path, force, |out| out.write_all(&text))?;
    Ok(())
}

/// Writes `lut` to `out`; `how` is the reading between nodes that the file asks for.
///
/// # Errors
/// [`ClfWriteError`]: the LUT does not fit the format, or `out` refuses.
pub fn write_to(
    lut: &Lut,
    how: Evaluation,
    depth: Option<BitDepth>,
    out: &mut dyn Write,
) -> Result<(), ClfWriteError> {
    writable::tables(lut)?;
    write_list_to(&ProcessList::of_lut(lut, how), depth, out)
}

/// Writes `list` to `out`, in the namespace of SMPTE ST 2136-1:2024 and with the attributes of either edition.
///
/// Without a depth all numbers are normalised floats and read back bit for bit. With one, the numbers that come out of
/// each table are whole codes of that depth, rounded; an `id` that is missing is made from the numbers. Curves with an
/// input map of version 2 become curves over the half-float numbers, exact at those. Names are cut to what a tag that is
/// read holds, see [`written_name`].
///
/// # Errors
/// [`ClfWriteError`]: the list is empty, the depth is not one of the format's, a number would not be finite, channels
/// differ in what the format says once, or `out` refuses.
pub fn write_list_to(
    list: &ProcessList,
    depth: Option<BitDepth>,
    out: &mut dyn Write,
) -> Result<(), ClfWriteError> {
    let bits = depth.map(BitDepth::bits);
    if let Some(bits) = bits
        && !matches!(bits, 8 | 10 | 12 | 16)
    {
        return Err(ClfWriteError::Depth { bits });
    }
    if list.nodes.is_empty() {
        return Err(ClfWriteError::NoTable);
    }
    writable::operations(list, depth)?;
    let id = list.id.as_deref().map(attribute);
    let id = id
        .filter(|id| !id.trim().is_empty())
        .unwrap_or_else(|| format!("evenstep-{:016x}", fingerprint(list)));
    writeln!(out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>")?;
    write!(
        out,
        "<ProcessList xmlns=\"{SMPTE_NAMESPACE}\" compCLFversion=\"3.0\" id=\"{id}\""
    )?;
    for (name, value) in [("name", &list.name), ("inverseOf", &list.inverse_of)] {
        if let Some(value) = value {
            write!(out, " {name}=\"{}\"", attribute(value))?;
        }
    }
    writeln!(out, ">")?;
    for (name, texts) in [
        ("Description", &list.descriptions),
        ("InputDescriptor", &list.input),
        ("OutputDescriptor", &list.output),
    ] {
        for text in texts {
            writeln!(out, "  {}", element(name, text))?;
        }
    }
    if !list.info.is_empty() {
        writeln!(out, "  <Info>")?;
        for (name, text) in &list.info {
            writeln!(out, "    {}", element(name, text))?;
        }
        writeln!(out, "  </Info>")?;
    }
    let mut input = "32f".to_owned();
    for node in &list.nodes {
        let is_table = matches!(
            node.operation,
            Operation::Curves(_) | Operation::Lattice { .. }
        );
        let codes = depth.filter(|_| is_table);
        let output = codes.map_or_else(|| "32f".to_owned(), |d| format!("{}i", d.bits()));
        let mut head = format!(
            "{} inBitDepth=\"{input}\" outBitDepth=\"{output}\"",
            node.operation.name()
        );
        if let Some(name) = &node.name {
            head += &format!(" name=\"{}\"", attribute(name));
        }
        // What is not a table says its numbers in the scale of its input.
        let scale = depth
            .filter(|_| input != "32f")
            .map_or(1.0, |d| f64::from(d.largest_code()));
        Body {
            out,
            descriptions: &node.descriptions,
        }
        .operation(&node.operation, &head, scale, codes)?;
        input = output;
    }
    writeln!(out, "</ProcessList>")?;
    Ok(())
}

struct Body<'a> {
    out: &'a mut dyn Write,
    descriptions: &'a [String],
}

impl Body<'_> {
    /// `input` is the scale of the node's input; its output is normalised unless it is a table of `codes`.
    fn operation(
        &mut self,
        operation: &Operation,
        head: &str,
        input: f64,
        codes: Option<BitDepth>,
    ) -> io::Result<()> {
        match operation {
            Operation::Curves(curves) => {
                self.open(&format!("{head} interpolation=\"linear\""))?;
                self.rows(curves.rows(), &format!("{} 3", curves.size()), codes)?;
            }
            Operation::HalfCurves(curves) => self.half_curves(curves, head)?,
            // The format has no other uneven curves since version 3.
            Operation::MappedCurves(curves) => {
                let sampled = HalfCurves::sampled(|v| curves.sample([v; 3]));
                self.half_curves(&sampled, head)?;
            }
            Operation::Lattice {
                lattice,
                evaluation,
            } => {
                let how = match evaluation {
                    Evaluation::Trilinear => "trilinear",
                    Evaluation::Tetrahedral | Evaluation::Weights { .. } => "tetrahedral",
                };
                self.open(&format!("{head} interpolation=\"{how}\""))?;
                let size = lattice.size();
                let nodes = with_ends_swapped(lattice.nodes(), size);
                self.rows(&nodes, &format!("{size} {size} {size} 3"), codes)?;
            }
            Operation::Matrix(matrix) => self.matrix(matrix, head, input)?,
            Operation::Range(range) => self.range(range, head, input)?,
            Operation::Log(logs) => self.log(logs, head)?,
            Operation::Exponent(powers) => self.exponent(powers, head)?,
            Operation::Cdl(cdl) => self.cdl(cdl, head)?,
        }
        writeln!(self.out, "  </{}>", operation.name())
    }

    fn open(&mut self, head: &str) -> io::Result<()> {
        writeln!(self.out, "  <{head}>")?;
        for text in self.descriptions {
            writeln!(self.out, "    {}", element("Description", text))?;
        }
        Ok(())
    }

    fn rows(&mut self, rows: &[[f64; 3]], dim: &str, codes: Option<BitDepth>) -> io::Result<()> {
        writeln!(self.out, "    <Array dim=\"{dim}\">")?;
        for [r, g, b] in rows {
            match codes.map(|depth| f64::from(depth.largest_code())) {
                // Codes beyond the depth are lawful and stay.
                Some(top) => {
                    let code = |v: f64| (v * top).round() + 0.0;
                    writeln!(self.out, "{} {} {}", code(*r), code(*g), code(*b))?;
                }
                None => writeln!(self.out, "{} {} {}", Number(*r), Number(*g), Number(*b))?,
            }
        }
        writeln!(self.out, "    </Array>")
    }

    fn half_curves(&mut self, curves: &HalfCurves, head: &str) -> io::Result<()> {
        let raw = curves.are_halfs();
        let raw_halfs = if raw { " rawHalfs=\"true\"" } else { "" };
        self.open(&format!("{head} halfDomain=\"true\"{raw_halfs}"))?;
        writeln!(self.out, "    <Array dim=\"{} 3\">", HalfCurves::SIZE)?;
        for row in curves.rows() {
            let [r, g, b] = row.map(|v| {
                if raw {
                    half::f16::from_f64(v).to_bits().to_string()
                } else {
                    Number(v).to_string()
                }
            });
            writeln!(self.out, "{r} {g} {b}")?;
        }
        writeln!(self.out, "    </Array>")
    }

    fn matrix(&mut self, matrix: &Matrix, head: &str, input: f64) -> io::Result<()> {
        self.open(head)?;
        writeln!(self.out, "    <Array dim=\"3 4\">")?;
        for row in matrix.rows {
            let [r, g, b] = [0, 1, 2].map(|c| Number(row[c] / input));
            writeln!(self.out, "{r} {g} {b} {}", Number(row[3]))?;
        }
        writeln!(self.out, "    </Array>")
    }

    fn range(&mut self, range: &Range, head: &str, input: f64) -> io::Result<()> {
        let style = if range.clamps { "Clamp" } else { "noClamp" };
        self.open(&format!("{head} style=\"{style}\""))?;
        for (end, pair) in [("min", range.low), ("max", range.high)] {
            if let Some([at, out]) = pair {
                writeln!(
                    self.out,
                    "    <{end}InValue>{}</{end}InValue>",
                    Number(at * input)
                )?;
                writeln!(
                    self.out,
                    "    <{end}OutValue>{}</{end}OutValue>",
                    Number(out)
                )?;
            }
        }
        Ok(())
    }

    fn log(&mut self, logs: &[Log; 3], head: &str) -> io::Result<()> {
        let style = match (logs[0].style, logs[0].camera) {
            (LogStyle::LinToLog, None) => "linToLog",
            (LogStyle::LogToLin, None) => "logToLin",
            (LogStyle::LinToLog, Some(_)) => "cameraLinToLog",
            (LogStyle::LogToLin, Some(_)) => "cameraLogToLin",
        };
        self.open(&format!("{head} style=\"{style}\""))?;
        for (log, channel) in logs.iter().zip(["R", "G", "B"]) {
            write!(
                self.out,
                "    <LogParams channel=\"{channel}\" base=\"{}\"",
                Number(log.base)
            )?;
            for (name, value) in [
                ("logSideSlope", Some(log.log_slope)),
                ("logSideOffset", Some(log.log_offset)),
                ("linSideSlope", Some(log.lin_slope)),
                ("linSideOffset", Some(log.lin_offset)),
                ("linSideBreak", log.camera.map(|c| c.lin_break)),
                ("linearSlope", log.camera.and_then(|c| c.linear_slope)),
            ] {
                if let Some(value) = value {
                    write!(self.out, " {name}=\"{}\"", Number(value))?;
                }
            }
            writeln!(self.out, "/>")?;
        }
        Ok(())
    }

    fn exponent(&mut self, powers: &[Exponent; 3], head: &str) -> io::Result<()> {
        let style = match powers[0].style {
            ExponentStyle::Basic => "basic",
            ExponentStyle::BasicMirror => "basicMirror",
            ExponentStyle::BasicPassThrough => "basicPassThru",
            ExponentStyle::MonCurve => "monCurve",
            ExponentStyle::MonCurveMirror => "monCurveMirror",
        };
        let has_line = matches!(
            powers[0].style,
            ExponentStyle::MonCurve | ExponentStyle::MonCurveMirror
        );
        let way = if powers[0].is_reverse { "Rev" } else { "Fwd" };
        self.open(&format!("{head} style=\"{style}{way}\""))?;
        for (power, channel) in powers.iter().zip(["R", "G", "B"]) {
            let exponent = Number(power.exponent);
            write!(
                self.out,
                "    <ExponentParams channel=\"{channel}\" exponent=\"{exponent}\""
            )?;
            if has_line {
                write!(self.out, " offset=\"{}\"", Number(power.offset))?;
            }
            writeln!(self.out, "/>")?;
        }
        Ok(())
    }

    fn cdl(&mut self, cdl: &Cdl, head: &str) -> io::Result<()> {
        let style = match cdl.style {
            CdlStyle::Forward => "Fwd",
            CdlStyle::Reverse => "Rev",
            CdlStyle::ForwardNoClamp => "FwdNoClamp",
            CdlStyle::ReverseNoClamp => "RevNoClamp",
        };
        self.open(&format!("{head} style=\"{style}\""))?;
        writeln!(self.out, "    <SOPNode>")?;
        for (name, [r, g, b]) in [
            ("Slope", cdl.slope),
            ("Offset", cdl.offset),
            ("Power", cdl.power),
        ] {
            writeln!(
                self.out,
                "      <{name}>{} {} {}</{name}>",
                Number(r),
                Number(g),
                Number(b)
            )?;
        }
        writeln!(self.out, "    </SOPNode>")?;
        let saturation = Number(cdl.saturation);
        writeln!(
            self.out,
            "    <SatNode><Saturation>{saturation}</Saturation></SatNode>"
        )
    }
}

/// The shortest decimal that reads back as the same number, with an exponent where plain digits would be many.
struct Number(f64);

impl std::fmt::Display for Number {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        const PLAIN: std::ops::Range<f64> = 1e-7..1e17;
        if self.0 == 0.0 || PLAIN.contains(&self.0.abs()) {
            write!(f, "{}", self.0)
        } else {
            write!(f, "{:e}", self.0)
        }
    }
}

/// Bytes of a name as it is written: with three of them, the tag of a list stays below the longest that is read.
const LONGEST_NAME: usize = 1200;

/// `name` as a file holds it: without the characters that XML has no place for, and cut where it is longer than 1200
/// bytes once written.
#[must_use]
pub fn written_name(name: &str) -> String {
    let mut room = LONGEST_NAME;
    let fits = |c: &char| {
        let needs = entity(*c).map_or(c.len_utf8(), str::len);
        let left = room.checked_sub(needs);
        room = left.unwrap_or(0);
        left.is_some()
    };
    name.chars().map(held).take_while(fits).collect()
}

fn attribute(name: &str) -> String {
    escaped(&written_name(name))
}

/// An element of text alone. One tag where there is none: a file that was read must not grow beyond what is read.
fn element(name: &str, text: &str) -> String {
    if text.is_empty() {
        format!("<{name}/>")
    } else {
        format!("<{name}>{}</{name}>", escaped(text))
    }
}

/// `text` as XML holds it, in attributes and elements.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars().map(held) {
        match entity(c) {
            Some(entity) => out.push_str(entity),
            None => out.push(c),
        }
    }
    out
}

/// A blank for what XML cannot hold, or holds as a blank in attributes [XML 1.0, 2.2 and 3.3.3].
fn held(c: char) -> char {
    if c < ' ' || matches!(c, '\u{FFFE}' | '\u{FFFF}') {
        ' '
    } else {
        c
    }
}

fn entity(c: char) -> Option<&'static str> {
    Some(match c {
        '&' => "&amp;",
        '<' => "&lt;",
        '>' => "&gt;",
        '"' => "&quot;",
        _ => return None,
    })
}

/// A name made from all numbers of the tables, by the 64-bit FNV-1a hash: equal tables get equal names.
///
/// # Source
/// Fowler, Noll, Vo: the FNV non-cryptographic hash algorithm, IETF draft-eastlake-fnv (offset basis and prime).
fn fingerprint(list: &ProcessList) -> u64 {
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    let mut take = |bytes: &[u8]| {
        for byte in bytes {
            hash = (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    };
    for node in &list.nodes {
        take(node.operation.name().as_bytes());
        let rows: &[[f64; 3]] = match &node.operation {
            Operation::Curves(curves) => curves.rows(),
            Operation::HalfCurves(curves) => curves.rows(),
            Operation::Lattice { lattice, .. } => lattice.nodes(),
            other => {
                take(format!("{other:?}").as_bytes());
                &[]
            }
        };
        for value in rows.iter().flatten() {
            take(&value.to_bits().to_le_bytes());
        }
    }
    hash
}
