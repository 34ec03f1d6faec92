use evenstep_colour::{Lab, Xyz, delta_e_2000, lab_from_xyz, percentile};
use evenstep_display::PanelModel;
use evenstep_lut::{CodeScale, Evaluation, Lut3d};
use rayon::prelude::*;
use serde::Serialize;

/// What a repair costs in colour: CIEDE2000 between what the panel shows through the repaired LUT and through the one
/// given, over all nodes and the centres of all cells, with the panel's white as reference white.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cost {
    /// Mean CIEDE2000.
    pub de2000_mean: f64,
    /// 95th percentile.
    pub de2000_p95: f64,
    /// Largest.
    pub de2000_max: f64,
    /// Colours compared.
    pub colours: usize,
    /// The panel it was computed for.
    pub panel: String,
}

/// Compares two lattices of one size and domain.
pub(crate) fn cost(
    panel: &dyn PanelModel,
    name: &str,
    scale: CodeScale,
    how: Evaluation,
    [before, after]: [&Lut3d; 2],
) -> Cost {
    let white = panel.xyz([1.0; 3]);
    let lab = |drive: [f64; 3]| shown(panel, white, scale, drive);
    let difference = |a: [f64; 3], b: [f64; 3]| {
        if a == b {
            0.0
        } else {
            delta_e_2000(lab(a), lab(b))
        }
    };
    let nodes = before.nodes().par_iter().zip(after.nodes());
    let mut all: Vec<f64> = nodes.map(|(a, b)| difference(*a, *b)).collect();
    let n = before.size();
    let centres: Vec<f64> = (0..(n - 1).pow(3))
        .into_par_iter()
        .map(|i| {
            let at = [i % (n - 1), i / (n - 1) % (n - 1), i / ((n - 1) * (n - 1))];
            let low = before.position(at[0], at[1], at[2]);
            let high = before.position(at[0] + 1, at[1] + 1, at[2] + 1);
            let centre = [0, 1, 2].map(|c| 0.5 * (low[c] + high[c]));
            difference(before.sample(centre, how), after.sample(centre, how))
        })
        .collect();
    all.extend(centres);
    let colours = all.len();
    Cost {
        de2000_mean: all.iter().sum::<f64>() / colours as f64,
        de2000_max: all.iter().copied().fold(0.0, f64::max),
        de2000_p95: percentile(&mut all, 95.0).unwrap_or(0.0),
        colours,
        panel: name.to_owned(),
    }
}

fn shown(panel: &dyn PanelModel, white: Xyz, scale: CodeScale, position: [f64; 3]) -> Lab {
    let drive = position.map(|v| scale.signal_from_position(v).clamp(0.0, 1.0));
    lab_from_xyz(panel.xyz(drive), white)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::NominalPanel;
    use evenstep_lut::{BitDepth, CodeRange};

    /// One node of 27 and none of the 8 centres of a tetrahedral lattice differ: the mean is its difference over 35.
    #[test]
    fn one_node_counts_once() {
        let before = Lut3d::identity(3);
        let mut after = before.clone();
        let at = after.index(2, 0, 1);
        after.nodes_mut()[at][0] = 0.9;
        let scale = CodeScale {
            depth: BitDepth::TEN,
            range: CodeRange::Full,
        };
        let panel = NominalPanel::default();
        let found = cost(
            &panel,
            "p",
            scale,
            Evaluation::Tetrahedral,
            [&before, &after],
        );
        let white = panel.xyz([1.0; 3]);
        let lab = |drive| lab_from_xyz(panel.xyz(drive), white);
        let want = delta_e_2000(lab([1.0, 0.0, 0.5]), lab([0.9, 0.0, 0.5]));
        assert_eq!((found.colours, found.de2000_max), (35, want));
        assert!((found.de2000_mean - want / 35.0).abs() < 1e-12);
    }
}
