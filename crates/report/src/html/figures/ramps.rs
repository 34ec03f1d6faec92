use std::ops::Range;

use evenstep_audit::{LightTrace, RampTrace};

use super::{SOME_CODES, Shared, TARGET, UNCORRECTED, base_name, each};
use crate::html::axis::Axis;
use crate::html::chart::{HALF, Level, Line, Plot, WIDE};
use crate::html::figure::{Figure, Table, cell, span_of};
use crate::html::ink::Ink;

/// What is drawn along a ramp.
pub(crate) struct Quantity {
    id: &'static str,
    title: &'static str,
    caption: &'static str,
    y: &'static str,
    decimals: usize,
    is_log: bool,
    of: fn(&LightTrace) -> Vec<Option<f64>>,
    with_target: bool,
    with_uncorrected: bool,
    /// A level to compare with, and its lettering.
    level: Option<(f64, &'static str)>,
    /// Whether codes that share a row of the table show the value farthest from 0; otherwise the first of them.
    is_extreme: bool,
    /// The drawn axis ends here, whatever the values; the table does not.
    most: f64,
    /// The drawn axis reaches this far at least, so that what nobody sees does not look large.
    least: f64,
}

fn known(values: &[f64]) -> Vec<Option<f64>> {
    values.iter().copied().map(Some).collect()
}

/// ΔE ITP of each step.
pub(crate) const STEPS: Quantity = Quantity {
    id: "steps",
    title: "Size of every step, greys",
    caption: "What the eye gets from one code to the next, in ΔE ITP (Rec. ITU-R BT.2124): 1 is just noticeable at the most \
              sensitive adaptation. Steps should follow the target's line. Below 0 the ramp turns back.",
    y: "ΔE ITP from one code to the next",
    decimals: 3,
    is_log: false,
    of: |l| known(&l.step_itp),
    with_target: true,
    with_uncorrected: false,
    level: Some((0.0, "")),
    is_extreme: true,
    most: f64::INFINITY,
    least: 1.0,
};

/// Departure of each step from the ideal.
pub(crate) const UNEVENNESS: Quantity = Quantity {
    id: "evenness",
    title: "How even the steps are, greys",
    caption: "Each step held against the target's own: 0 is even, 100 % is twice as large, −100 % is no step at all, below \
              that the ramp turns back. The drawing ends at ±150 %; the numbers do not. Steps that the panel cannot \
              show are left out.",
    y: "departure from the target's step, %",
    decimals: 1,
    is_log: false,
    of: |l| l.unevenness.iter().map(|v| v.map(|v| 100.0 * v)).collect(),
    with_target: false,
    with_uncorrected: false,
    level: Some((0.0, "even")),
    is_extreme: true,
    most: 150.0,
    least: 20.0,
};

/// Tint of the greys.
pub(crate) const TINT: Quantity = Quantity {
    id: "tint",
    title: "Tint of the greys",
    caption: "How far the colour of each grey lies from the target's, brightness left out, in ΔE ITP along T and P. A steady \
              tint is hard to see; a line that jumps shows as coloured stripes in a grey ramp.",
    y: "ΔE ITP without brightness",
    decimals: 2,
    is_log: false,
    of: |l| known(&l.tint_itp),
    with_target: false,
    with_uncorrected: true,
    level: Some((1.0, "just noticeable")),
    is_extreme: true,
    most: f64::INFINITY,
    least: 1.2,
};

/// Luminance on a logarithmic axis.
pub(crate) const LIGHT_LOG: Quantity = Quantity {
    id: "light-log",
    title: "Light of the greys, equal ratios",
    caption: "Luminance against the target on an axis of equal ratios. Codes without any light have no place on such an axis.",
    y: "cd/m², logarithmic",
    decimals: 4,
    is_log: true,
    of: |l| known(&l.luminance_cd_m2),
    with_target: true,
    with_uncorrected: true,
    level: None,
    is_extreme: false,
    most: f64::INFINITY,
    least: 0.0,
};

/// The same on an axis of equal appearance.
pub(crate) const LIGHT_SEEN: Quantity = Quantity {
    id: "light-seen",
    title: "Light of the greys, as it looks",
    caption: "The same luminance as its PQ code (SMPTE ST 2084), on which equal distances look about equally large.",
    y: "PQ code of the luminance, %",
    decimals: 3,
    is_log: false,
    of: |l| l.perceptual.iter().map(|v| Some(100.0 * v)).collect(),
    with_target: true,
    with_uncorrected: true,
    level: None,
    is_extreme: false,
    most: f64::INFINITY,
    least: 0.0,
};

impl Quantity {
    /// The lower end that is drawn at least: departures have two sides.
    fn at_least_below(&self) -> f64 {
        if self.most.is_finite() {
            -self.least
        } else {
            0.0
        }
    }
}

/// The part of a ramp that is drawn.
#[derive(Clone, Copy)]
pub(crate) enum Extent {
    /// All of it.
    Whole,
    /// Its codes near black, and the step that leaves them.
    NearBlack,
}

/// A quantity along the neutral ramp.
pub(crate) fn neutral(shared: &Shared, quantity: &Quantity, part: Extent) -> Option<Figure> {
    let first = shared.first()?;
    let at = first.traces.ramps.iter().position(|r| r.is_neutral)?;
    let is_wide = quantity.id == "steps" || quantity.id == "evenness";
    figure(shared, quantity, at, part, is_wide)
}

/// Steps along every ramp but the neutral one.
pub(crate) fn other_ramps(shared: &Shared) -> Vec<Figure> {
    let Some(first) = shared.first() else {
        return Vec::new();
    };
    let ramps = first.traces.ramps.iter().enumerate();
    ramps
        .filter(|(_, ramp)| !ramp.is_neutral)
        .filter_map(|(at, _)| figure(shared, &STEPS, at, Extent::Whole, false))
        .collect()
}

struct Series {
    ink: Ink,
    name: String,
    values: Vec<Option<f64>>,
}

fn figure(
    shared: &Shared,
    quantity: &Quantity,
    at: usize,
    part: Extent,
    is_wide: bool,
) -> Option<Figure> {
    let ramp = &shared.first()?.traces.ramps[at];
    let all = series(shared, quantity, at)?;
    let range = match part {
        Extent::Whole => 0..ramp.codes.len(),
        Extent::NearBlack => ramp.near_black.start..(ramp.near_black.end + 1).min(ramp.codes.len()),
    };
    if range.len() < 2 {
        return None;
    }
    let is_near_black = matches!(part, Extent::NearBlack);
    let (title, id) = words(quantity, ramp, is_near_black);
    let chart = plot(shared, quantity, ramp, &all, &range, is_wide);
    let told: Vec<String> = all
        .iter()
        .map(|s| {
            let values = range.clone().filter_map(|i| *s.values.get(i)?);
            format!("{} {}", s.name, span_of(values, quantity.decimals.min(2)))
        })
        .collect();
    Some(Figure {
        alt: format!(
            "{title}: {} against the code from {} to {}. {}.",
            quantity.y,
            ramp.codes[range.start],
            ramp.codes[range.end - 1],
            told.join("; ")
        ),
        id: shared.id(&id),
        title,
        caption: if ramp.is_neutral {
            quantity.caption
        } else {
            ""
        }
        .to_owned(),
        legend: all.iter().map(|s| (s.ink, s.name.clone())).collect(),
        chart: chart.draw(),
        table: table(shared, quantity, ramp, &all, &range),
        is_wide,
    })
}

fn words(quantity: &Quantity, ramp: &RampTrace, is_near_black: bool) -> (String, String) {
    let (title, id) = if ramp.is_neutral {
        (quantity.title.to_owned(), quantity.id.to_owned())
    } else {
        (
            format!("Size of every step, {}", ramp.name),
            format!("{}-{}", quantity.id, ramp.name),
        )
    };
    if is_near_black {
        (format!("{title}, near black"), format!("{id}-near-black"))
    } else {
        (title, id)
    }
}

/// The lines of a figure: corrections on top of the base, the base on top of the rest.
fn series(shared: &Shared, quantity: &Quantity, at: usize) -> Option<Vec<Series>> {
    let traces = shared.first()?.traces;
    let first = &traces.ramps[at];
    let one = |ink: Ink, name: &str, light: &Option<LightTrace>| {
        light.as_ref().map(|light| Series {
            ink,
            name: name.to_owned(),
            values: (quantity.of)(light),
        })
    };
    let mut all = Vec::new();
    if quantity.with_uncorrected {
        all.extend(one(Ink::Uncorrected, UNCORRECTED, &first.uncorrected));
    }
    if quantity.with_target {
        all.extend(one(Ink::Target, TARGET, &first.target));
    }
    all.extend(one(Ink::Base, base_name(traces), &first.base));
    for chain in shared.chains.iter().rev() {
        all.extend(one(
            chain.ink,
            chain.name,
            &chain.traces.ramps.get(at)?.correction,
        ));
    }
    all.reverse();
    (!all.is_empty()).then_some(all)
}

fn plot(
    shared: &Shared,
    quantity: &Quantity,
    ramp: &RampTrace,
    all: &[Series],
    range: &Range<usize>,
    is_wide: bool,
) -> Plot {
    let drawn = || {
        all.iter()
            .flat_map(|s| range.clone().filter_map(|i| *s.values.get(i)?))
            .map(|v| v.clamp(-quantity.most, quantity.most))
    };
    let y = if quantity.is_log {
        Axis::log(quantity.y, drawn())
    } else {
        Axis::around(
            quantity.y,
            drawn().chain([quantity.least, quantity.at_least_below()]),
        )
    };
    let code = |i: usize| f64::from(ramp.codes[i]);
    let x = Axis::linear(shared.code_axis(), code(range.start), code(range.end - 1));
    let mut plot = Plot::new(if is_wide { WIDE } else { HALF }, x, y);
    plot.levels.extend(quantity.level.map(|(at, words)| Level {
        at,
        words: words.to_owned(),
        is_x: false,
    }));
    // What is drawn last lies on top.
    plot.lines = all
        .iter()
        .rev()
        .map(|s| Line {
            ink: s.ink,
            points: range
                .clone()
                .filter_map(|i| Some((code(i), *s.values.get(i)?)))
                .collect(),
        })
        .collect();
    plot.rows = groups(range).map(|g| (code(g.start), None)).collect();
    plot
}

/// Codes that share a row of the table.
fn groups(range: &Range<usize>) -> impl Iterator<Item = Range<usize>> + use<> {
    let (each, _) = each(range.len());
    let end = range.end;
    range
        .clone()
        .step_by(each)
        .map(move |start| start..(start + each).min(end))
}

fn table(
    shared: &Shared,
    quantity: &Quantity,
    ramp: &RampTrace,
    all: &[Series],
    range: &Range<usize>,
) -> Table {
    let is_grouped = each(range.len()).0 > 1;
    let value = |series: &Series, group: &Range<usize>| {
        let values = group.clone().filter_map(|i| *series.values.get(i)?);
        if quantity.is_extreme {
            values.reduce(|a, b| if b.abs() > a.abs() { b } else { a })
        } else {
            series.values.get(group.start).copied().flatten()
        }
    };
    let mut head = vec![shared.code_axis()];
    head.extend(all.iter().map(|s| s.name.clone()));
    let rows = groups(range)
        .map(|group| {
            let codes = ramp.codes[group.start].to_string();
            let cells = all
                .iter()
                .map(|s| cell(value(s, &group), quantity.decimals));
            std::iter::once(codes).chain(cells).collect()
        })
        .collect();
    Table {
        note: match (is_grouped, quantity.is_extreme) {
            (true, true) => {
                "A row stands for its code and those up to the next row, with the value among them that is farthest from 0."
            }
            (true, false) => SOME_CODES,
            (false, _) => "",
        },
        head,
        rows,
    }
}
