use std::path::{Path, PathBuf};

use anyhow::Context as _;
use clap::{Args, ValueEnum};
use evenstep::apply::RampPicture;
use evenstep::convert::read_lut;
use evenstep::files::AtomicFile;
use evenstep::lut::{Evaluation, PackedLut};
use evenstep::picture::{Depth, Format};

use crate::options::{CommonArgs, bits};
use crate::ui::{Ui, print};
use crate::{Outcome, output};

const EXAMPLE: &str = "\
Example, pictures for the eye to compare, without and with a correction:
  evenstep ramps -o ramps --through correction.cube

Caution: still, bright pictures can leave marks on self-emissive panels. Show each for a minute or
two, then something dark or moving. No picture flashes; do not make them flash by changing quickly
between them. What the maker of the panel says comes first.";

const CAUTION: &str = "\
Caution: still, bright pictures can leave marks on self-emissive panels. Show each for a minute or
two, then something dark or moving, and do not change quickly between them: large fields that flash
can harm viewers. What the maker of the panel says comes first.
";

/// Draw ramps to look at on a panel
///
/// Writes pictures of the ramps that an audit walks: neutral, red, green, blue and their mixtures, skin,
/// sky and foliage, each rising to the right and, below, to the left; near black, where steps are seen
/// first; and all ten together. Samples are the nearest codes on straight lines of the signal, without
/// dither, so that steps on the panel are the panel's and the correction's.
///
/// With --through each picture gets a twin whose name ends in -through: what the panel is sent when the
/// LUT is loaded. Show the twins on a panel without the LUT; with it, the correction would act twice.
#[derive(Args, Debug)]
#[command(after_help = EXAMPLE)]
pub(crate) struct RampsArgs {
    /// Folder for the pictures; made if it is not there
    #[arg(short = 'o', long = "out", value_name = "DIR")]
    out: PathBuf,
    /// Draw a twin of each picture as it leaves this LUT: cube text, Common LUT Format, picture lattice or
    /// integer table
    #[arg(long, value_name = "LUT")]
    through: Option<PathBuf>,
    /// How the LUT is read between nodes; weights:BITS is tetrahedral with the position in the cell
    /// rounded, as hardware does
    #[arg(
        long,
        value_name = "tetrahedral|trilinear|weights:BITS",
        default_value = "tetrahedral"
    )]
    evaluate: Evaluation,
    /// Bits of a sample
    #[arg(long, value_name = "8|16", default_value = "16", value_parser = bits)]
    bits: Depth,
    /// Format of the files
    #[arg(
        long,
        value_enum,
        value_name = "png|tiff",
        default_value_t = Kind::Png,
        hide_possible_values = true
    )]
    format: Kind,
    /// Pixels of the panel, so that no sample is scaled
    #[arg(long, value_name = "WIDTHxHEIGHT", default_value = "1920x1080", value_parser = size)]
    size: (u32, u32),
    #[command(flatten)]
    common: CommonArgs,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Kind {
    Png,
    Tiff,
}

fn size(text: &str) -> Result<(u32, u32), String> {
    let (width, height) = text
        .split_once('x')
        .and_then(|(w, h)| Some((w.parse().ok()?, h.parse().ok()?)))
        .ok_or_else(|| format!("{text:?} is no size; write pixels such as 3840x2160"))?;
    RampPicture::check_size(width, height).map_err(|e| e.to_string())?;
    Ok((width, height))
}

pub(crate) fn run(args: &RampsArgs) -> anyhow::Result<Outcome> {
    let ui = Ui::new(args.common.quiet);
    let (format, ending) = match args.format {
        Kind::Png => (Format::Png, "png"),
        Kind::Tiff => (Format::Tiff, "tiff"),
    };
    let pictures = RampPicture::all();
    let mut files = Vec::new();
    for picture in &pictures {
        let file = |part: &str| args.out.join(format!("{}{part}.{ending}", picture.name()));
        files.push((picture, false, file("")));
        if args.through.is_some() {
            files.push((picture, true, file("-through")));
        }
    }
    let paths: Vec<&Path> = files.iter().map(|(_, _, path)| path.as_path()).collect();
    let inputs: Vec<&Path> = args.through.iter().map(PathBuf::as_path).collect();
    output::spare(&inputs, &paths)?;
    let lut = match &args.through {
        Some(path) => {
            let (lut, notes) = read_lut(path)?;
            ui.notes(&notes);
            Some(PackedLut::new(&lut, args.evaluate))
        }
        None => None,
    };
    std::fs::create_dir_all(&args.out)
        .with_context(|| format!("{}: cannot make the folder", args.out.display()))?;
    output::check(&paths, args.common.force)?;
    let progress = ui.progress("ramps");
    let mut written = Vec::new();
    for (i, (picture, is_twin, path)) in files.iter().enumerate() {
        progress.at(i, files.len());
        let mut file = AtomicFile::create(path, args.common.force)?;
        let through = lut.as_ref().filter(|_| *is_twin);
        picture
            .write(&mut file, format, args.size, args.bits, through)
            .with_context(|| format!("{}: cannot be written", path.display()))?;
        written.push(file);
    }
    AtomicFile::commit_together(written)?;
    drop(progress);
    let (width, height) = args.size;
    print(&format!(
        "{}: {} pictures of {width} x {height} pixels at {} bits{}\n\n{CAUTION}",
        args.out.display(),
        files.len(),
        args.bits.bits(),
        match &args.through {
            Some(path) => format!(", half of them through {}", path.display()),
            None => String::new(),
        }
    ))?;
    Ok(Outcome::Done)
}
