use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use clap::Args;
use evenstep::convert::{Content, ConvertOptions, FileFormat, Loaded, convert, read, read_lut};
use evenstep::files::write_together;
use evenstep::lut::format::table::NodeOrder;
use evenstep::lut::{BitDepth, Evaluation, Lut1d};
use evenstep::report::{ConvertNames, convert_json, convert_text};

use crate::options::{CommonArgs, JsonArg};
use crate::ui::{Ui, print};
use crate::{Outcome, output};

const EXAMPLE: &str = "\
Example, a LUT for a device that reads a picture of 8 bits:
  evenstep convert correction.cube -o correction.png --nodes 64 --bits 8

Formats by the ending of the output: .cube cube text; .clf Common LUT Format; .png, .tif a lattice
as the pixels of a square picture; .table integer table. An input is known by its content.";

/// Turn a LUT file into one of another format
///
/// Reads cube text, the Common LUT Format of both editions, lattices as pictures and integer tables, and
/// writes any of them. What the output cannot hold as the input did is said before it is written, and
/// how far both lie apart is measured: nothing is lost in silence. A chain of operations that is more
/// than curves and a lattice is sampled; into its own format it passes as it is.
#[derive(Args, Debug)]
#[command(after_help = EXAMPLE)]
pub(crate) struct ConvertArgs {
    /// The LUT to convert
    #[arg(value_name = "LUT")]
    input: PathBuf,
    /// The LUT to write
    #[arg(short = 'o', long = "out", value_name = "LUT")]
    out: PathBuf,
    /// Nodes along each axis of the lattice, 2 to 256; a picture holds 4, 9, 16, 25 … 256. Those of the
    /// input if not given, or the next that a picture holds
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(2..=256))]
    nodes: Option<u16>,
    /// Round values to codes of this many bits: 8 to 16; a picture holds 8 or 16 (16 if not given), the
    /// Common LUT Format 8, 10, 12 or 16, an integer table any (12 if not given). Cube text and the
    /// Common LUT Format keep every digit if not given
    #[arg(long, value_name = "BITS", value_parser = clap::value_parser!(u8).range(8..=16))]
    bits: Option<u8>,
    /// Which index runs fastest in an integer table
    #[arg(long, value_name = "red-fastest|blue-fastest", value_parser = order)]
    order: Option<NodeOrder>,
    /// Put the curves of this LUT before the lattice
    #[arg(long, value_name = "LUT")]
    shaper_in: Option<PathBuf>,
    /// Take the curves before the lattice off and write them here; the output holds the lattice alone
    #[arg(long, value_name = "LUT")]
    shaper_out: Option<PathBuf>,
    /// How the input is read between its nodes where it is sampled, and both where they are compared; as the
    /// input asks for if not given, or tetrahedral where it does not. An output in the Common LUT Format asks
    /// for this unless the input asks for something itself
    #[arg(long, value_name = "tetrahedral|trilinear|weights:BITS")]
    evaluate: Option<Evaluation>,
    #[command(flatten)]
    json: JsonArg,
    #[command(flatten)]
    common: CommonArgs,
}

fn order(text: &str) -> Result<NodeOrder, String> {
    NodeOrder::ALL
        .into_iter()
        .find(|o| o.name() == text)
        .ok_or_else(|| format!("{text:?} is no order; use red-fastest or blue-fastest"))
}

pub(crate) fn run(args: &ConvertArgs) -> anyhow::Result<Outcome> {
    let ui = Ui::new(args.common.quiet);
    let format = FileFormat::of_name(&args.out)?;
    let shaper_format = args
        .shaper_out
        .as_deref()
        .map(FileFormat::of_name)
        .transpose()?;
    let outputs: Vec<&Path> = [
        Some(&args.out),
        args.shaper_out.as_ref(),
        args.json.json.as_ref(),
    ]
    .into_iter()
    .flatten()
    .map(PathBuf::as_path)
    .collect();
    output::check(&outputs, args.common.force)?;
    let inputs: Vec<&Path> = [Some(&args.input), args.shaper_in.as_ref()]
        .into_iter()
        .flatten()
        .map(PathBuf::as_path)
        .collect();
    output::spare(&inputs, &outputs)?;

    let Loaded {
        format: from,
        mut content,
        notes,
        ..
    } = read(&args.input)?;
    ui.notes(&notes);
    let name = args.input.display().to_string();
    if let Some(path) = &args.shaper_in {
        let shaper = curves(path, ui)?;
        content = content.with_shaper(shaper).with_context(|| name.clone())?;
    }
    let mut shaper = None;
    if args.shaper_out.is_some() {
        let (curves, rest) = content.without_shaper().with_context(|| name.clone())?;
        (shaper, content) = (Some(Content::Lut(curves)), rest);
    }
    let options = |format| ConvertOptions {
        format,
        nodes: None,
        bits: args.bits.and_then(BitDepth::new),
        order: None,
        evaluation: args.evaluate,
    };
    let done = convert(
        &content,
        &ConvertOptions {
            nodes: args.nodes.map(usize::from),
            order: args.order,
            ..options(format)
        },
    )
    .with_context(|| name.clone())?;
    for loss in &done.losses {
        ui.note(format_args!("{}: {loss}", args.out.display()));
    }
    // Both take their names when both are complete: a lattice without its shaper is another correction.
    let mut files: Vec<(&Path, Vec<u8>)> = Vec::new();
    if let (Some(shaper), Some(path), Some(format)) = (&shaper, &args.shaper_out, shaper_format) {
        let curves = convert(shaper, &options(format)).with_context(|| name.clone())?;
        for loss in &curves.losses {
            ui.note(format_args!("{}: {loss}", path.display()));
        }
        files.push((path, curves.file(path)?));
    }
    files.push((&args.out, done.file(&args.out)?));
    let files: Vec<_> = files
        .iter()
        .map(|(path, file)| (*path, &file[..]))
        .collect();
    write_together(&files, args.common.force)?;
    let out = args.out.display().to_string();
    let names = ConvertNames {
        input: &name,
        output: &out,
        from,
    };
    if let Some(path) = &args.json.json {
        output::write(&convert_json(names, &done, &notes), path, args.common.force)?;
    }
    if !args.json.is_stdout() {
        print(&convert_text(names, &done))?;
    }
    Ok(Outcome::Done)
}

/// The curves of a LUT that holds nothing else.
fn curves(path: &Path, ui: Ui) -> anyhow::Result<Lut1d> {
    let (lut, notes) = read_lut(path)?;
    ui.notes(&notes);
    match (lut.curves, lut.lattice) {
        (Some(curves), None) => Ok(curves),
        _ => bail!(
            "{}: a shaper is curves alone; name a LUT without a lattice",
            path.display()
        ),
    }
}
