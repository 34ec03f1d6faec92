use plotters::coord::Shift;
use plotters::coord::ranged1d::{DefaultFormatting, KeyPointHint, Ranged};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::axis::Axis;
use super::ink::{FRAME, GRID, Ink, LETTERS, Shape};

/// A drawn chart, with the place of every row of its data table on it.
pub(crate) struct Chart {
    /// The picture.
    pub(crate) svg: String,
    /// Width and height, in the picture's own pixels.
    pub(crate) size: (u32, u32),
    /// Left, right, upper and lower edge of what is plotted.
    pub(crate) frame: [i32; 4],
    /// For each row of the table the place it is read at.
    pub(crate) spots: Vec<(i32, i32)>,
    /// Whether the nearest row is sought along x alone.
    pub(crate) along_x: bool,
}

/// A line, broken where a value is missing or cannot stand on an axis.
pub(crate) struct Line {
    pub(crate) ink: Ink,
    pub(crate) points: Vec<(f64, Option<f64>)>,
}

/// Marks that stand alone: each ink has a shape of its own.
pub(crate) struct Dots {
    pub(crate) ink: Ink,
    pub(crate) points: Vec<(f64, f64)>,
}

/// A level worth comparing with, and its lettering.
pub(crate) struct Level {
    pub(crate) at: f64,
    pub(crate) words: String,
    /// Whether it is a value of x; otherwise of y.
    pub(crate) is_x: bool,
}

/// What a chart is made of.
pub(crate) struct Plot {
    pub(crate) size: (u32, u32),
    pub(crate) x: Axis,
    pub(crate) y: Axis,
    pub(crate) lines: Vec<Line>,
    pub(crate) dots: Vec<Dots>,
    pub(crate) levels: Vec<Level>,
    /// Names that stand in place of numbers on the y axis, at 0, 1, 2 and on.
    pub(crate) names: Vec<String>,
    /// Place of each row of the table; along x alone where y is missing.
    pub(crate) rows: Vec<(f64, Option<f64>)>,
}

/// Size of a chart over the width of the page, and of one of two side by side. Twice the pixels of a page: the library
/// places points on whole ones, and lines of small steps would show them.
pub(crate) const WIDE: (u32, u32) = (1800, 600);
/// See [`WIDE`].
pub(crate) const HALF: (u32, u32) = (880, 540);

const LETTER_SIZE: u32 = 26;
const ROW_LABELS: u32 = 184;
const NUMBER_LABELS: u32 = 116;
const X_LABELS: u32 = 80;
const MARGIN: u32 = 12;
const RIGHT_MARGIN: u32 = 28;

/// Width over height of what is plotted where both axes have numbers.
pub(crate) fn aspect(size: (u32, u32)) -> f64 {
    let width = size.0 - NUMBER_LABELS - MARGIN - RIGHT_MARGIN;
    f64::from(width) / f64::from(size.1 - X_LABELS - 2 * MARGIN)
}

type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;
type Context<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<Marked, Marked>>;
type Drawn = Result<(), Box<dyn std::error::Error>>;

pub(crate) fn colour([r, g, b]: [u8; 3]) -> RGBColor {
    RGBColor(r, g, b)
}

pub(crate) fn letters() -> TextStyle<'static> {
    ("sans-serif", LETTER_SIZE)
        .into_font()
        .color(&colour(LETTERS))
}

/// A linear axis with marks of our own.
struct Marked {
    ends: std::ops::Range<f64>,
    marks: Vec<f64>,
}

impl Marked {
    fn new(axis: &Axis, marks: Vec<f64>) -> Self {
        Self {
            ends: axis.ends(),
            marks,
        }
    }
}

impl Ranged for Marked {
    type FormatOption = DefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, limit: (i32, i32)) -> i32 {
        let share = (value - self.ends.start) / (self.ends.end - self.ends.start);
        limit.0 + (share * f64::from(limit.1 - limit.0)).round() as i32
    }

    fn key_points<Hint: KeyPointHint>(&self, hint: Hint) -> Vec<f64> {
        // Light lines between the marks are not drawn.
        if hint.weight().allow_light_points() {
            Vec::new()
        } else {
            self.marks.clone()
        }
    }

    fn range(&self) -> std::ops::Range<f64> {
        self.ends.clone()
    }
}

/// Where a chart's frame lies, and the places of its points.
type Placed = ([i32; 4], Vec<(i32, i32)>);

