use evenstep_audit::{ColourTrace, Miss};
use evenstep_colour::Xyz;

use super::{BASE, Shared, TARGET, UNCORRECTED};
use crate::html::axis::Axis;
use crate::html::chart::{Dots, HALF, Level, Line, Plot, aspect};
use crate::html::figure::{Figure, Table, cell, span_of};
use crate::html::ink::Ink;

/// Colour errors at which figures have a mark: common practice, without a source.
const MARKS: [(f64, &str); 2] = [(1.0, "1"), (3.0, "3")];
/// Smallest error that has a place on the axis of the named colours.
const LEAST: f64 = 0.01;
/// Bins of a doubling of the error.
const PER_DOUBLING: f64 = 2.0;
/// Upper end of the first bin.
const FIRST_BIN: f64 = 0.01;

/// All errors of one chain.
struct Errors {
    ink: Ink,
    name: String,
    of: fn(&ColourTrace) -> Miss,
    /// Which correction's traces they are in.
    chain: usize,
}

fn chains(shared: &Shared) -> Vec<Errors> {
    let mut all: Vec<Errors> = shared
        .chains
        .iter()
        .enumerate()
        .map(|(i, chain)| Errors {
            ink: chain.ink,
            name: chain.name.to_owned(),
            of: |c| c.correction,
            chain: i,
        })
        .collect();
    all.push(Errors {
        ink: Ink::Base,
        name: BASE.to_owned(),
        of: |c| c.base,
        chain: 0,
    });
    all.push(Errors {
        ink: Ink::Uncorrected,
        name: UNCORRECTED.to_owned(),
        of: |c| c.uncorrected,
        chain: 0,
    });
    all
}

fn legend(all: &[Errors]) -> Vec<(Ink, String)> {
    all.iter().map(|e| (e.ink, e.name.clone())).collect()
}

fn levels(is_x: bool) -> impl Iterator<Item = Level> {
    MARKS.into_iter().map(move |(at, words)| Level {
        at,
        words: words.to_owned(),
        is_x,
    })
}

/// Lower and upper end of bin `i`; the first begins at 0.
fn bin(i: usize) -> [f64; 2] {
    let end = |i: f64| FIRST_BIN * 2_f64.powf(i / PER_DOUBLING);
    [
        if i == 0 { 0.0 } else { end(i as f64 - 1.0) },
        end(i as f64),
    ]
}

fn bin_of(error: f64) -> usize {
    if error <= FIRST_BIN {
        return 0;
    }
    ((error / FIRST_BIN).log2() * PER_DOUBLING).ceil() as usize
}

/// How many colours of the cube are how far off.
pub(crate) fn histogram(shared: &Shared) -> Option<Figure> {
    let all = chains(shared);
    let errors: Vec<Vec<f64>> = all.iter().map(|e| reachable(shared, e)).collect();
    let shares: Vec<Vec<f64>> = errors.iter().map(|e| shares(e)).collect();
    let bins = shares.iter().map(Vec::len).max().filter(|n| *n > 0)?;
    let share = |which: usize, i: usize| shares[which].get(i).copied().unwrap_or(0.0);
    let mut plot = Plot::new(
        HALF,
        Axis::log(
            "CIEDE2000, logarithmic",
            [FIRST_BIN, bin(bins)[1]].into_iter(),
        ),
        Axis::around("% of the colours", shares.iter().flatten().copied()),
    );
    plot.levels.extend(levels(true));
    let centre = |i: usize| bin(i)[1] / 2_f64.powf(0.5 / PER_DOUBLING);
    plot.lines = (0..all.len())
        .rev()
        .map(|which| Line {
            ink: all[which].ink,
            points: (0..=bins)
                .map(|i| (centre(i).max(FIRST_BIN), Some(share(which, i))))
                .collect(),
        })
        .collect();
    plot.rows = (0..bins).map(|i| (centre(i), None)).collect();
    let mut head = vec!["CIEDE2000 up to".to_owned()];
    head.extend(all.iter().map(|e| format!("{}, %", e.name)));
    let rows = (0..bins)
        .map(|i| {
            let mut row = vec![format!("{:.3}", bin(i)[1])];
            row.extend((0..all.len()).map(|which| cell(Some(share(which, i)), 1)));
            row
        })
        .collect();
    let told: Vec<String> = all
        .iter()
        .enumerate()
        .map(|(which, e)| {
            let count = errors[which].iter().filter(|e| **e > 1.0).count();
            let above = 100.0 * count as f64 / errors[which].len().max(1) as f64;
            format!("{}: {above:.0} % of the colours above 1", e.name)
        })
        .collect();
    let title = "How many colours are how far off".to_owned();
    Some(Figure {
        id: shared.id("histogram"),
        alt: format!("{title}, CIEDE2000. {}.", told.join("; ")),
        title,
        caption: "Colours over the whole cube that the panel can reach, sorted by their distance from the target; each class is \
                  1.41 times as wide as the one before. Marks at 1 and 3 are common practice, not a standard."
            .to_owned(),
        legend: legend(&all),
        chart: plot.draw(),
        table: Table {
            note: "",
            head,
            rows,
        },
        is_wide: false,
    })
}

