use evenstep_display::{PanelModel, Target};

use crate::{BaseCorrection, Inverter};

/// A target colour missed by more than this many ΔE ITP counts as out of the panel's reach. Our choice: half of a
/// just-noticeable difference, so that noise in the model does not declare colours unreachable.
pub const UNREACHABLE_ITP: f64 = 0.5;

/// Which signals a panel can show as the target asks, according to its model.
pub struct Gamut<'a> {
    inverter: Inverter<'a>,
    target: &'a Target,
    start: Option<&'a BaseCorrection>,
}

impl<'a> Gamut<'a> {
    /// The gamut of a panel model for a target; searches start from the base correction where there is one.
    #[must_use]
    pub fn new(
        panel: &'a dyn PanelModel,
        target: &'a Target,
        start: Option<&'a BaseCorrection>,
    ) -> Self {
        Self {
            inverter: Inverter::new(panel),
            target,
            start,
        }
    }

    /// Whether the panel reaches the target of a signal within [`UNREACHABLE_ITP`].
    #[must_use]
    pub fn reaches(&self, signal: [f64; 3]) -> bool {
        use evenstep_lut::Correction;
        let start = self.start.map_or(signal, |base| base.drive(signal));
        self.inverter
            .invert(self.target.xyz(signal), start)
            .miss_itp
            <= UNREACHABLE_ITP
    }
}
