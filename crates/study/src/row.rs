use serde::{Deserialize, Serialize};

use crate::{Case, Figures};

/// What became of a case.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Status {
    /// Fitted and judged.
    Fitted,
    /// The base or the scheme refused the readings, with a reason.
    Refused,
    /// The scheme broke off: a fault of this program.
    Broken,
}

impl Status {
    /// The word in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Fitted => "fitted",
            Self::Refused => "refused",
            Self::Broken => "broken",
        }
    }
}

/// Everything that is the same whenever and wherever a case is run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// Name of the panel.
    pub panel: String,
    /// Name of the scheme or mark.
    pub scheme: String,
    /// Distinct patches read.
    pub patches: usize,
    /// Scale of the noise.
    pub noise: f64,
    /// Seed of the noise.
    pub seed: u64,
    /// What became of it.
    pub status: Status,
    /// Why, where it was not fitted.
    pub reason: Option<String>,
    /// Smoothing chosen; empty for the marks.
    pub smoothing: Option<f64>,
    /// Figures; empty where it was not fitted.
    #[serde(flatten)]
    pub figures: Figures,
}

impl Row {
    /// The row of a case that was not fitted.
    pub(crate) fn without_figures(case: &Case, status: Status, reason: String) -> Self {
        Self {
            panel: case.panel.clone(),
            scheme: case.scheme.to_string(),
            patches: case.patches,
            noise: case.noise,
            seed: case.seed,
            status,
            reason: Some(reason),
            smoothing: None,
            figures: Figures::default(),
        }
    }

    /// The row of a case that was.
    pub(crate) fn fitted(case: &Case, smoothing: Option<f64>, figures: &Figures) -> Self {
        Self {
            status: Status::Fitted,
            reason: None,
            smoothing,
            figures: figures.rounded(),
            ..Self::without_figures(case, Status::Fitted, String::new())
        }
    }

    /// Whether it is the row of a case.
    #[must_use]
    pub fn is_of(&self, case: &Case) -> bool {
        self.key() == case.key()
    }

    /// The name of its case; see [`Case::key`].
    #[must_use]
    pub fn key(&self) -> String {
        crate::case::key(
            &self.panel,
            &self.scheme,
            self.patches,
            self.noise,
            self.seed,
        )
    }
}
