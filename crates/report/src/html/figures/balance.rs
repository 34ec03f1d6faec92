use evenstep_audit::RampTrace;

use super::{Chain, Shared, each};
use crate::html::axis::Axis;
use crate::html::chart::{HALF, Level, Line, Plot};
use crate::html::figure::{Figure, Table, cell, span_of};
use crate::html::ink::Ink;

const CHANNELS: [(Ink, &str); 3] = [
    (Ink::Red, "red"),
    (Ink::Green, "green"),
    (Ink::Blue, "blue"),
];
/// The drawing ends here, in per cent: near black a trace of light is a large share.
const MOST: f64 = 30.0;
/// The drawn axis reaches this far at least: a smaller departure is hardly seen.
const LEAST: f64 = 3.0;

/// Red, green and blue light of the greys, a figure for each correction.
pub(crate) fn balance(shared: &Shared) -> Vec<Figure> {
    shared
        .chains
        .iter()
        .enumerate()
        .filter_map(|(i, chain)| one(shared, chain, i))
        .collect()
}

fn one(shared: &Shared, chain: &Chain, place: usize) -> Option<Figure> {
    let ramp = chain.traces.ramps.iter().find(|r| r.is_neutral)?;
    let light = ramp.correction.as_ref()?;
    let percent = |i: usize, c: usize| light.balance[i][c].map(|v| 100.0 * v);
    let code = |i: usize| f64::from(ramp.codes[i]);
    let all = 0..ramp.codes.len();
    let drawn = all
        .clone()
        .flat_map(|i| (0..3).filter_map(move |c| percent(i, c)))
        .map(|v| v.clamp(-MOST, MOST))
        .chain([-LEAST, LEAST]);
    let mut plot = Plot::new(
        HALF,
        Axis::linear(shared.code_axis(), code(0), code(all.end - 1)),
        Axis::around("departure from the target's share, %", drawn),
    );
    plot.levels.push(Level {
        at: 0.0,
        words: String::new(),
        is_x: false,
    });
    plot.lines = CHANNELS
        .iter()
        .enumerate()
        .map(|(c, (ink, _))| Line {
            ink: *ink,
            points: all.clone().map(|i| (code(i), percent(i, c))).collect(),
        })
        .collect();
    let (step_of_rows, note) = each(ramp.codes.len());
    let rows = || all.clone().step_by(step_of_rows);
    plot.rows = rows().map(|i| (code(i), None)).collect();
    let told: Vec<String> = CHANNELS
        .iter()
        .enumerate()
        .map(|(c, (_, name))| {
            format!(
                "{name} {} %",
                span_of(all.clone().filter_map(|i| percent(i, c)), 1)
            )
        })
        .collect();
    let title = format!("Red, green and blue of the greys: {}", chain.name);
    Some(Figure {
        id: shared.id(&format!("balance-{}", place + 1)),
        alt: format!(
            "{title}, above or below the target's share. {}.",
            told.join("; ")
        ),
        title,
        caption: "The shown light split into the target's own red, green and blue, each against what the target asks for. \
                  0 is neutral. The drawing ends at ±30 %."
            .to_owned(),
        legend: CHANNELS
            .iter()
            .map(|(ink, name)| (*ink, (*name).to_owned()))
            .collect(),
        chart: plot.draw(),
        table: Table {
            note,
            head: [shared.code_axis(), "red, %".into(), "green, %".into(), "blue, %".into()].to_vec(),
            rows: rows().map(|i| row(ramp, i, percent)).collect(),
        },
        is_wide: false,
    })
}

fn row(ramp: &RampTrace, i: usize, percent: impl Fn(usize, usize) -> Option<f64>) -> Vec<String> {
    let mut row = vec![ramp.codes[i].to_string()];
    row.extend((0..3).map(|c| cell(percent(i, c), 2)));
    row
}
