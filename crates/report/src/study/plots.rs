use evenstep_study::{Contender, Figures};
use plotters::coord::Shift;
use plotters::element::DashedPathElement;
use plotters::prelude::*;

use super::Entry;
use super::standing::mean;

/// What the plotting library said.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("cannot plot: {0}")]
pub struct PlotError(String);

/// Names of the files that [`plots`] makes, in its order.
pub const PLOT_FILES: [&str; 4] = [PLOTS[0].file, PLOTS[1].file, PLOTS[2].file, PLOTS[3].file];

type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// One plot: a figure against the number of patches.
struct Plot {
    file: &'static str,
    title: &'static str,
    figure: fn(&Figures) -> Option<f64>,
    /// Whether the true inverse is drawn: its colour error is rounding, and a scale that shows it shows nothing else.
    with_truth: bool,
}

const PLOTS: [Plot; 4] = [
    Plot {
        file: "error.svg",
        title: "Mean CIEDE2000 over test signals",
        figure: |f| f.all_de2000_mean,
        with_truth: false,
    },
    Plot {
        file: "near-black-error.svg",
        title: "Mean ΔE ITP near black",
        figure: |f| f.near_black_itp_mean,
        with_truth: false,
    },
    Plot {
        file: "unevenness.svg",
        title: "Unevenness of steps, mean of ten ramps",
        figure: |f| f.ramps_unevenness,
        with_truth: true,
    },
    Plot {
        file: "roughness.svg",
        title: "Roughness: RMS first difference of CIEDE2000, mean of ten ramps",
        figure: |f| f.ramps_roughness_de2000,
        with_truth: true,
    },
];

/// Size of one panel's plot, of the legend and of the title, in pixels.
const CELL: (u32, u32) = (340, 300);
const LEGEND: u32 = 240;
const TITLE: u32 = 40;
/// Hues that are told apart; beyond them lines are dashed.
const HUES: usize = 10;

/// Plots of colour error and of roughness against the number of patches, a line for each scheme, averaged over the
/// seeds: a column for each panel, a row for each noise. Pairs of file name and SVG.
///
/// # Errors
/// [`PlotError`].
pub fn plots(entries: &[Entry]) -> Result<Vec<(&'static str, String)>, PlotError> {
    PLOTS
        .iter()
        .map(|plot| {
            Ok((
                plot.file,
                draw(plot, entries).map_err(|e| PlotError(e.to_string()))?,
            ))
        })
        .collect()
}

/// Values in the order in which entries first have them.
fn distinct<T: PartialEq>(entries: &[Entry], of: impl Fn(&Entry) -> T) -> Vec<T> {
    let mut all = Vec::new();
    for value in entries.iter().map(of) {
        if !all.contains(&value) {
            all.push(value);
        }
    }
    all
}

fn draw(plot: &Plot, entries: &[Entry]) -> Result<String, Box<dyn std::error::Error>> {
    let panels = distinct(entries, |e| e.row.panel.clone());
    let noises = distinct(entries, |e| e.row.noise);
    let mut schemes = distinct(entries, |e| e.row.scheme.clone());
    if !plot.with_truth {
        schemes.retain(|s| *s != Contender::TrueInverse.to_string());
    }
    let width = CELL.0 * panels.len() as u32 + LEGEND;
    let height = CELL.1 * noises.len() as u32 + TITLE;
    let mut svg = String::new();
    {
        let root = SVGBackend::with_string(&mut svg, (width, height)).into_drawing_area();
        root.fill(&WHITE)?;
        let root = root.titled(plot.title, ("sans-serif", 20))?;
        let (charts, legend) = root.split_horizontally(CELL.0 * panels.len() as u32);
        let cells = charts.split_evenly((noises.len(), panels.len()));
        for (at, cell) in cells.iter().enumerate() {
            let (noise, panel) = (noises[at / panels.len()], &panels[at % panels.len()]);
            let of = |e: &&Entry| e.row.noise == noise && e.row.panel == *panel;
            let group: Vec<&Entry> = entries.iter().filter(of).collect();
            chart(
                cell,
                &format!("{panel}, noise {noise}"),
                plot,
                &group,
                &schemes,
            )?;
        }
        for (i, scheme) in schemes.iter().enumerate() {
            let y = 20 + 18 * i as i32;
            let line = vec![(8, y), (48, y)];
            stroke(&legend, line, i, scheme)?;
            legend.draw(&Text::new(scheme.clone(), (56, y - 6), ("sans-serif", 13)))?;
        }
        root.present()?;
    }
    Ok(svg)
}

/// Line of a scheme in the legend.
fn stroke(
    legend: &Area<'_>,
    line: Vec<(i32, i32)>,
    place: usize,
    scheme: &str,
) -> Result<(), Box<dyn std::error::Error>> {
    let style = style(place, scheme);
    match dash(place) {
        None => legend.draw(&PathElement::new(line, style))?,
        Some((size, gap)) => {
            legend.draw(&DashedPathElement::new(line, size, gap, style))?;
        }
    }
    Ok(())
}

