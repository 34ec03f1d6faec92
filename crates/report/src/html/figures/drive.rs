use super::{Shared, each};
use crate::html::axis::Axis;
use crate::html::chart::{Line, Plot, WIDE};
use crate::html::figure::{Figure, Table, cell, span_of};
use crate::html::ink::Ink;

const CHANNELS: [(Ink, &str); 3] = [
    (Ink::Red, "red"),
    (Ink::Green, "green"),
    (Ink::Blue, "blue"),
];

/// Steps of the drive along the neutral ramp: what can be drawn of a correction whose panel is not known.
pub(crate) fn drive_steps(shared: &Shared) -> Option<Figure> {
    let chain = shared.first()?;
    let ramp = chain.traces.ramps.iter().find(|r| r.is_neutral)?;
    if ramp.correction.is_some() {
        return None;
    }
    let last = ramp.codes.len() - 1;
    // Drive over signal: 1 is what no correction does.
    let step = |i: usize, c: usize| {
        (ramp.drive[i + 1][c] - ramp.drive[i][c]) / (ramp.signals[i + 1][c] - ramp.signals[i][c])
    };
    let code = |i: usize| f64::from(ramp.codes[i]);
    let all = || (0..last).flat_map(|i| (0..3).map(move |c| step(i, c)));
    let mut plot = Plot::new(
        WIDE,
        Axis::linear(shared.code_axis(), code(0), code(last)),
        Axis::around("step of the drive, 1 as without the LUT", all()),
    );
    plot.lines = CHANNELS
        .iter()
        .enumerate()
        .map(|(c, (ink, _))| Line {
            ink: *ink,
            points: (0..last).map(|i| (code(i), Some(step(i, c)))).collect(),
        })
        .collect();
    let (step_of_rows, note) = each(last);
    let rows = || (0..last).step_by(step_of_rows);
    plot.rows = rows().map(|i| (code(i), None)).collect();
    let title = "Steps of the drive, greys".to_owned();
    Some(Figure {
        id: shared.id("drive-steps"),
        alt: format!("{title}: {} of a step without the LUT.", span_of(all(), 2)),
        title,
        caption: "What the LUT sends to the panel from one code to the next. Without readings nothing is known of the light \
                  that follows. A line that falls below 0 turns back; one that lies on 0 merges codes."
            .to_owned(),
        legend: CHANNELS
            .iter()
            .map(|(ink, name)| (*ink, (*name).to_owned()))
            .collect(),
        chart: plot.draw(),
        table: Table {
            note,
            head: [shared.code_axis(), "red".into(), "green".into(), "blue".into()].to_vec(),
            rows: rows()
                .map(|i| {
                    let mut row = vec![ramp.codes[i].to_string()];
                    row.extend((0..3).map(|c| cell(Some(step(i, c)), 3)));
                    row
                })
                .collect(),
        },
        is_wide: true,
    })
}
