use evenstep_audit::NoiseGrey;

use super::Shared;
use crate::html::axis::Axis;
use crate::html::chart::{HALF, Level, Line, Plot};
use crate::html::figure::{Figure, Table, cell, span_of};

/// Greys farther apart than this are not neighbours, in per cent of the signal: codes of 8 bits are 0.4 apart.
const APART: f64 = 2.0;

/// What the correction does to the noise of a picture, grey by grey.
pub(crate) fn noise(shared: &Shared) -> Option<Figure> {
    let greys = &shared.first()?.traces.noise;
    let percent = |i: usize| 100.0 * greys[i].signal;
    let gains = |which: usize| {
        shared.chains[which]
            .traces
            .noise
            .iter()
            .filter_map(|g| g.gain)
    };
    let all = || (0..shared.chains.len()).flat_map(gains);
    all().next()?;
    let mut plot = Plot::new(
        HALF,
        Axis::linear(
            "signal of the grey, %",
            0.0,
            greys.last().map_or(100.0, |g| 100.0 * g.signal),
        ),
        Axis::around("times the target's own noise", all().chain([1.2])),
    );
    plot.levels.push(Level {
        at: 1.0,
        words: "neither more nor less".to_owned(),
        is_x: false,
    });
    plot.lines = shared
        .chains
        .iter()
        .rev()
        .map(|chain| Line {
            ink: chain.ink,
            points: broken(&chain.traces.noise),
        })
        .collect();
    plot.rows = (0..greys.len()).map(|i| (percent(i), None)).collect();
    let mut head = vec!["signal, %".to_owned()];
    head.extend(shared.chains.iter().map(|c| c.name.to_owned()));
    let rows = (0..greys.len())
        .map(|i| {
            let mut row = vec![format!("{:.2}", percent(i))];
            row.extend(
                shared
                    .chains
                    .iter()
                    .map(|c| cell(c.traces.noise.get(i).and_then(|g| g.gain), 2)),
            );
            row
        })
        .collect();
    let told: Vec<String> = (0..shared.chains.len())
        .map(|i| format!("{} {}", shared.chains[i].name, span_of(gains(i), 2)))
        .collect();
    let title = "Noise of pictures".to_owned();
    Some(Figure {
        id: shared.id("noise"),
        alt: format!(
            "{title}: how much larger noise gets than the target makes it. {}.",
            told.join("; ")
        ),
        title,
        caption: "How much larger the correction makes one code of 8-bit noise than the target does, in the direction where it \
                  is worst; greys near black and mid-tones. Above 1 noise crawls that was not seen before."
            .to_owned(),
        legend: shared
            .chains
            .iter()
            .map(|c| (c.ink, c.name.to_owned()))
            .collect(),
        chart: plot.draw(),
        table: Table {
            note: "A dash: noise too small to see or out of range.",
            head,
            rows,
        },
        is_wide: false,
    })
}

/// Greys that lie apart are not joined: between near black and the mid-tones none is looked at.
fn broken(greys: &[NoiseGrey]) -> Vec<(f64, Option<f64>)> {
    let mut points: Vec<(f64, Option<f64>)> = Vec::new();
    for grey in greys {
        let at = 100.0 * grey.signal;
        if points.last().is_some_and(|(before, _)| at - before > APART) {
            points.push((at, None));
        }
        points.push((at, grey.gain));
    }
    points
}
