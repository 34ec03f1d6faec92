use evenstep_apply::{ApplyOptions, ApplyReport};
use serde::Serialize;

use crate::json::pretty;
use crate::text::{labelled, three_digits, wrapped};

/// Name and version of the JSON of a picture passed through a LUT.
pub const APPLY_SCHEMA: &str = "evenstep/apply/1";

/// The names that the user gave.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct ApplyNames<'a> {
    /// The LUT.
    pub lut: &'a str,
    /// The picture read.
    pub image: &'a str,
    /// The picture written.
    pub out: &'a str,
}

#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    #[serde(flatten)]
    names: ApplyNames<'a>,
    width: u32,
    height: u32,
    bits_in: u8,
    bits_out: u8,
    evaluation: String,
    dither: String,
    pixels: u64,
    pixels_changed: u64,
    largest_change_codes: u16,
    tags_lost: &'a [&'static str],
}

/// The JSON of a picture passed through a LUT, schema [`APPLY_SCHEMA`].
#[must_use]
pub fn apply_json(names: ApplyNames<'_>, options: &ApplyOptions, report: &ApplyReport) -> String {
    pretty(&Document {
        schema: APPLY_SCHEMA,
        names,
        width: report.width,
        height: report.height,
        bits_in: report.bits[0],
        bits_out: report.bits[1],
        evaluation: options.evaluation.to_string(),
        dither: options.dither.to_string(),
        pixels: pixels(report),
        pixels_changed: report.pixels_changed,
        largest_change_codes: report.largest_change,
        tags_lost: &report.tags_lost,
    })
}

/// The same for a calibrator to read.
#[must_use]
pub fn apply_text(names: ApplyNames<'_>, options: &ApplyOptions, report: &ApplyReport) -> String {
    let [from, to] = report.bits;
    let mut text = wrapped(
        "",
        "  ",
        &format!("{}: {} through {}", names.out, names.image, names.lut),
    );
    text.push('\n');
    text += &labelled(
        "Picture",
        &format!(
            "{} x {} pixels, {from} bits in, {to} bits out",
            report.width, report.height
        ),
    );
    text += &labelled(
        "LUT read",
        &format!("{}; dither {}", options.evaluation, options.dither),
    );
    let share = 100.0 * report.pixels_changed as f64 / pixels(report) as f64;
    let largest = (1_u32 << to) - 1;
    text += &labelled(
        "Changed",
        &format!(
            "{} % of the pixels, the largest change {} of {largest} codes",
            three_digits(share),
            report.largest_change
        ),
    );
    if !report.tags_lost.is_empty() {
        text += &labelled(
            "Not kept",
            &format!(
                "{}: no place for it in the output",
                report.tags_lost.join(", ")
            ),
        );
    }
    text
}

fn pixels(report: &ApplyReport) -> u64 {
    u64::from(report.width) * u64::from(report.height)
}
