use evenstep_display::{Choice, Sharing};
use evenstep_fit::{FitReport, GradationReport, ShaperReport, TargetReport};

use crate::text::{counted, labelled, next_in_words, three_digits};

/// What was fitted, to what, and how well, for a calibrator to read in a minute.
#[must_use]
pub fn fit_text(report: &FitReport) -> String {
    let is_base = report.form.is_none();
    let kind = if is_base {
        "base correction (curves and matrix)"
    } else {
        "3D correction"
    };
    let mut text = format!(
        "{kind} in a lattice of {nodes} x {nodes} x {nodes} nodes, stored at {} bits\n\n",
        report.node_bits,
        nodes = report.nodes
    );
    for line in target(&report.target) {
        text += &line;
    }
    text += &labelled("Readings", &readings(report));
    text += &labelled("Noise", &noise(report));
    let notes = [unseen(report), contradicted(report), drifted(report)];
    for line in notes.iter().flatten() {
        text += &labelled("", line);
    }
    text += &labelled("Model", &model(report));
    if let Some(choice) = &report.choice {
        text += &labelled("", &chosen(choice));
    }
    for line in errors(report) {
        text += &line;
    }
    text += &sure(report);
    text += &labelled("Reach", &reach(report));
    if let Some(gradation) = &report.gradation {
        text += &labelled("Gradation", &held(gradation));
    }
    for (i, note) in report.notes.iter().enumerate() {
        text += &labelled(if i == 0 { "Notes" } else { "" }, note);
    }
    if let Some(shaper) = &report.shaper {
        text += &labelled("Shaper", &shaper_gain(shaper));
    }
    if let Some(next) = report.next_patches.as_deref().filter(|n| !n.is_empty()) {
        text += &labelled("Read next", &next_in_words(next));
    }
    if report.base_suffices && !is_base {
        text += &labelled(
            "Advice",
            "the base correction alone predicts these readings as well: they support no 3D correction. Fit again \
             with --base-only, or read more mixed colours",
        );
    }
    text
}

fn target(target: &TargetReport) -> Vec<String> {
    let [x, y] = target.white_xy;
    let white = target.white_cd_m2;
    let mut lines = vec![labelled(
        "Target",
        &format!(
            "primaries {}, transfer {}, white x {x:.4} y {y:.4} at {white:.2} cd/m², black {} cd/m²",
            target.primaries,
            target.transfer,
            three_digits(target.black_xyz[1])
        ),
    )];
    let reach = target.reach_cd_m2;
    let lowered = if target.lowered > 0.0 {
        format!(
            "; {:.1} % of this is so that the whole neutral axis can be shown",
            100.0 * target.lowered
        )
    } else {
        String::new()
    };
    lines.push(labelled(
        "",
        &if white > reach {
            format!(
                "this white is above the {reach:.2} cd/m² that the panel reaches at its chromaticity: bright signals \
                 cannot be shown as asked; lower --peak"
            )
        } else {
            format!(
                "white lies {:.1} % below the {reach:.2} cd/m² that the panel reaches at its chromaticity{lowered}",
                100.0 * (1.0 - white / reach)
            )
        },
    ));
    if target.neutral_codes_missed > 0 {
        lines.push(labelled(
            "",
            &format!(
                "{} of 1024 neutral codes should be darker than the panel's own black and cannot be",
                target.neutral_codes_missed
            ),
        ));
    }
    lines
}

fn readings(report: &FitReport) -> String {
    let patches = &report.patches;
    format!(
        "{} averaged into {}: {}, {} of all three channels, {} darker than three times the noise floor",
        counted(patches.averaged, "reading", "readings"),
        counted(patches.used, "patch", "patches"),
        counted(patches.neutral_levels, "neutral level", "neutral levels"),
        counted(patches.interior, "mixture", "mixtures"),
        patches.below_floor
    )
}

fn noise(report: &FitReport) -> String {
    let source = if report.noise.source == "repeats" {
        "measured from repeated readings"
    } else {
        "assumed, because too few patches were read more than once"
    };
    format!(
        "{} % of the light and {} cd/m² at black (standard deviations), {source}",
        three_digits(100.0 * report.noise.relative),
        three_digits(report.noise.floor_cd_m2)
    )
}

