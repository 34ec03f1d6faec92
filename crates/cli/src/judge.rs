//! A known panel as an audit wants it.

use anyhow::Context as _;
use evenstep::audit::{PanelContext, ReadingFacts};
use evenstep::fit::{BaseCorrection, Gamut, Settled};

use crate::panel::KnownPanel;

/// A known panel, with the target settled on it and the base correction for both.
pub(crate) struct Judge<'a> {
    known: &'a KnownPanel,
    settled: Settled,
    base: BaseCorrection,
}

impl<'a> Judge<'a> {
    pub(crate) fn new(known: &'a KnownPanel, settled: Settled) -> anyhow::Result<Self> {
        let base = known.model.base().context(
            "the readings allow no base correction to hold a LUT against; read more greys",
        )?;
        let base = BaseCorrection::new(base.clone(), settled.target.clone());
        Ok(Self {
            known,
            settled,
            base,
        })
    }

    /// Runs `job` with the panel as context.
    pub(crate) fn with<T>(&self, job: impl FnOnce(&PanelContext) -> T) -> T {
        let gamut = Gamut::new(&self.known.model, &self.settled.target, Some(&self.base));
        let reachable = |signal: [f64; 3]| gamut.reaches(signal);
        job(&PanelContext {
            panel: &self.known.model,
            target: &self.settled.target,
            base: &self.base,
            reachable: &reachable,
            facts: ReadingFacts {
                neutral_levels: self.known.fitness.neutral_levels,
                interior: self.known.fitness.interior,
            },
        })
    }
}