/// Marks are black and grey, schemes have hues.
fn style(place: usize, scheme: &str) -> ShapeStyle {
    if scheme == Contender::BaseOnly.to_string() {
        BLACK.stroke_width(2)
    } else if scheme == Contender::TrueInverse.to_string() {
        BLACK.mix(0.4).stroke_width(2)
    } else {
        Palette99::pick(place % HUES).stroke_width(1)
    }
}

fn dash(place: usize) -> Option<(i32, i32)> {
    match place / HUES {
        0 => None,
        1 => Some((6, 4)),
        _ => Some((2, 3)),
    }
}

fn chart(
    cell: &Area<'_>,
    caption: &str,
    plot: &Plot,
    group: &[&Entry],
    schemes: &[String],
) -> Result<(), Box<dyn std::error::Error>> {
    let lines: Vec<Vec<(f64, f64)>> = schemes
        .iter()
        .map(|scheme| line(group, scheme, plot.figure))
        .collect();
    let points = || lines.iter().flatten();
    let extent = |of: &dyn Fn(&(f64, f64)) -> f64| {
        let values = || points().map(of);
        let (low, high) = (
            values().fold(f64::INFINITY, f64::min),
            values().fold(0.0, f64::max),
        );
        // A log scale needs an extent even where there is one point.
        (0.9 * low, 1.1 * high)
    };
    if points().next().is_none() {
        return Ok(());
    }
    let (x, y) = (extent(&|p| p.0), extent(&|p| p.1));
    let mut counts: Vec<f64> = points().map(|p| p.0).collect();
    counts.sort_by(f64::total_cmp);
    counts.dedup();
    let mut chart = ChartBuilder::on(cell)
        .caption(caption, ("sans-serif", 15))
        .margin(8)
        .x_label_area_size(34)
        .y_label_area_size(52)
        .build_cartesian_2d(
            (x.0..x.1).log_scale().with_key_points(counts),
            (y.0..y.1).log_scale().with_key_points(marks(y.0, y.1)),
        )?;
    chart
        .configure_mesh()
        .x_desc("patches")
        .x_label_formatter(&|v| format!("{v:.0}"))
        .y_label_formatter(&|v| crate::text::three_digits(*v))
        .light_line_style(WHITE)
        .draw()?;
    for (i, (line, scheme)) in lines.into_iter().zip(schemes).enumerate() {
        let style = style(i, scheme);
        match dash(i) {
            None => chart.draw_series(LineSeries::new(line.clone(), style))?,
            Some((size, gap)) => {
                chart.draw_series(DashedLineSeries::new(line.clone(), size, gap, style))?
            }
        };
        let dots = line.into_iter().map(|p| Circle::new(p, 2, style.filled()));
        chart.draw_series(dots)?;
    }
    Ok(())
}

/// Marks of a log axis: 1, 2, 5 and their decades; more of them where the axis is short, its ends where it is shorter.
fn marks(low: f64, high: f64) -> Vec<f64> {
    const PLAIN: [f64; 3] = [1.0, 2.0, 5.0];
    const CLOSE: [f64; 13] = [
        1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0,
    ];
    let decades = low.log10().floor() as i32..=high.log10().ceil() as i32;
    let within = |steps: &[f64]| -> Vec<f64> {
        let all = decades
            .clone()
            .flat_map(|d| steps.iter().map(move |s| s * 10_f64.powi(d)));
        all.filter(|v| (low..=high).contains(v)).collect()
    };
    [within(&PLAIN), within(&CLOSE)]
        .into_iter()
        .find(|marks| marks.len() > 1)
        .unwrap_or_else(|| vec![low, high])
}

/// Points of a scheme that can stand on log scales, by rising number of patches.
fn line(group: &[&Entry], scheme: &str, figure: fn(&Figures) -> Option<f64>) -> Vec<(f64, f64)> {
    let own: Vec<&Entry> = group
        .iter()
        .copied()
        .filter(|e| e.row.scheme == scheme)
        .collect();
    let mut counts: Vec<usize> = own.iter().map(|e| e.row.patches).collect();
    counts.sort_unstable();
    counts.dedup();
    counts
        .into_iter()
        .filter_map(|n| {
            let value = mean(own.iter().filter(|e| e.row.patches == n), figure)?;
            (value > 0.0).then_some((n as f64, value))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_axis_has_two_marks_within_it_at_least() {
        assert_eq!(marks(0.03, 0.6), [0.05, 0.1, 0.2, 0.5]);
        for (low, high) in [(0.0021, 0.0029), (0.9, 1.1), (1e-9, 1e3), (0.301, 0.302)] {
            let marks = marks(low, high);
            assert!(marks.len() > 1, "{low} {high}: {marks:?}");
            assert!(marks.iter().all(|m| (low..=high).contains(m)), "{marks:?}");
        }
    }
}
