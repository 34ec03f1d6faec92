use std::path::PathBuf;

use clap::Args;
use evenstep::display::{Disturbance, SimulatedPanel, simulate};
use evenstep::readings::{
    CgatsHeader, Readings, merged, read_patches, write_cgats, write_csv, write_csv_to,
};

use crate::options::{CommonArgs, ScaleArg};
use crate::ui::{Ui, print};
use crate::{Outcome, output};

const EXAMPLE: &str = "\
Example:
  evenstep simulate --panel wrgb --at patches.csv -o run.csv --drift 0.01 --seed 7";

/// Make readings of a simulated panel
///
/// Shows each patch of a list on a simulated panel and reads it, in the order of the list, with the
/// noise of an instrument. Use it to try a patch list before you spend an hour of measuring, or to
/// see how a fit takes drift and faulty readings. Equal options give equal readings.
///
/// The panels are invented. wrgb: self-emissive with a white sub-pixel, so that white is brighter than
/// red, green and blue together. lcd: a raised, bluish black and an S-shaped response. wide-gamut:
/// narrow bands, a blue that shifts with level. twist: additive but for a local twist of hue.
/// hdr-wrgb: driven in PQ and flat above 700 cd/m².
#[derive(Args, Debug)]
#[command(after_help = EXAMPLE)]
pub(crate) struct SimulateArgs {
    /// The simulated panel: wrgb, lcd, wide-gamut, twist or hdr-wrgb
    #[arg(long, value_name = "NAME", value_parser = panel)]
    panel: Panel,
    /// Patches to read, CSV with columns r,g,b or CGATS text; a patch listed twice is read twice
    #[arg(long, value_name = "PATCHES")]
    at: PathBuf,
    /// Where the readings go: CGATS text when the name ends in .cgats or .txt, else CSV; - is the
    /// standard output
    #[arg(short = 'o', long = "out", value_name = "READINGS|-")]
    out: PathBuf,
    /// Noise: 1 is 0.15 % of the light and a floor of 0.0004 cd/m², 0 is none
    #[arg(long, value_name = "SCALE", default_value_t = 1.0, value_parser = scale)]
    noise: f64,
    /// Change of all light from the first reading to the last; 0.01 is 1 % brighter
    #[arg(long, value_name = "SHARE", default_value_t = 0.0, allow_negative_numbers = true, value_parser = drift)]
    drift: f64,
    /// Share of readings, picked at random, that are 5 % off
    #[arg(long, value_name = "SHARE", default_value_t = 0.0, value_parser = share)]
    outliers: f64,
    /// Number that all random draws depend on
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    scale: ScaleArg,
    #[command(flatten)]
    common: CommonArgs,
}

/// A panel by its name.
#[derive(Clone, Debug)]
struct Panel {
    name: String,
    panel: SimulatedPanel,
}

fn panel(name: &str) -> Result<Panel, String> {
    let panel = SimulatedPanel::by_name(name).ok_or_else(|| {
        format!(
            "no simulated panel is called {name:?}; use {}",
            SimulatedPanel::NAMES.join(", ")
        )
    })?;
    Ok(Panel {
        name: name.to_owned(),
        panel,
    })
}

fn within(text: &str, range: std::ops::RangeInclusive<f64>) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|v| range.contains(v))
        .ok_or_else(|| {
            format!(
                "{text:?} is not a number from {} to {}",
                range.start(),
                range.end()
            )
        })
}

fn scale(text: &str) -> Result<f64, String> {
    within(text, 0.0..=100.0)
}

fn drift(text: &str) -> Result<f64, String> {
    within(text, -0.5..=0.5)
}

fn share(text: &str) -> Result<f64, String> {
    within(text, 0.0..=1.0)
}

pub(crate) fn run(args: &SimulateArgs) -> anyhow::Result<Outcome> {
    let ui = Ui::new(args.common.quiet);
    output::check(&[&args.out], args.common.force)?;
    output::spare(&[&args.at], &[&args.out])?;
    let (patches, notes) = read_patches(&args.at, args.scale.scale())?;
    ui.notes(&notes);
    let disturbance = Disturbance {
        noise: args.noise,
        drift: args.drift,
        outliers: args.outliers,
    };
    let readings = merged(simulate(
        &args.panel.panel,
        &patches,
        disturbance,
        args.seed,
    ));
    write(&readings, args)?;
    if !output::is_stdout(&args.out) {
        print(&format!(
            "{}: {} readings of {} patches on the simulated panel {}\n",
            args.out.display(),
            readings.reading_count(),
            readings.distinct(),
            args.panel.name
        ))?;
    }
    Ok(Outcome::Done)
}

fn write(readings: &Readings, args: &SimulateArgs) -> anyhow::Result<()> {
    if output::is_stdout(&args.out) {
        let mut text = Vec::new();
        write_csv_to(readings, &mut text)?;
        return print(&String::from_utf8_lossy(&text));
    }
    let extension = args.out.extension().map(|e| e.to_ascii_lowercase());
    if extension.is_some_and(|e| e == "cgats" || e == "txt") {
        let header = CgatsHeader {
            originator: "Evenstep".to_owned(),
            descriptor: format!("simulated panel {}, seed {}", args.panel.name, args.seed),
            // No date: equal options give equal bytes.
            created: "not stated".to_owned(),
        };
        write_cgats(readings, &header, &args.out, args.common.force)?;
    } else {
        write_csv(readings, &args.out, args.common.force)?;
    }
    Ok(())
}