fn model(report: &FitReport) -> String {
    let (Some(form), Some(encoding), Some(smoothing)) =
        (&report.form, &report.encoding, report.smoothing)
    else {
        return "black, a matrix and a tone curve for each channel".to_owned();
    };
    let scheme = &report.scheme;
    match form.as_str() {
        // Its smoothing is the factor on the noise.
        "channels" => format!(
            "channels that bend about the base correction, and {scheme} of what is left, in {encoding} space; the noise \
             taken {} times as large as stated{}",
            three_digits(smoothing),
            report.sharing.as_ref().map_or_else(String::new, shared)
        ),
        "residual" => format!(
            "{scheme} of what the base correction leaves over, in {encoding} space, smoothing {smoothing}"
        ),
        _ => format!(
            "{scheme} of the colour itself, since the base correction fits this panel badly, in {encoding} space, \
             smoothing {smoothing}"
        ),
    }
}

/// How the panel's sub-pixels share light, in words.
fn shared(sharing: &Sharing) -> String {
    let mut said = format!(
        "; the channels give {:.0} % of the light that they have in common to a white sub-pixel",
        100.0 * sharing.share
    );
    let ends = sharing.most.iter().zip(["R", "G", "B"]);
    let ends = ends.filter(|(most, _)| **most < 1.0);
    let ends: Vec<String> = ends
        .map(|(most, name)| format!("{name} at {:.0} %", 100.0 * most))
        .collect();
    if !ends.is_empty() {
        said += &format!(
            " and saturate by themselves, {} of the light that white asks of them",
            ends.join(", ")
        );
    }
    said
}

/// Why this model, in words.
fn chosen(choice: &Choice) -> String {
    let score = "√(CIEDE2000 · ΔE ITP) of left-out readings";
    let next = choice.runner_up.as_ref().map_or_else(String::new, |next| {
        format!(" before {:.3} of {}", next.score, next.model)
    });
    format!(
        "best of {} candidates on {} patches: {:.3} {score}{next}; smoothing by {}",
        choice.candidates, choice.patches, choice.score, choice.smoothing_by
    )
}

fn errors(report: &FitReport) -> Vec<String> {
    let Some(error) = &report.leave_one_out else {
        return vec![];
    };
    let row = |name: &str, mean: f64, p95: f64, max: f64, itp: f64| {
        format!("            {name:<48} {mean:>6.2} {p95:>8.2} {max:>8.2} {itp:>12.2}\n")
    };
    let mut lines = Vec::new();
    lines.push(format!(
        "{:<12}{:<48} {:>6} {:>8} {:>8} {:>12}\n",
        "Error", "CIEDE2000 against the panel's white", "mean", "95 %", "largest", "mean ΔE ITP"
    ));
    let (own, base) = match &report.base_error {
        Some(base) if report.form.is_none() => (None, Some(base)),
        base => (Some(error), base.as_ref()),
    };
    for (name, one) in [
        ("each reading predicted from the others", own),
        ("base correction on these readings", base),
    ] {
        if let Some(one) = one {
            lines.push(row(
                name,
                one.de2000_mean,
                one.de2000_p95,
                one.de2000_max,
                one.itp_mean,
            ));
        }
    }
    lines
}

/// What the shaper gains near black and costs elsewhere.
fn shaper_gain(report: &ShaperReport) -> String {
    let (with, without) = (&report.with, &report.without);
    format!(
        "load the curve before the lattice. With and without it, on the model: unevenness near black {:.2} and {:.2}, \
         ΔE ITP near black {:.2} and {:.2} in the mean, 95 % below {:.2} and {:.2}, over the whole cube {:.2} and {:.2} in \
         the mean",
        with.near_black_unevenness,
        without.near_black_unevenness,
        with.near_black_itp_mean,
        without.near_black_itp_mean,
        with.near_black_itp_p95,
        without.near_black_itp_p95,
        with.all_itp_mean,
        without.all_itp_mean
    )
}