/// CIEDE2000 of every reachable colour of the cube.
fn reachable(shared: &Shared, errors: &Errors) -> Vec<f64> {
    let cube = &shared.chains[errors.chain].traces.cube;
    cube.iter()
        .filter(|c| c.reachable)
        .map(|c| (errors.of)(c).de2000)
        .filter(|e| e.is_finite())
        .collect()
}

/// Per cent of the colours in each bin; empty without any.
fn shares(all: &[f64]) -> Vec<f64> {
    let mut shares = Vec::new();
    for error in all {
        let at = bin_of(*error);
        if shares.len() <= at {
            shares.resize(at + 1, 0.0);
        }
        shares[at] += 100.0 / all.len() as f64;
    }
    shares
}

/// Where named colours lie, wanted and shown.
///
/// # Source
/// CIE 15:2018, u′v′ of the CIE 1976 uniform chromaticity scale.
pub(crate) fn chromaticity(shared: &Shared) -> Option<Figure> {
    let place = |xyz: Xyz| {
        let [x, y, z] = xyz.0;
        let sum = x + 15.0 * y + 3.0 * z;
        (sum > 0.0).then(|| (4.0 * x / sum, 9.0 * y / sum))
    };
    // Below this the light has no colour worth a place.
    let lit = |c: &&ColourTrace| c.wanted.luminance_cd_m2() > 0.0;
    let patches = || shared.chains[0].traces.patches.iter().filter(lit);
    let dots = |ink: Ink, which: usize, of: &dyn Fn(&ColourTrace) -> Xyz| Dots {
        ink,
        points: shared.chains[which]
            .traces
            .patches
            .iter()
            .filter(lit)
            .filter_map(|c| place(of(c)))
            .collect(),
    };
    patches().next()?;
    let mut all = vec![
        dots(Ink::Uncorrected, 0, &|c| c.uncorrected.shown),
        dots(Ink::Target, 0, &|c| c.wanted),
    ];
    all.extend(
        (0..shared.chains.len())
            .rev()
            .map(|which| dots(shared.chains[which].ink, which, &|c| c.correction.shown)),
    );
    let range = |of: &dyn Fn(&(f64, f64)) -> f64| {
        let values = || all.iter().flat_map(|d| &d.points).map(of);
        let (low, high) = (
            values().fold(f64::INFINITY, f64::min),
            values().fold(0.0, f64::max),
        );
        (low - 0.02, high + 0.02)
    };
    // One scale for both, or distances in the plane would mislead.
    let (u, v) = (range(&|p| p.0), range(&|p| p.1));
    let height = (v.1 - v.0).max((u.1 - u.0) / aspect(HALF));
    let about = |(low, high): (f64, f64), span: f64| {
        let middle = (low + high) / 2.0;
        (middle - span / 2.0, middle + span / 2.0)
    };
    let (u, v) = (about(u, height * aspect(HALF)), about(v, height));
    let mut plot = Plot::new(
        HALF,
        Axis::linear("u′", u.0, u.1),
        Axis::linear("v′", v.0, v.1),
    );
    plot.dots = all;
    let rows: Vec<(&ColourTrace, (f64, f64))> = patches()
        .filter_map(|c| Some((c, place(c.wanted)?)))
        .collect();
    plot.rows = rows.iter().map(|(_, (u, v))| (*u, Some(*v))).collect();
    let pair =
        |at: Option<(f64, f64)>| at.map_or("–".to_owned(), |(u, v)| format!("{u:.4} {v:.4}"));
    let mut head = vec!["colour".to_owned(), "target u′ v′".to_owned()];
    head.extend(shared.chains.iter().map(|c| format!("{} u′ v′", c.name)));
    head.push(format!("{UNCORRECTED} u′ v′"));
    let cells = rows
        .iter()
        .map(|(c, wanted)| {
            let mut row = vec![c.name.clone(), pair(Some(*wanted))];
            row.extend(shared.chains.iter().map(|chain| {
                let own = chain.traces.patches.iter().find(|p| p.name == c.name);
                pair(own.and_then(|p| place(p.correction.shown)))
            }));
            row.push(pair(place(c.uncorrected.shown)));
            row
        })
        .collect();
    let named = |ink: Ink, name: &str| (ink, format!("{name}: {}", ink.shape().word()));
    let mut legend = vec![named(Ink::Target, TARGET)];
    legend.extend(shared.chains.iter().map(|c| named(c.ink, c.name)));
    legend.push(named(Ink::Uncorrected, UNCORRECTED));
    let title = "Hue and saturation of named colours".to_owned();
    Some(Figure {
        id: shared.id("chromaticity"),
        alt: format!(
            "{title}: {} colours in the u′v′ plane, wanted and shown.",
            rows.len()
        ),
        title,
        caption: "Rings are wanted, marks are shown, in u′v′ (CIE 15:2018), brightness left out. A mark off the centre of its \
                  ring is a hue or saturation that is off, or out of the panel's reach."
            .to_owned(),
        legend,
        chart: plot.draw(),
        table: Table {
            note: "",
            head,
            rows: cells,
        },
        is_wide: false,
    })
}

