use evenstep_lut::{CodeScale, Lut1d, Lut3d};
use serde::Serialize;

use crate::node_figures::{LatticeFinds, cell_of, node_signal};
use crate::report::RampReport;
use crate::walk::Span;

/// Up to here, in the figure's own unit, nothing is wrong at a place: a tenth of a 16-bit code where that is drive.
const NOTHING: f64 = 1e-6;

/// The worst place of one figure, by node of the lattice and by source code.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WorstPlace {
    /// The report's field, or the figure that the field summarises.
    pub figure: &'static str,
    /// Its value there.
    pub value: f64,
    /// The ramp, for figures of ramps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ramp: Option<String>,
    /// The node, or the lowest node of the cell; left out without a lattice.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub node: Option<[usize; 3]>,
    /// Nearest source code of each channel.
    pub source_code: [u32; 3],
    /// The signal.
    pub signal: [f64; 3],
}

impl WorstPlace {
    /// Whether anything is wrong there: the identity has no such place.
    pub(crate) fn is_a_fault(&self) -> bool {
        match self.figure {
            // Steps should rise, and gains be 1.
            "lattice.neighbour_steps.min" => self.value <= NOTHING,
            "regions.all.drive_gain_max" => self.value > 1.0 + NOTHING,
            _ => self.value.abs() > NOTHING,
        }
    }
}

/// Names places of a LUT both ways.
pub(crate) struct Gazetteer<'a> {
    pub(crate) lattice: Option<&'a Lut3d>,
    pub(crate) curves: Option<&'a Lut1d>,
    pub(crate) scale: CodeScale,
}

impl Gazetteer<'_> {
    /// A place known by its signal.
    pub(crate) fn at_signal(
        &self,
        figure: &'static str,
        value: f64,
        ramp: Option<&str>,
        signal: [f64; 3],
    ) -> WorstPlace {
        WorstPlace {
            figure,
            value,
            ramp: ramp.map(str::to_owned),
            node: self
                .lattice
                .map(|lattice| cell_of(lattice, self.curves, signal, self.scale)),
            source_code: signal.map(|v| self.scale.nearest_code(v)),
            signal,
        }
    }

    /// A place known by its node.
    fn at_node(
        &self,
        lattice: &Lut3d,
        figure: &'static str,
        value: f64,
        node: [usize; 3],
    ) -> WorstPlace {
        let signal = node_signal(lattice, self.curves, self.scale, node);
        WorstPlace {
            figure,
            value,
            ramp: None,
            node: Some(node),
            source_code: signal.map(|v| self.scale.nearest_code(v)),
            signal,
        }
    }

    /// Worst places of the lattice's own figures; those of which there is nothing are left out.
    pub(crate) fn of_lattice(&self, lattice: &Lut3d, finds: &LatticeFinds) -> Vec<WorstPlace> {
        let named = [
            ("lattice.local_step_variance.max", finds.local_variance),
            ("lattice.second_difference", finds.second_difference),
            ("lattice.neighbour_steps.min", finds.least_step),
        ];
        let mut places: Vec<WorstPlace> = named
            .into_iter()
            .filter_map(|(figure, found)| {
                let (value, node) = found?;
                Some(self.at_node(lattice, figure, value, node))
            })
            .collect();
        let folded = finds.cells.bad.iter().filter(|b| b.folded > 0);
        if let Some(worst) = folded.min_by(|a, b| a.least.total_cmp(&b.least)) {
            places.push(self.at_node(lattice, "lattice.folds", worst.least, worst.cell));
        }
        places
    }

    /// For each figure the ramp on which it is largest; figures that are nowhere above 0 are left out.
    pub(crate) fn of_ramps(&self, ramps: &[RampReport]) -> Vec<WorstPlace> {
        type Found = fn(&RampReport) -> (Option<f64>, Option<Span>);
        let figures: [(&'static str, Found); 7] = [
            ("reversal_depth_itp", |r| {
                (r.figures.reversal_depth_itp, r.figures.reversal_between)
            }),
            ("certain_fall_drive", |r| {
                (
                    Some(r.figures.certain_fall_drive),
                    r.figures.certain_fall_between,
                )
            }),
            ("longest_plateau", |r| {
                (
                    Some(r.figures.longest_plateau as f64),
                    r.figures.plateau_between,
                )
            }),
            ("plateau_jump_excess_itp", |r| {
                (
                    r.figures.plateau_jump_excess_itp,
                    r.figures.plateau_jump_between,
                )
            }),
            ("bump_itp", |r| (r.bump_itp, r.bump_between.map(to_middle))),
            ("bump_drive", |r| {
                (r.bump_drive, r.bump_drive_between.map(to_middle))
            }),
            ("step_itp_max", |r| {
                (r.figures.step_itp_max, r.figures.step_itp_max_between)
            }),
        ];
        let worst = |(figure, found): (&'static str, Found)| {
            let mut worst: Option<(f64, &RampReport, Span)> = None;
            for ramp in ramps {
                if let (Some(value), Some(between)) = found(ramp)
                    && value > worst.as_ref().map_or(0.0, |w| w.0)
                {
                    worst = Some((value, ramp, between));
                }
            }
            // The far end: the deepest code, the last of a plateau, the end of a jump, the middle of a bump.
            worst.map(|(value, ramp, between)| {
                self.at_signal(figure, value, Some(&ramp.name), between.to_signal)
            })
        };
        figures.into_iter().filter_map(worst).collect()
    }
}

/// Up to the middle of a stretch, where the bump is.
fn to_middle(between: Span) -> Span {
    let middle = |c: usize| 0.5 * (between.from_signal[c] + between.to_signal[c]);
    Span {
        to_code: u32::midpoint(between.from_code, between.to_code),
        to_signal: [0, 1, 2].map(middle),
        ..between
    }
}