/// Bands by region, in the columns of the errors above them.
fn sure(report: &FitReport) -> String {
    let Some(bands) = &report.confidence else {
        return String::new();
    };
    let mut text = format!(
        "{:<12}{:<48} {:>15} {:>21}\n",
        "Confidence", "95 of 100 colours shown within", "CIEDE2000", "ΔE ITP"
    );
    for (name, band) in [
        ("whole cube", bands.all),
        ("near black", bands.near_black),
        ("neutral", bands.neutral),
        ("skin", bands.skin),
        ("saturated", bands.saturated),
    ] {
        text += &match band {
            Some(band) => format!(
                "{:<12}{name:<48} {:>15.2} {:>21.2}\n",
                "", band.de2000_q95, band.itp_q95
            ),
            None => format!("{:<12}{name:<48} {:>15} {:>21}\n", "", "-", "-"),
        };
    }
    text
}

fn reach(report: &FitReport) -> String {
    let all = report.nodes.pow(3);
    match (report.gamut.nodes_reduced, report.gamut.de2000_max) {
        (None, _) => "colours beyond the panel clip channel by channel".to_owned(),
        (Some(0), _) | (Some(_), None) => format!("the panel shows the target of all {all} nodes"),
        (Some(count), Some(de2000)) => format!(
            "{count} of {all} nodes ask for colours the panel does not show; the nearest with the same hue takes \
             their place, at most {de2000:.1} CIEDE2000 away"
        ),
    }
}

/// What was done so that ramps stay even.
fn held(gradation: &GradationReport) -> String {
    let mut text = format!(
        "no channel falls along the neutral ramp or a primary's; the difference from the base correction smoothed by \
         {:.2} ΔE ITP, dark and neutral nodes moved by up to {:.1} % of drive for the codes between them",
        gradation.smoothed_itp,
        100.0 * gradation.cells_moved
    );
    let listed = |ramps: &[String]| ramps.join(", ");
    if !gradation.resolved_ramps.is_empty() {
        text += &format!(
            "; luminance set right along {}",
            listed(&gradation.resolved_ramps)
        );
    }
    if !gradation.unresolved_ramps.is_empty() {
        text += &format!(
            "; it still falls along {} where the panel has no light to give",
            listed(&gradation.unresolved_ramps)
        );
    }
    text
}

/// Readings that the others contradict, by patch.
fn contradicted(report: &FitReport) -> Option<String> {
    let outliers = report.outliers.as_ref().filter(|o| !o.is_empty())?;
    let named: Vec<String> = outliers
        .iter()
        .map(|o| format!("{} ({:.0} standard deviations)", o.patch, o.sigma))
        .collect();
    Some(format!(
        "{} contradicted by the others and weighed down: {}; read again to be sure",
        counted(outliers.len(), "reading", "readings"),
        named.join(", ")
    ))
}

/// Patches of which the instrument saw nothing.
fn unseen(report: &FitReport) -> Option<String> {
    let floor = report.at_floor.as_ref()?;
    let fates = [
        ("left out, as the others say no more", &floor.left_out),
        ("held there against the others", &floor.held),
        (
            "taken for light of 0, a fault or without a base beside them",
            &floor.as_read,
        ),
    ];
    let told: Vec<String> = fates
        .iter()
        .filter(|(_, ids)| !ids.is_empty())
        .map(|(fate, ids)| format!("{} {fate}", ids.join(", ")))
        .collect();
    let count = fates.iter().map(|(_, ids)| ids.len()).sum();
    Some(format!(
        "{} read 0 or below the floor, at most {} cd/m²: {}",
        counted(count, "patch", "patches"),
        three_digits(floor.at_most_cd_m2),
        told.join("; ")
    ))
}

/// Change of all light over the session.
fn drifted(report: &FitReport) -> Option<String> {
    let drift = report.drift.as_ref()?;
    let size = format!(
        "{:+.2} % of the light from the first reading to the last, standard error {:.2} %",
        100.0 * drift.total,
        100.0 * drift.standard_error
    );
    Some(match (drift.separable, drift.corrected) {
        (false, _) => {
            format!(
                "drift cannot be told from noise ({size}); read white and a grey again now and then"
            )
        }
        (true, true) => format!("drift of {size}: corrected"),
        (true, false) => format!("no drift beyond noise: {size}"),
    })
}
