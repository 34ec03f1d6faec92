use std::path::{Path, PathBuf};

use anyhow::Context as _;
use clap::Args;
use evenstep::audit::AuditOptions;
use evenstep::compare::{Tour, TourOptions, tour};
use evenstep::fit::{FitOptions, fit};
use evenstep::lut::format::cube;
use evenstep::lut::{CodeRange, Lut, Lut3d};
use evenstep::readings::{
    CgatsHeader, FullScale, RgbScale, parse, parse_patches, write_cgats, write_patches_csv,
};
use evenstep::report::{
    Drawn, audit_json, compare_json, compare_text, fit_json, fit_text, real_display_text,
    tour_html, tour_json, tour_picture, tour_text,
};

use crate::commands::fit::CurveFiles;
use crate::options::{CommonArgs, ThreadsArg};
use crate::ui::{Ui, print_report};
use crate::{Outcome, output};

const EXAMPLE: &str = "\
Example:
  evenstep tour -o out";

const SPARSE_PATCHES: &[u8] = include_bytes!("../../../../examples/foyer/sparse-patches.csv");
const TUBE: &[u8] = include_bytes!("../../../../examples/real/crt-2006-ramps.cgats");

const STORY: &str = "\
The scenario: a small repertory cinema hangs a self-emissive wall panel in its foyer and wants
trailers to look right on it: BT.709, BT.1886, 120 cd/m². The panel is simulated, so the truth is
known.
";

/// Run the bundled scenario end to end
///
/// Simulates readings of a panel whose behaviour is known, sparse and dense, fits a correction to each
/// and the base correction alone, audits all of them, holds them against the truth and against each
/// other, and writes the LUTs, the readings and the reports to the folder. Then takes the readings of a
/// real display, which hold ramps only, as far as they go. Takes under a minute on two processors.
#[derive(Args, Debug)]
#[command(after_help = EXAMPLE)]
pub(crate) struct TourArgs {
    /// Folder for everything that is made; made if it is not there
    #[arg(short = 'o', long = "out", value_name = "DIR")]
    out: PathBuf,
    /// Seed of the simulated readings
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Nodes along each axis of the LUTs, 9 to 65
    #[arg(long, value_name = "N", default_value_t = 33, value_parser = clap::value_parser!(u8).range(9..=65))]
    nodes: u8,
    /// Draws of the readings from their noise
    #[arg(long, value_name = "N", default_value_t = 50, value_parser = clap::value_parser!(u16).range(2..=10_000))]
    draws: u16,
    #[command(flatten)]
    threads: ThreadsArg,
    #[command(flatten)]
    common: CommonArgs,
}

/// Files of the tour beside the curves.
const FILES: [&str; 19] = [
    "sparse-patches.csv",
    "sparse.cgats",
    "dense.cgats",
    "sparse.cube",
    "dense.cube",
    "base-only.cube",
    "sparse.fit.json",
    "dense.fit.json",
    "base-only.fit.json",
    "sparse.audit.json",
    "dense.audit.json",
    "base-only.audit.json",
    "compare.json",
    "tour.json",
    "tour.html",
    "steps.svg",
    "tube.cgats",
    "tube-base-only.cube",
    "tube-base-only.fit.json",
];

pub(crate) fn run(args: &TourArgs) -> anyhow::Result<Outcome> {
    let (ui, force) = (Ui::new(args.common.quiet), args.common.force);
    std::fs::create_dir_all(&args.out)
        .with_context(|| format!("{}: cannot make the folder", args.out.display()))?;
    let files: Vec<PathBuf> = FILES.iter().map(|name| args.out.join(name)).collect();
    output::check(
        &files.iter().map(PathBuf::as_path).collect::<Vec<_>>(),
        force,
    )?;
    let curves = CurveFiles::in_folder(&args.out.join("base-curves"));
    curves.prepare(force)?;

    let (patches, _) = parse_patches(
        SPARSE_PATCHES,
        Path::new("sparse-patches.csv"),
        RgbScale::Given(FullScale::One),
    )?;
    let options = TourOptions {
        seed: args.seed,
        draws: usize::from(args.draws),
        nodes: usize::from(args.nodes),
    };
    let progress = ui.progress("tour");
    let found = args.threads.run(|| {
        Ok(tour(&patches, &options, &|done, all| {
            progress.at(done, all)
        })?)
    })?;
    drop(progress);

    let at = |name: &str| args.out.join(name);
    write_patches_csv(&patches, &at("sparse-patches.csv"), force)?;
    write_found(&found, &args.out, force)?;
    curves.write(&found.base_only, CodeRange::Full, force)?;
    write_page(args, &found)?;
    print_report(&format!(
        "{STORY}\n{}\n{}\n",
        fit_text(&found.sparse.report),
        tour_text(&found.rows)
    ))?;
    print_report(&format!(
        "Without the truth: sparse against dense readings\n\n{}\n",
        compare_text(
            &found.comparison,
            "LUT from the sparse readings",
            "LUT from the dense readings"
        )
    ))?;
    print_report(&real_display(args)?)?;
    print_report(&format!(
        "\nEverything is in {}; look at tour.html first.\n",
        args.out.display()
    ))?;
    Ok(Outcome::Done)
}

