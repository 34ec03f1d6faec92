use std::collections::HashMap;
use std::sync::Mutex;

use evenstep_display::{PanelModel, Target};
use evenstep_lut::Correction;

use crate::{BaseCorrection, Inverter};

/// A target colour missed by more than this many ΔE ITP counts as out of the panel's reach. Our choice: half of a
/// just-noticeable difference, so that noise in the model does not declare colours unreachable.
pub const UNREACHABLE_ITP: f64 = 0.5;

/// Which signals a panel can show as the target asks, according to its model. Remembers what it was asked, since
/// audits of several LUTs walk the same ramps.
pub struct Gamut<'a> {
    inverter: Inverter<'a>,
    target: &'a Target,
    start: Option<&'a BaseCorrection>,
    known: Mutex<HashMap<[u64; 3], bool>>,
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
            known: Mutex::default(),
        }
    }

    /// Whether the panel reaches the target of a signal within [`UNREACHABLE_ITP`].
    #[must_use]
    pub fn reaches(&self, signal: [f64; 3]) -> bool {
        let key = signal.map(f64::to_bits);
        // A poisoned lock only means that another thread panicked between two whole entries.
        let known = |gamut: &Self| {
            gamut
                .known
                .lock()
                .unwrap_or_else(std::sync::PoisonError::into_inner)
                .get(&key)
                .copied()
        };
        if let Some(answer) = known(self) {
            return answer;
        }
        let start = self.start.map_or(signal, |base| base.drive(signal));
        let answer = self
            .inverter
            .invert(self.target.xyz(signal), start)
            .miss_itp
            <= UNREACHABLE_ITP;
        self.known
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
            .insert(key, answer);
        answer
    }
}
