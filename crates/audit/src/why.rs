use std::collections::BTreeMap;

use serde::Serialize;

/// A figure, or the reason it is not known.
pub(crate) type Known<T> = Result<T, &'static str>;

/// Figures that only exist once the panel has been read.
pub(crate) const NEEDS_READINGS: &str = "needs readings";
/// Figures that only an audit in depth computes.
pub(crate) const NOT_ASKED_FOR: &str = "only an audit in depth computes it";

/// Reasons for the `null` fields beside it, by field name.
///
/// In JSON an unknown figure is `null`, and the object that holds it has a member `why` that maps the
/// field's name to the reason; without unknown figures there is no `why`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct Why(BTreeMap<&'static str, &'static str>);

impl Why {
    /// The figure, or `None` with its reason noted under the field's name.
    pub(crate) fn note<T>(&mut self, field: &'static str, known: Known<T>) -> Option<T> {
        known
            .map_err(|reason| {
                self.0.insert(field, reason);
            })
            .ok()
    }

    /// Drops the reason of a figure that has become known.
    pub(crate) fn forget(&mut self, field: &str) {
        self.0.remove(field);
    }

    /// Whether every figure is known.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The reason a field is `null`.
    #[must_use]
    pub fn reason(&self, field: &str) -> Option<&'static str> {
        self.0.get(field).copied()
    }
}