fn write_found(found: &Tour, folder: &Path, force: bool) -> anyhow::Result<()> {
    let at = |name: &str| folder.join(name);
    let header = |what: &str| CgatsHeader {
        originator: "Evenstep tour".to_owned(),
        descriptor: format!("simulated WRGB panel, {what} readings"),
        // The day this scenario was written, not the day it runs: equal inputs give equal bytes.
        created: "2026-11-25".to_owned(),
    };
    write_cgats(
        &found.sparse_readings,
        &header("sparse"),
        &at("sparse.cgats"),
        force,
    )?;
    write_cgats(
        &found.dense_readings,
        &header("dense"),
        &at("dense.cgats"),
        force,
    )?;
    let fits = [
        ("sparse", &found.sparse),
        ("dense", &found.dense),
        ("base-only", &found.base_only),
    ];
    for ((name, fit), row) in fits.into_iter().zip(&found.rows) {
        write_lut(
            &fit.lut,
            &format!("foyer, {name}"),
            &at(&format!("{name}.cube")),
            force,
        )?;
        output::write(
            &fit_json(&fit.report),
            &at(&format!("{name}.fit.json")),
            force,
        )?;
        output::write(
            &audit_json(&row.audit),
            &at(&format!("{name}.audit.json")),
            force,
        )?;
    }
    let comparison = compare_json(&found.comparison, "sparse.cgats", "dense.cgats");
    output::write(&comparison, &at("compare.json"), force)?;
    output::write(
        &tour_json(&found.rows, &found.comparison),
        &at("tour.json"),
        force,
    )
}

/// The page to look at, and the picture that stands in the README.
fn write_page(args: &TourArgs, found: &Tour) -> anyhow::Result<()> {
    let traces = args.threads.run(|| Ok(found.traces()))?;
    let luts = [&found.sparse, &found.dense].map(|fit| fit.loaded());
    let drawn: Vec<Drawn> = found
        .rows
        .iter()
        .zip(traces.iter().zip(&luts))
        .map(|(row, (traces, lut))| Drawn {
            name: &row.name,
            report: &row.audit,
            traces,
            lut,
        })
        .collect();
    let force = args.common.force;
    let page = tour_html(&found.rows, &found.comparison, &drawn);
    output::write(&page, &args.out.join("tour.html"), force)?;
    output::write(&tour_picture(&drawn), &args.out.join("steps.svg"), force)
}

fn write_lut(lattice: &Lut3d, title: &str, path: &Path, force: bool) -> anyhow::Result<()> {
    let lut = Lut {
        title: Some(title.to_owned()),
        ..Lut::from(lattice.clone())
    };
    Ok(cube::write(&lut, path, force)?)
}

/// The real display as far as its readings go: the 3D fit declined with the reason, then the base correction.
fn real_display(args: &TourArgs) -> anyhow::Result<String> {
    let name = Path::new("tube.cgats");
    let (readings, _) = parse(TUBE, name, RgbScale::Detect)?;
    let declined = match fit(&readings, &FitOptions::default(), &|_, _| {}) {
        Err(reason) => reason.to_string(),
        Ok(_) => anyhow::bail!(
            "{}: a 3D fit to ramps alone should have been declined",
            name.display()
        ),
    };
    let options = FitOptions {
        base_only: true,
        nodes: usize::from(args.nodes),
        ..FitOptions::default()
    };
    let fitted = args
        .threads
        .run(|| Ok(fit(&readings, &options, &|_, _| {})?))?;
    let force = args.common.force;
    evenstep::files::write_atomic(&args.out.join("tube.cgats"), force, |out| {
        out.write_all(TUBE)
    })?;
    write_lut(
        &fitted.lut,
        "tube, base only",
        &args.out.join("tube-base-only.cube"),
        force,
    )?;
    output::write(
        &fit_json(&fitted.report),
        &args.out.join("tube-base-only.fit.json"),
        force,
    )?;
    let audit = evenstep::compare::audit_fit(&fitted, &readings, &AuditOptions::default());
    Ok(real_display_text(&declined, &fitted.report, &audit))
}
