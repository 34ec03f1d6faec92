use evenstep_audit::{AuditReport, RegionFigures, WorstPlace};

use crate::text::{labelled, three_digits};

/// Figures of an audit in depth: neighbours, ways to read the lattice, regions, and where each figure is worst. Those that
/// were not computed are left out.
pub(crate) fn depth_text(report: &AuditReport) -> String {
    let mut text = String::new();
    if let Some(found) = &report.neighbours26 {
        text += &labelled(
            "Neighbours",
            &format!(
                "from a grey to the farthest of its 26 neighbours at most {:.2} ΔE ITP (code {}; the target has {:.2}) \
                 and CIEDE2000 {:.2} (code {}; the target has {:.2})",
                found.itp_max,
                found.itp_code,
                found.itp_ideal_max,
                found.de2000_max,
                found.de2000_code,
                found.de2000_ideal_max
            ),
        );
    }
    if let Some(found) = &report.evaluation_sensitivity {
        let seen = found.neutral_itp.map_or_else(String::new, |itp| {
            format!(", {itp:.2} ΔE ITP on the neutral ramp")
        });
        text += &labelled(
            "Reading",
            &format!(
                "trilinear and tetrahedral differ by up to {} of drive, weights of {} bits by up to {}; on ramps any \
                 two by {}{seen}",
                three_digits(found.trilinear.drive),
                found.weight_bits,
                three_digits(found.weights.drive),
                three_digits(found.on_ramps)
            ),
        );
    }
    if let Some(image) = &report.image {
        let compressed = image.compressed.map_or_else(String::new, |c| {
            format!(
                "; compressed at quality {} {} before and {} after",
                c.quality,
                three_digits(c.bands.before),
                three_digits(c.bands.after)
            )
        });
        text += &labelled(
            "Picture",
            &format!(
                "banding index {} before the LUT and {} after (0: no bands){compressed}",
                three_digits(image.bands.before),
                three_digits(image.bands.after)
            ),
        );
    }
    if let Some(regions) = &report.regions {
        text += "\nregion         signals   gain of drive    gain of light    folded\n";
        text += "                         95 %   largest    95 %   largest\n";
        let rows = [
            ("all", &regions.all),
            ("near black", &regions.near_black),
            ("neutral", &regions.neutral),
            ("skin", &regions.skin),
            ("saturated", &regions.saturated),
        ];
        for (name, region) in rows {
            text += &region_row(name, region);
        }
    }
    if !report.worst.is_empty() {
        text += "\nWorst places\n";
        for place in &report.worst {
            text += &worst_row(place);
        }
    }
    text
}

fn region_row(name: &str, region: &RegionFigures) -> String {
    let gain = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |v| format!("{v:.2}"));
    format!(
        "{name:<12} {:>9} {:>8} {:>9} {:>7} {:>9} {:>9}\n",
        region.signals,
        gain(Some(region.drive_gain_p95)),
        gain(Some(region.drive_gain_max)),
        gain(region.noise_gain_p95),
        gain(region.noise_gain_max),
        region
            .folded
            .map_or_else(|| "-".to_owned(), |n| n.to_string())
    )
}

fn worst_row(place: &WorstPlace) -> String {
    let node = place
        .node
        .map_or_else(String::new, |[r, g, b]| format!("  node ({r}, {g}, {b})"));
    let ramp = place
        .ramp
        .as_ref()
        .map_or_else(String::new, |ramp| format!("  {ramp}"));
    let [r, g, b] = place.source_code;
    format!(
        "{:<34} {:>9}  code ({r}, {g}, {b}){node}{ramp}\n",
        place.figure,
        three_digits(place.value)
    )
}
