use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};

use serde::{Deserialize, Serialize};

/// What one piece of work took.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spent {
    /// Time.
    pub seconds: f64,
    /// Most bytes allocated at once, above what was allocated before.
    pub peak_bytes: u64,
    /// Bytes still allocated afterwards, above what was allocated before; negative where more was given back.
    pub kept_bytes: i64,
}

/// Does the work it is given, once, on the thread it is called on, and says what that took.
pub type Meter<'a> = dyn Fn(&mut dyn FnMut()) -> Spent + Sync + 'a;

/// A [`Meter`] that measures nothing.
#[must_use]
pub fn unmetered(work: &mut dyn FnMut()) -> Spent {
    work();
    Spent::default()
}

/// What a case took. Not the same twice, unlike its row.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Cost {
    /// Fitting base and scheme, the smoothing chosen.
    pub fit_seconds: f64,
    /// Inverting the model for lattice nodes and test signals.
    pub correct_seconds: f64,
    /// Judging the correction: colour differences and audit.
    pub judge_seconds: f64,
    /// Most bytes allocated at once by the case.
    pub peak_bytes: u64,
}

impl Cost {
    /// Of the three parts of a case, in order.
    pub(crate) fn of(parts: [Spent; 3]) -> Self {
        let (mut held, mut peak) = (0_i64, 0_i64);
        for part in parts {
            peak = peak.max(held.saturating_add_unsigned(part.peak_bytes));
            held = held.saturating_add(part.kept_bytes);
        }
        Self {
            fit_seconds: parts[0].seconds,
            correct_seconds: parts[1].seconds,
            judge_seconds: parts[2].seconds,
            peak_bytes: u64::try_from(peak).unwrap_or(0),
        }
    }

    /// All three parts.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.fit_seconds + self.correct_seconds + self.judge_seconds
    }
}

/// The result of work with what it took.
pub(crate) fn metered<T>(meter: &Meter<'_>, work: impl FnOnce() -> T) -> (T, Spent) {
    let (mut work, mut result) = (Some(work), None);
    let spent = meter(&mut || {
        if let Some(work) = work.take() {
            // A meter that is left by a panic might not measure the next case.
            result = Some(catch_unwind(AssertUnwindSafe(work)));
        }
    });
    let result = result.expect("a meter does the work it is given");
    (result.unwrap_or_else(|panic| resume_unwind(panic)), spent)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_counts_under_the_peak_of_later_parts() {
        let part = |peak_bytes, kept_bytes| Spent {
            seconds: 1.0,
            peak_bytes,
            kept_bytes,
        };
        let cost = Cost::of([part(100, 60), part(30, 10), part(50, -70)]);
        assert_eq!((cost.peak_bytes, cost.seconds()), (120, 3.0));
    }
}