/// A run of points with at most four in a column of pixels, the first, the ends of its reach and the last: more cannot be
/// seen, and a ramp of 16 bits has 65 536.
fn thinned(run: &[(f64, f64)], x: &Axis, columns: u32) -> Vec<(f64, f64)> {
    let ends = x.ends();
    let per_column = (ends.end - ends.start) / f64::from(columns);
    let column = |at: &(f64, f64)| ((at.0 - ends.start) / per_column).floor();
    let mut out = Vec::with_capacity(run.len());
    for group in run.chunk_by(|a, b| column(a) == column(b)) {
        if group.len() <= 4 {
            out.extend_from_slice(group);
            continue;
        }
        let by_value = |a: &usize, b: &usize| group[*a].1.total_cmp(&group[*b].1);
        let least = (0..group.len()).min_by(by_value).unwrap_or(0);
        let most = (0..group.len()).max_by(by_value).unwrap_or(0);
        let mut kept = [0, least, most, group.len() - 1];
        kept.sort_unstable();
        let mut last = usize::MAX;
        for at in kept {
            if at != last {
                out.push(group[at]);
            }
            last = at;
        }
    }
    out
}

impl Plot {
    /// A chart without content.
    pub(crate) fn new(size: (u32, u32), x: Axis, y: Axis) -> Self {
        Self {
            size,
            x,
            y,
            lines: Vec::new(),
            dots: Vec::new(),
            levels: Vec::new(),
            names: Vec::new(),
            rows: Vec::new(),
        }
    }

    /// Draws it.
    pub(crate) fn draw(&self) -> Chart {
        let mut svg = String::new();
        let mut found = ([0; 4], Vec::new());
        {
            let root = SVGBackend::with_string(&mut svg, self.size).into_drawing_area();
            // Drawing into a string fails only where the library itself does; then the picture is short and the table
            // below it is whole.
            if let Ok(placed) = self.on(&root) {
                found = placed;
            }
            let _ = root.present();
        }
        Chart {
            svg,
            size: self.size,
            frame: found.0,
            spots: found.1,
            along_x: self.rows.iter().all(|(_, y)| y.is_none()),
        }
    }

    fn on(&self, root: &Area<'_>) -> Result<Placed, Box<dyn std::error::Error>> {
        let left = if self.names.is_empty() {
            NUMBER_LABELS
        } else {
            ROW_LABELS
        };
        let mut chart = ChartBuilder::on(root)
            .margin(MARGIN)
            .margin_right(RIGHT_MARGIN)
            .x_label_area_size(X_LABELS)
            .y_label_area_size(left)
            .build_cartesian_2d(
                Marked::new(&self.x, self.x.marks()),
                Marked::new(&self.y, self.y_marks()),
            )?;
        self.mesh(&mut chart)?;
        self.draw_levels(&mut chart)?;
        for line in &self.lines {
            self.draw_line(&mut chart, line)?;
        }
        for dots in &self.dots {
            self.draw_dots(&mut chart, dots)?;
        }
        let (x, y) = chart.plotting_area().get_pixel_range();
        let spots = self
            .rows
            .iter()
            .map(|(at, value)| {
                let x_place = self.x.place(*at).unwrap_or(self.x.ends().start);
                let y_place = value
                    .and_then(|v| self.y.place(v))
                    .unwrap_or(self.y.ends().start);
                chart.backend_coord(&(x_place, y_place))
            })
            .collect();
        Ok(([x.start, x.end, y.start, y.end], spots))
    }

    fn y_marks(&self) -> Vec<f64> {
        if self.names.is_empty() {
            self.y.marks()
        } else {
            (0..self.names.len()).map(|i| i as f64).collect()
        }
    }

    fn mesh(&self, chart: &mut Context<'_, '_>) -> Drawn {
        let x_number = |place: &f64| self.x.number(*place);
        let y_number = |place: &f64| match self.names.get(place.round() as usize) {
            Some(name) => name.clone(),
            None => self.y.number(*place),
        };
        chart
            .configure_mesh()
            .x_desc(self.x.label())
            .y_desc(self.y.label())
            .label_style(letters())
            .axis_desc_style(letters())
            .x_label_formatter(&x_number)
            .y_label_formatter(&y_number)
            .axis_style(colour(FRAME).stroke_width(2))
            .bold_line_style(colour(GRID).stroke_width(2))
            .light_line_style(TRANSPARENT)
            .draw()?;
        Ok(())
    }

