use evenstep_audit::{AuditOptions, PanelContext, Subject, audit, nodes_on_ramps};
use evenstep_colour::Xyz;
use evenstep_display::{ForwardModel, Target};
use evenstep_fit::{BaseCorrection, NodeSolver, refitted};
use evenstep_lut::{Lut, Lut3d};
use evenstep_readings::{NoiseModel, Readings};
use nalgebra::{Matrix3, Vector3};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;

use crate::gradation_figures;

/// Draws of the readings from their own noise: how far every gradation figure moves.
pub(crate) struct Redraw<'a> {
    pub(crate) readings: &'a Readings,
    pub(crate) noise: &'a NoiseModel,
    /// The model whose structure is refitted to every draw.
    pub(crate) model: &'a ForwardModel,
    pub(crate) target: &'a Target,
    pub(crate) nodes: usize,
    pub(crate) draws: usize,
    pub(crate) seed: u64,
}

impl Redraw<'_> {
    /// Standard deviation of each figure of [`gradation_figures`] over the draws, on the panel of `context`.
    ///
    /// Only the nodes that the named ramps touch are solved; the rest of the lattice is never read.
    pub(crate) fn deviations(
        &self,
        options: &AuditOptions,
        context: &PanelContext<'_>,
        progress: &(dyn Fn() + Sync),
    ) -> Vec<Option<f64>> {
        let touched = nodes_on_ramps(self.nodes, options);
        let figures: Vec<Vec<Option<f64>>> = (0..self.draws)
            .into_par_iter()
            .filter_map(|draw| {
                let lut = self.lut_of_draw(draw, &touched)?;
                let correction = lut.evaluated(options.evaluation);
                let report = audit(&Subject::new(&correction), options, Some(context));
                progress();
                Some(
                    gradation_figures(&report)
                        .into_iter()
                        .map(|f| f.1)
                        .collect(),
                )
            })
            .collect();
        let count = figures.first().map_or(0, Vec::len);
        (0..count)
            .map(|i| deviation(&figures.iter().filter_map(|f| f[i]).collect::<Vec<f64>>()))
            .collect()
    }

    fn lut_of_draw(&self, draw: usize, touched: &[usize]) -> Option<Lut> {
        let mut random = ChaCha8Rng::seed_from_u64(self.seed);
        random.set_stream(draw as u64 + 1);
        let mut readings = self.readings.clone();
        for patch in &mut readings.patches {
            let mean = patch.xyz();
            let share = 1.0 / patch.repeats.len() as f64;
            let spread = (self.noise.variance_of(mean) * share)
                .cholesky()
                .map_or_else(Matrix3::zeros, |c| c.l());
            let step = spread * Vector3::from_fn(|_, _| StandardNormal.sample(&mut random));
            patch.repeats = vec![Xyz((Vector3::from(mean.0) + step).into()); patch.repeats.len()];
        }
        let model = refitted(self.model, &readings, self.noise)?;
        let correction = model
            .base()
            .map(|b| BaseCorrection::new(b.clone(), self.target.clone()));
        let solver = NodeSolver::new(&model, self.target, correction.as_ref());
        let mut lattice = Lut3d::identity(self.nodes);
        for &index in touched {
            let signal = lattice.nodes()[index];
            lattice.nodes_mut()[index] = solver.solve(signal).drive;
        }
        Some(Lut {
            title: None,
            curves: None,
            lattice: Some(lattice),
        })
    }
}

/// Standard deviation; `None` for fewer than two values.
fn deviation(values: &[f64]) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    Some((values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt())
}
