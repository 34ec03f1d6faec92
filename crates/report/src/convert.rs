use evenstep_convert::{Conversion, Difference, FileFormat};
use serde::Serialize;

use crate::json::pretty;
use crate::text::{labelled, three_digits, wrapped};

/// Name and version of the JSON of a conversion.
pub const CONVERT_SCHEMA: &str = "evenstep/convert/1";

#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    input: &'a str,
    output: &'a str,
    input_format: FileFormat,
    output_format: FileFormat,
    nodes: Option<usize>,
    curve_rows: Option<usize>,
    bits: Option<u8>,
    losses: Vec<String>,
    difference: &'a Difference,
    notes: &'a [String],
    why: crate::json::Why,
}

/// What a conversion was from and to, as the user named it.
#[derive(Clone, Copy, Debug)]
pub struct ConvertNames<'a> {
    /// The input.
    pub input: &'a str,
    /// The output.
    pub output: &'a str,
    /// What the input was.
    pub from: FileFormat,
}

/// The JSON of a conversion, schema [`CONVERT_SCHEMA`]; `notes` are those of reading.
#[must_use]
pub fn convert_json(names: ConvertNames<'_>, done: &Conversion, notes: &[String]) -> String {
    let mut why = crate::json::Why::new();
    if done.nodes().is_none() {
        why.insert("nodes", "the output holds no lattice");
    }
    if done.rows().is_none() {
        why.insert(
            "curve_rows",
            "the output holds no curves, or a chain of which they are a part",
        );
    }
    if done.bits.is_none() {
        why.insert("bits", "the numbers are not rounded to codes");
    }
    pretty(&Document {
        schema: CONVERT_SCHEMA,
        input: names.input,
        output: names.output,
        input_format: names.from,
        output_format: done.format,
        nodes: done.nodes(),
        curve_rows: done.rows(),
        bits: done.bits.map(evenstep_lut::BitDepth::bits),
        losses: done.losses.iter().map(ToString::to_string).collect(),
        difference: &done.difference,
        notes,
        why,
    })
}

/// A conversion for a calibrator to read: what was made of what, what was lost, how far apart both are.
#[must_use]
pub fn convert_text(names: ConvertNames<'_>, done: &Conversion) -> String {
    let mut text = wrapped(
        "",
        "  ",
        &format!(
            "{} ({}) to {} ({})",
            names.input, names.from, names.output, done.format
        ),
    );
    text.push('\n');
    let mut holds = Vec::new();
    if let Some(rows) = done.rows() {
        holds.push(format!("curves of {rows} rows"));
    }
    if let Some(nodes) = done.nodes() {
        holds.push(format!("a lattice of {nodes} nodes along each axis"));
    }
    if holds.is_empty() {
        holds.push("a chain of operations".to_owned());
    }
    let codes = match done.bits {
        Some(bits) => format!(", codes of {} bits", bits.bits()),
        None => ", numbers not rounded".to_owned(),
    };
    text += &labelled("Holds", &format!("{}{codes}", holds.join(" and ")));
    for loss in &done.losses {
        text += &labelled("Lost", &loss.to_string());
    }
    if done.losses.is_empty() {
        text += &labelled("Lost", "nothing");
    }
    let Difference {
        largest,
        at: [r, g, b],
        rms,
        largest_grey,
        signals,
    } = done.difference;
    let how = if largest == 0.0 {
        format!("none on {signals} signals of 0 to 1")
    } else {
        format!(
            "largest {} of drive at signal ({r:.3}, {g:.3}, {b:.3}), on greys {}, RMS {}, over {signals} signals of 0 to 1",
            three_digits(largest),
            three_digits(largest_grey),
            three_digits(rms)
        )
    };
    text += &labelled("Difference", &how);
    text
}