    fn draw_levels(&self, chart: &mut Context<'_, '_>) -> Drawn {
        let (x, y) = (self.x.ends(), self.y.ends());
        for level in &self.levels {
            let axis = if level.is_x { &self.x } else { &self.y };
            let Some(at) = axis.place(level.at) else {
                continue;
            };
            let ends = axis.ends();
            if !(ends.start..=ends.end).contains(&at) {
                continue;
            }
            let (line, letter_at, anchor) = if level.is_x {
                let top = y.end;
                (
                    vec![(at, y.start), (at, y.end)],
                    (at, top),
                    Pos::new(HPos::Left, VPos::Top),
                )
            } else {
                (
                    vec![(x.start, at), (x.end, at)],
                    (x.end, at),
                    Pos::new(HPos::Right, VPos::Bottom),
                )
            };
            chart.draw_series(LineSeries::new(line, colour(FRAME).stroke_width(2)))?;
            let style = letters().pos(anchor);
            chart.draw_series([Text::new(
                format!("\u{a0}{}", level.words),
                letter_at,
                style,
            )])?;
        }
        Ok(())
    }

    fn draw_line(&self, chart: &mut Context<'_, '_>, line: &Line) -> Drawn {
        let style = colour(line.ink.rgb()).stroke_width(line.ink.width());
        let placed = |(x, y): &(f64, Option<f64>)| {
            let y = y.and_then(|y| self.y.place(y))?;
            let ends = self.y.ends();
            Some((self.x.place(*x)?, y.clamp(ends.start, ends.end)))
        };
        let all: Vec<Option<(f64, f64)>> = line.points.iter().map(placed).collect();
        for run in all.split(Option::is_none) {
            let run: Vec<(f64, f64)> = run.iter().copied().flatten().collect();
            let run = thinned(&run, &self.x, self.size.0);
            if run.len() > 1 {
                chart.draw_series(LineSeries::new(run, style))?;
            }
        }
        Ok(())
    }

    fn draw_dots(&self, chart: &mut Context<'_, '_>, dots: &Dots) -> Drawn {
        let style = colour(dots.ink.rgb());
        let places: Vec<(f64, f64)> = dots
            .points
            .iter()
            .filter_map(|(x, y)| Some((self.x.place(*x)?, self.y.place(*y)?)))
            .collect();
        let fill = style.filled();
        // Corners about the place of the mark, in pixels.
        let polygons = |corners: [(i32, i32); 4]| {
            places
                .clone()
                .into_iter()
                .map(move |p| EmptyElement::at(p) + Polygon::new(corners.to_vec(), fill))
        };
        match dots.ink.shape() {
            Shape::Dot => chart.draw_series(places.into_iter().map(|p| Circle::new(p, 8, fill)))?,
            Shape::Triangle => {
                chart.draw_series(places.into_iter().map(|p| TriangleMarker::new(p, 9, fill)))?
            }
            Shape::Square => chart.draw_series(polygons([(-7, -7), (7, -7), (7, 7), (-7, 7)]))?,
            Shape::Diamond => {
                chart.draw_series(polygons([(0, -10), (10, 0), (0, 10), (-10, 0)]))?
            }
            Shape::Ring => chart.draw_series(
                places
                    .into_iter()
                    .map(|p| Circle::new(p, 14, style.stroke_width(2))),
            )?,
            Shape::Cross => chart.draw_series(
                places
                    .into_iter()
                    .map(|p| Cross::new(p, 8, style.stroke_width(2))),
            )?,
        };
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Thinning keeps both ends, the reach of the values and the order, and leaves four points a column at most.
        #[test]
        fn a_thinned_line_reaches_as_far(values in prop::collection::vec(-1.0..1.0_f64, 2..5000), columns in 1_u32..200) {
            let run: Vec<(f64, f64)> = values.iter().enumerate().map(|(i, v)| (i as f64, *v)).collect();
            let axis = Axis::linear("code", 0.0, (run.len() - 1) as f64);
            let thin = thinned(&run, &axis, columns);
            let reach = |points: &[(f64, f64)]| {
                let all = || points.iter().map(|p| p.1);
                (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max))
            };
            prop_assert_eq!(reach(&thin), reach(&run));
            prop_assert_eq!((thin[0], thin[thin.len() - 1]), (run[0], run[run.len() - 1]));
            prop_assert!(thin.windows(2).all(|w| w[0].0 < w[1].0));
            // The last point lies on the edge of the last column.
            prop_assert!(thin.len() <= 4 * columns as usize + 1);
        }
    }
}
