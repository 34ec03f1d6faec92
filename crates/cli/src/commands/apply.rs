use std::path::{Path, PathBuf};

use anyhow::Context as _;
use clap::Args;
use evenstep::apply::{ApplyError, ApplyOptions, ApplyReport, Dither, apply};
use evenstep::convert::read_lut;
use evenstep::files::AtomicFile;
use evenstep::lut::{Evaluation, Lut};
use evenstep::picture::{Depth, Format, Reader};
use evenstep::report::{ApplyNames, apply_json, apply_text};

use crate::options::{CommonArgs, JsonArg, ThreadsArg, bits};
use crate::ui::{Ui, print};
use crate::{Outcome, output};

const EXAMPLE: &str = "\
Example, what a panel will be sent for a still at 8 bits:
  evenstep apply correction.cube still.png -o corrected.png --dither blue-noise

A picture that has gone through a correction is for a panel without it: where the LUT is loaded too,
the correction acts twice.";

/// Pass a picture through a LUT
///
/// Reads a PNG or TIFF, takes each sample as a signal at full range, and writes the drives that the LUT
/// gives for it. The end of the output's name says its format. Alpha stays as it is. What the file says
/// about its colours (ICC profile, code points, gamma) is neither used nor changed; it goes along where
/// the format has a place for it. Greys and palettes become RGB. Rows are read and written in bands, so
/// that memory does not grow with the picture.
///
/// Rounding to few bits makes steps that are not the LUT's. With --dither blue-noise each drive becomes
/// one of the two nearest codes by a fixed array of 64 x 64 thresholds, so that the mean is kept.
#[derive(Args, Debug)]
#[command(after_help = EXAMPLE)]
pub(crate) struct ApplyArgs {
    /// The LUT: cube text, Common LUT Format, picture lattice or integer table
    #[arg(value_name = "LUT")]
    lut: PathBuf,
    /// The picture to read, PNG or TIFF at 8 or 16 bits
    #[arg(value_name = "IMAGE")]
    image: PathBuf,
    /// The picture to write, its name ending in .png, .tif or .tiff
    #[arg(short = 'o', long = "out", value_name = "IMAGE")]
    out: PathBuf,
    /// How the LUT is read between nodes; weights:BITS is tetrahedral with the position in the cell
    /// rounded, as hardware does
    #[arg(
        long,
        value_name = "tetrahedral|trilinear|weights:BITS",
        default_value = "tetrahedral"
    )]
    evaluate: Evaluation,
    /// How drives become codes: to the nearest, or by an array of thresholds
    #[arg(long, value_name = "none|blue-noise", default_value = "none")]
    dither: Dither,
    /// Bits of the output; those of the input if not given
    #[arg(long, value_name = "8|16", value_parser = bits)]
    bits: Option<Depth>,
    #[command(flatten)]
    json: JsonArg,
    #[command(flatten)]
    threads: ThreadsArg,
    #[command(flatten)]
    common: CommonArgs,
}

pub(crate) fn run(args: &ApplyArgs) -> anyhow::Result<Outcome> {
    let ui = Ui::new(args.common.quiet);
    let options = ApplyOptions {
        evaluation: args.evaluate,
        dither: args.dither,
        depth: args.bits,
        format: Format::from_name(&args.out)?,
    };
    let outputs: Vec<&Path> = std::iter::once(&args.out)
        .chain(&args.json.json)
        .map(PathBuf::as_path)
        .collect();
    output::check(&outputs, args.common.force)?;
    output::spare(&[&args.lut, &args.image], &outputs)?;
    let (lut, notes) = read_lut(&args.lut)?;
    ui.notes(&notes);
    let report = args.threads.run(|| passed(args, &lut, options, ui))?;
    let names = [&args.lut, &args.image, &args.out].map(|path| path.display().to_string());
    let names = ApplyNames {
        lut: &names[0],
        image: &names[1],
        out: &names[2],
    };
    if let Some(path) = &args.json.json {
        output::write(
            &apply_json(names, &options, &report),
            path,
            args.common.force,
        )?;
    }
    if !args.json.is_stdout() {
        print(&apply_text(names, &options, &report))?;
    }
    Ok(Outcome::Done)
}

fn passed(
    args: &ApplyArgs,
    lut: &Lut,
    options: ApplyOptions,
    ui: Ui,
) -> anyhow::Result<ApplyReport> {
    let mut picture = Reader::open(&args.image)?;
    let mut file = AtomicFile::create(&args.out, args.common.force)?;
    let progress = ui.progress("rows");
    let report = apply(lut, &mut picture, &mut file, options, &|done, all| {
        progress.at(done, all);
    });
    drop(progress);
    let report = match report {
        Err(ApplyError::Write(source)) => {
            return Err(source)
                .with_context(|| format!("{}: cannot be written", args.out.display()));
        }
        read => read?,
    };
    file.commit()?;
    Ok(report)
}