/// Error of every named colour.
pub(crate) fn by_name(shared: &Shared) -> Option<Figure> {
    let all = chains(shared);
    let patches = &shared.chains[0].traces.patches;
    if patches.is_empty() {
        return None;
    }
    let error = |errors: &Errors, at: usize| {
        let patch = shared.chains[errors.chain].traces.patches.get(at)?;
        Some((errors.of)(patch).de2000).filter(|e| e.is_finite())
    };
    let count = patches.len();
    // The first stands on top.
    let row_of = |at: usize| (count - 1 - at) as f64;
    let values = || {
        all.iter()
            .flat_map(|e| (0..count).filter_map(move |at| error(e, at)))
            .map(|e| e.max(LEAST))
    };
    let mut plot = Plot::new(
        (HALF.0, 140 + 36 * count as u32),
        Axis::log("CIEDE2000, logarithmic", values()),
        Axis::linear("", -0.7, count as f64 - 0.3),
    );
    plot.names = patches.iter().rev().map(|p| p.name.clone()).collect();
    plot.levels.extend(levels(true));
    plot.dots = all
        .iter()
        .rev()
        .map(|e| Dots {
            ink: e.ink,
            points: (0..count)
                .filter_map(|at| Some((error(e, at)?.max(LEAST), row_of(at))))
                .collect(),
        })
        .collect();
    plot.rows = (0..count)
        .map(|at| {
            let own = error(&all[0], at).unwrap_or(LEAST).max(LEAST);
            (own, Some(row_of(at)))
        })
        .collect();
    let mut head = vec!["colour".to_owned(), "in reach".to_owned()];
    head.extend(all.iter().map(|e| e.name.clone()));
    let rows = (0..count)
        .map(|at| {
            let reach = if patches[at].reachable { "yes" } else { "no" };
            let mut row = vec![patches[at].name.clone(), reach.to_owned()];
            row.extend(all.iter().map(|e| cell(error(e, at), 2)));
            row
        })
        .collect();
    let told: Vec<String> = all
        .iter()
        .map(|e| {
            let values = (0..count).filter_map(|at| error(e, at));
            format!("{} {}", e.name, span_of(values, 2))
        })
        .collect();
    let title = "Colour by colour".to_owned();
    Some(Figure {
        id: shared.id("by-name"),
        alt: format!("{title}, CIEDE2000: {}.", told.join("; ")),
        title,
        caption: "CIEDE2000 from the target. Colours out of the panel's reach are off whatever the correction. What is below 0.01 \
                  stands at 0.01. Marks at 1 and 3 are common practice."
            .to_owned(),
        legend: legend(&all),
        chart: plot.draw(),
        table: Table {
            note: "",
            head,
            rows,
        },
        is_wide: false,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Every error lies in its bin.
        #[test]
        fn bins_hold_their_errors(error in 0.0_f64..200.0) {
            let [low, high] = bin(bin_of(error));
            // A bin's end may be computed a rounding away from the error that lies on it.
            const ROUNDOFF: f64 = 1e-12;
            prop_assert!(error <= high * (1.0 + ROUNDOFF) && error >= low * (1.0 - ROUNDOFF), "{low} {error} {high}");
        }
    }
}
