use evenstep_audit::PlaneTrace;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::{Chain, Shared};
use crate::html::chart::{Chart, WIDE, colour, letters};
use crate::html::figure::{Figure, Table, cell};
use crate::html::ink::{FRAME, Ink};

/// Side of a plane, room around it, in pixels of the picture.
const SIDE: i32 = 524;
const LEFT: i32 = 40;
const TOP: i32 = 48;
const BETWEEN: i32 = 60;
/// Classes of depth of tint.
const CLASSES: usize = 6;

/// A value of every square of the lattice's planes.
struct Quantity {
    id: &'static str,
    title: &'static str,
    caption: &'static str,
    unit: &'static str,
    decimals: usize,
    /// Upper ends of all classes but the last.
    ends: [f64; CLASSES - 1],
    of: fn(&PlaneTrace, usize) -> Option<f64>,
}

const ROUGHNESS: Quantity = Quantity {
    id: "rough",
    title: "Where the lattice bends",
    caption: "How far a node lies off the middle of its two neighbours, in per cent of full drive, on the planes of no, half \
              and full blue. Some bend is the correction itself; a lone dark square is a node that stands out.",
    unit: "% of drive",
    decimals: 3,
    ends: [0.05, 0.1, 0.25, 0.5, 1.0],
    of: |plane, at| plane.roughness.get(at).map(|v| 100.0 * v),
};

const COLOUR: Quantity = Quantity {
    id: "nodes-off",
    title: "Where the colour is off",
    caption: "CIEDE2000 between what a node shows and what it should, on the same planes. Struck squares are colours that the \
              panel does not reach.",
    unit: "CIEDE2000",
    decimals: 2,
    ends: [0.1, 0.3, 1.0, 2.0, 3.0],
    of: |plane, at| plane.de2000.get(at).copied().flatten(),
};

/// Planes of roughness and of colour error, for each correction that has a lattice.
pub(crate) fn planes(shared: &Shared) -> Vec<Figure> {
    let mut figures = Vec::new();
    for (i, chain) in shared.chains.iter().enumerate() {
        for quantity in [&ROUGHNESS, &COLOUR] {
            let values = || chain.traces.planes.iter().flat_map(|p| values(p, quantity));
            if values().any(|v| v.is_some()) {
                figures.push(one(shared, chain, i, quantity));
            }
        }
    }
    figures
}

fn values(plane: &PlaneTrace, quantity: &Quantity) -> Vec<Option<f64>> {
    (0..plane.side * plane.side)
        .map(|at| (quantity.of)(plane, at))
        .collect()
}

fn one(shared: &Shared, chain: &Chain, place: usize, quantity: &Quantity) -> Figure {
    let planes = &chain.traces.planes;
    let worst = planes
        .iter()
        .flat_map(|p| {
            (0..p.side * p.side).filter_map(move |at| Some(((quantity.of)(p, at)?, square(p, at))))
        })
        .max_by(|a, b| a.0.total_cmp(&b.0));
    let title = format!("{}: {}", quantity.title, chain.name);
    let told = worst.map_or_else(String::new, |(value, at)| {
        format!(
            "Largest {value:.decimals$} {} at red {:.0} %, green {:.0} %, blue {:.0} %.",
            quantity.unit,
            100.0 * at[0],
            100.0 * at[1],
            100.0 * at[2],
            decimals = quantity.decimals
        )
    });
    let mut rows = Vec::new();
    for plane in planes {
        for at in 0..plane.side * plane.side {
            let [r, g, b] = square(plane, at).map(|v| format!("{:.0}", 100.0 * v));
            rows.push(vec![
                format!("{r} {g} {b}"),
                cell((quantity.of)(plane, at), quantity.decimals),
            ]);
        }
    }
    Figure {
        id: shared.id(&format!("{}-{}", quantity.id, place + 1)),
        alt: format!("{title}. Three squares of red against green. {told}"),
        title,
        caption: format!("{} {told}", quantity.caption),
        legend: Vec::new(),
        chart: draw(planes, quantity),
        table: Table {
            note: "Of a lattice finer than 17 nodes the largest of neighbouring nodes.",
            head: vec!["red green blue, %".to_owned(), quantity.unit.to_owned()],
            rows,
        },
        is_wide: true,
    }
}

