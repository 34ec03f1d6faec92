use evenstep_fit::{Band, PatchMiss, Regions};

use crate::html::axis::Axis;
use crate::html::chart::{Dots, HALF, Level, Plot, WIDE};
use crate::html::figure::{Figure, Table, cell, span_of};
use crate::html::ink::Ink;

/// How far each reading is predicted from the others.
pub(crate) fn misses(misses: &[PatchMiss]) -> Option<Figure> {
    let values = || misses.iter().map(|m| m.itp);
    values().next()?;
    let last = misses.iter().map(|m| m.order).max().unwrap_or(0);
    let mut plot = Plot::new(
        WIDE,
        Axis::linear("reading, in the order taken", 0.0, last as f64),
        Axis::log("ΔE ITP, logarithmic", values()),
    );
    plot.levels.push(Level {
        at: 1.0,
        words: "just noticeable".to_owned(),
        is_x: false,
    });
    plot.dots.push(Dots {
        ink: Ink::First,
        points: misses.iter().map(|m| (m.order as f64, m.itp)).collect(),
    });
    plot.rows = misses
        .iter()
        .map(|m| (m.order as f64, Some(m.itp)))
        .collect();
    let title = "Every reading, predicted from the others".to_owned();
    Some(Figure {
        id: "misses".to_owned(),
        alt: format!(
            "{title}: {} ΔE ITP for {} readings.",
            span_of(values(), 2),
            misses.len()
        ),
        title,
        caption: "A model that does not know the reading says what it should be: the distance is what an unread colour may be \
                  off by. One that stands out was misread, or lies where more patches are wanted. Corners of the cube \
                  are never left out."
            .to_owned(),
        legend: Vec::new(),
        chart: plot.draw(),
        table: Table {
            note: "",
            head: ["reading", "drive, %", "ΔE ITP"].map(str::to_owned).to_vec(),
            rows: misses
                .iter()
                .map(|m| {
                    let drive = m.drive.map(|v| format!("{:.1}", 100.0 * v)).join(" ");
                    vec![m.id.clone(), drive, cell(Some(m.itp), 2)]
                })
                .collect(),
        },
        is_wide: true,
    })
}

/// Within which distance 95 of 100 colours are shown, by region.
pub(crate) fn confidence(bands: &Regions<Option<Band>>) -> Option<Figure> {
    let all = [
        ("whole cube", bands.all),
        ("near black", bands.near_black),
        ("neutral", bands.neutral),
        ("skin", bands.skin),
        ("saturated", bands.saturated),
    ];
    let known = || all.iter().filter_map(|(_, band)| *band);
    known().next()?;
    let row_of = |at: usize| (all.len() - 1 - at) as f64;
    let top = known().flat_map(|b| [b.de2000_q95, b.itp_q95]);
    let mut plot = Plot::new(
        HALF,
        Axis::around("95 of 100 colours within, CIEDE2000 or ΔE ITP", top),
        Axis::linear("", -0.6, all.len() as f64 - 0.4),
    );
    plot.names = all
        .iter()
        .rev()
        .map(|(name, _)| (*name).to_owned())
        .collect();
    let points = |of: &dyn Fn(Band) -> f64| {
        all.iter()
            .enumerate()
            .filter_map(|(at, (_, band))| Some((of((*band)?), row_of(at))))
            .collect()
    };
    plot.dots = vec![
        Dots {
            ink: Ink::First,
            points: points(&|b| b.de2000_q95),
        },
        Dots {
            ink: Ink::Third,
            points: points(&|b| b.itp_q95),
        },
    ];
    plot.rows = all
        .iter()
        .enumerate()
        .map(|(at, (_, band))| (band.map_or(0.0, |b| b.de2000_q95), Some(row_of(at))))
        .collect();
    let title = "How sure the correction is".to_owned();
    let told: Vec<String> = all
        .iter()
        .filter_map(|(name, band)| {
            let band = (*band)?;
            Some(format!(
                "{name} {:.2} and {:.2}",
                band.de2000_q95, band.itp_q95
            ))
        })
        .collect();
    Some(Figure {
        id: "confidence".to_owned(),
        alt: format!(
            "{title}: 95 of 100 colours lie within this CIEDE2000 and ΔE ITP of the target. {}.",
            told.join("; ")
        ),
        title,
        caption: "From how far left-out readings were missed: 95 of 100 colours are expected to lie within these distances of \
                  the target, by region."
            .to_owned(),
        legend: vec![
            (Ink::First, format!("CIEDE2000: {}", Ink::First.shape().word())),
            (Ink::Third, format!("ΔE ITP: {}", Ink::Third.shape().word())),
        ],
        chart: plot.draw(),
        table: Table {
            note: "",
            head: ["region", "CIEDE2000", "ΔE ITP"].map(str::to_owned).to_vec(),
            rows: all
                .iter()
                .map(|(name, band)| {
                    vec![
                        (*name).to_owned(),
                        cell(band.map(|b| b.de2000_q95), 2),
                        cell(band.map(|b| b.itp_q95), 2),
                    ]
                })
                .collect(),
        },
        is_wide: false,
    })
}
