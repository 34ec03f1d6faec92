use evenstep_lut::{CodeScale, Regions};

use crate::context::{PanelContext, Subject};
use crate::evaluation::{EvaluationSensitivity, sensitivity};
use crate::neighbours::{Neighbours26, neighbours26};
use crate::node_figures::LatticeFinds;
use crate::regions::{RegionFigures, regions};
use crate::why::{Known, NEEDS_READINGS, NOT_ASKED_FOR};
use crate::worst::{Gazetteer, WorstPlace};

/// The figures that only an audit in depth computes.
pub(crate) struct InDepth {
    pub(crate) neighbours26: Known<Neighbours26>,
    pub(crate) evaluation: Known<EvaluationSensitivity>,
    pub(crate) regions: Known<Regions<RegionFigures>>,
}

impl InDepth {
    pub(crate) fn not_asked_for() -> Self {
        Self {
            neighbours26: Err(NOT_ASKED_FOR),
            evaluation: Err(NOT_ASKED_FOR),
            regions: Err(NOT_ASKED_FOR),
        }
    }

    /// `ramps` are the signals of every ramp, the neutral one first.
    pub(crate) fn find(
        subject: &Subject,
        finds: Option<&LatticeFinds>,
        weight_bits: u8,
        scale: CodeScale,
        context: Option<&PanelContext>,
        near_black_end: f64,
        ramps: &[&[[f64; 3]]],
    ) -> Self {
        let bad = finds.map_or(&[][..], |f| &f.cells.bad);
        Self {
            neighbours26: context.map_or(Err(NEEDS_READINGS), |context| {
                neighbours26(subject.correction, context, scale)
            }),
            evaluation: subject
                .lattice
                .zip(finds)
                .map(|(lattice, finds)| {
                    sensitivity(
                        subject,
                        lattice,
                        &finds.cells,
                        weight_bits,
                        scale,
                        context,
                        ramps,
                    )
                })
                .ok_or("the correction has no lattice"),
            regions: Ok(regions(subject, bad, scale, context, near_black_end)),
        }
    }

    /// The worst places of these figures.
    pub(crate) fn worst(&self, gazetteer: &Gazetteer) -> Vec<WorstPlace> {
        let mut places = Vec::new();
        if let Ok(found) = &self.neighbours26 {
            let grey = gazetteer
                .scale
                .signal_from_code(f64::from(found.itp_excess_code));
            places.push(gazetteer.at_signal(
                "neighbours26.itp_excess_max",
                found.itp_excess_max,
                None,
                [grey; 3],
            ));
        }
        if let Ok(found) = &self.evaluation {
            places.push(gazetteer.at_signal(
                "evaluation_sensitivity.trilinear",
                found.trilinear.drive,
                None,
                found.trilinear.signal,
            ));
        }
        if let Ok(found) = &self.regions {
            places.push(gazetteer.at_signal(
                "regions.all.drive_gain_max",
                found.all.drive_gain_max,
                None,
                found.all.drive_gain_signal,
            ));
        }
        places
    }
}