/// Red, green and blue of a square, as shares of the lattice's axes.
fn square(plane: &PlaneTrace, at: usize) -> [f64; 3] {
    let of = |i: usize| i as f64 / (plane.side - 1) as f64;
    [of(at % plane.side), of(at / plane.side), plane.blue]
}

fn draw(planes: &[PlaneTrace], quantity: &Quantity) -> Chart {
    let size = (WIDE.0, (TOP + SIDE + 148) as u32);
    let mut svg = String::new();
    let mut spots = Vec::new();
    {
        let root = SVGBackend::with_string(&mut svg, size).into_drawing_area();
        // As in a chart: what the library cannot draw, the table still says.
        let _ = squares(&root, planes, quantity, &mut spots);
        let _ = root.present();
    }
    Chart {
        svg,
        size,
        frame: [LEFT, size.0 as i32, TOP, TOP + SIDE],
        spots,
        along_x: false,
    }
}

type Area<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;

fn squares(
    root: &Area<'_>,
    planes: &[PlaneTrace],
    quantity: &Quantity,
    spots: &mut Vec<(i32, i32)>,
) -> Result<(), Box<dyn std::error::Error>> {
    for (p, plane) in planes.iter().enumerate() {
        let left = LEFT + p as i32 * (SIDE + BETWEEN);
        let edge = |i: usize| SIDE * i as i32 / plane.side as i32;
        for at in 0..plane.side * plane.side {
            let (r, g) = (at % plane.side, at / plane.side);
            // Green rises upwards.
            let (x0, x1) = (left + edge(r), left + edge(r + 1));
            let (y0, y1) = (TOP + SIDE - edge(g + 1), TOP + SIDE - edge(g));
            spots.push(((x0 + x1) / 2, (y0 + y1) / 2));
            match (quantity.of)(plane, at) {
                Some(value) => root.draw(&Rectangle::new(
                    [(x0, y0), (x1, y1)],
                    tint(class(value, quantity)).filled(),
                ))?,
                None => root.draw(&PathElement::new(
                    vec![(x0 + 6, y0 + 6), (x1 - 6, y1 - 6)],
                    colour(FRAME).stroke_width(2),
                ))?,
            }
        }
        root.draw(&Rectangle::new(
            [(left, TOP), (left + SIDE, TOP + SIDE)],
            colour(FRAME).stroke_width(2),
        ))?;
        let words = |text: String, at: (i32, i32), h: HPos, v: VPos| {
            Text::new(text, at, letters().pos(Pos::new(h, v)))
        };
        root.draw(&words(
            format!("blue {:.0} %", 100.0 * plane.blue),
            (left, TOP - 12),
            HPos::Left,
            VPos::Bottom,
        ))?;
        root.draw(&words(
            "red 0 to 100 %, green upwards".to_owned(),
            (left, TOP + SIDE + 12),
            HPos::Left,
            VPos::Top,
        ))?;
    }
    key(root, quantity)
}

/// The classes, from the least to the most.
fn key(root: &Area<'_>, quantity: &Quantity) -> Result<(), Box<dyn std::error::Error>> {
    let y = TOP + SIDE + 72;
    for i in 0..CLASSES {
        let x = LEFT + 264 * i as i32;
        root.draw(&Rectangle::new(
            [(x, y), (x + 44, y + 32)],
            tint(i).filled(),
        ))?;
        root.draw(&Rectangle::new(
            [(x, y), (x + 44, y + 32)],
            colour(FRAME).stroke_width(2),
        ))?;
        let words = match (i.checked_sub(1), quantity.ends.get(i)) {
            (None, Some(end)) => format!("to {end} {}", quantity.unit),
            (Some(_), Some(end)) => format!("to {end}"),
            (_, None) => format!("above {}", quantity.ends[CLASSES - 2]),
        };
        let style = letters().pos(Pos::new(HPos::Left, VPos::Center));
        root.draw(&Text::new(words, (x + 56, y + 16), style))?;
    }
    Ok(())
}

fn class(value: f64, quantity: &Quantity) -> usize {
    quantity.ends.iter().take_while(|end| value > **end).count()
}

/// One hue, deeper for more: told apart without seeing hues.
fn tint(class: usize) -> RGBAColor {
    colour(Ink::First.rgb()).mix((class as f64 + 0.4) / (CLASSES as f64 - 0.6))
}
