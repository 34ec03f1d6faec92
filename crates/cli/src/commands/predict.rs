use std::fmt::Write as _;
use std::path::PathBuf;

use clap::Args;
use evenstep::display::PanelModel as _;
use evenstep::readings::read_patches;

use crate::options::{CommonArgs, ModelArgs, ScaleArg, ThreadsArg};
use crate::panel::{KnownPanel, panel};
use crate::ui::{Ui, print};
use crate::{Outcome, output};

const EXAMPLE: &str = "\
Example:
  evenstep predict run.csv --at patches.csv -o predicted.csv";

/// Tell what a panel shows for drives that were not read
///
/// Models the panel from its readings and gives the light it should show for each patch of a list,
/// as CSV with columns r,g,b,X,Y,Z: drive from 0 to 1, light in cd/m². With --scheme kriging or
/// kriging-anova the columns sX,sY,sZ follow: how sure the model is between the readings, as one
/// standard error of each in cd/m². Compare predictions with readings that the model has not seen to
/// find out how far you can trust it.
#[derive(Args, Debug)]
#[command(after_help = EXAMPLE)]
pub(crate) struct PredictArgs {
    /// Readings of the panel, CSV with columns r,g,b,X,Y,Z or CGATS text; light in cd/m²
    #[arg(value_name = "READINGS")]
    readings: PathBuf,
    /// Patches to predict, CSV with columns r,g,b or CGATS text
    #[arg(long, value_name = "PATCHES")]
    at: PathBuf,
    /// Where the predictions go; - is the standard output
    #[arg(short = 'o', long = "out", value_name = "CSV|-")]
    out: PathBuf,
    #[command(flatten)]
    model: ModelArgs,
    #[command(flatten)]
    scale: ScaleArg,
    #[command(flatten)]
    threads: ThreadsArg,
    #[command(flatten)]
    common: CommonArgs,
}

pub(crate) fn run(args: &PredictArgs) -> anyhow::Result<Outcome> {
    let ui = Ui::new(args.common.quiet);
    output::check(&[&args.out], args.common.force)?;
    output::spare(&[&args.readings, &args.at], &[&args.out])?;
    let scale = args.scale.scale();
    let (patches, notes) = read_patches(&args.at, scale)?;
    ui.notes(&notes);
    let known = args.threads.run(|| {
        panel(
            &args.readings,
            scale,
            args.model.scheme(),
            args.model.smoothing(),
            ui,
        )
    })?;
    let sure = patches
        .first()
        .is_some_and(|p| known.model.standard_error(p.drive).is_some());
    let mut csv = format!("r,g,b,X,Y,Z{}\n", if sure { ",sX,sY,sZ" } else { "" });
    for patch in &patches {
        let ([r, g, b], [x, y, z]) = (patch.drive, known.model.xyz(patch.drive).0);
        // Writing to a String cannot fail.
        let _ = write!(csv, "{r},{g},{b},{x},{y},{z}");
        for error in known.model.standard_error(patch.drive).iter().flatten() {
            let _ = write!(csv, ",{error}");
        }
        csv.push('\n');
    }
    output::write(&csv, &args.out, args.common.force)?;
    if !output::is_stdout(&args.out) {
        print(&format!(
            "{}: {} patches predicted from {}\n",
            args.out.display(),
            patches.len(),
            basis(&known)
        ))?;
    }
    Ok(Outcome::Done)
}

/// What the predictions stand on.
fn basis(known: &KnownPanel) -> String {
    let read = known.readings.distinct();
    match (known.model.structure(), &known.error) {
        (Some(structure), Some(error)) => format!(
            "{read} by {}; left out one by one, they are missed by {:.2} CIEDE2000 on average, {:.2} at most",
            structure.scheme, error.de2000_mean, error.de2000_max
        ),
        _ => format!("{read} by black, matrix and tone curves"),
    }
}
