use clap::Args;
use evenstep::display::SmoothingChoice;
use evenstep::scatter::{Scheme, SchemeError};

/// How the panel is modelled between its readings.
#[derive(Args, Clone, Copy, Debug)]
#[command(next_help_heading = "Model")]
pub(crate) struct ModelArgs {
    /// Scheme that fills the space between readings: auto, nearest, shepard, quadratic-shepard,
    /// delaunay-linear, natural-neighbour, moving-least-squares, rbf-linear, rbf-thin-plate,
    /// rbf-cubic, rbf-quintic, rbf-multiquadric, rbf-inverse-multiquadric, rbf-gaussian,
    /// rbf-wendland, rbf-local, kriging, kriging-anova or lattice-regression. Options follow a colon,
    /// as in rbf-wendland:c4 or kriging:matern32. With auto the one that best predicts each reading
    /// from the others is taken
    #[arg(long, value_name = "auto|NAME", default_value = "auto", value_parser = scheme)]
    scheme: Asked,
    /// How far the model may pass beside noisy readings: auto and loo try several amounts and keep the
    /// one that best predicts each reading from the others; noise keeps the one that leaves as much
    /// as the noise of the readings explains; gcv and likelihood decide by generalised
    /// cross-validation and by marginal likelihood; a number from 0 (through every reading) is taken
    /// as it is
    #[arg(
        long,
        value_name = "auto|loo|noise|gcv|likelihood|VALUE",
        default_value = "auto"
    )]
    smoothing: SmoothingChoice,
}

#[derive(Clone, Copy, Debug)]
enum Asked {
    Auto,
    Named(Scheme),
}

fn scheme(text: &str) -> Result<Asked, String> {
    match text {
        "auto" => Ok(Asked::Auto),
        name => name.parse().map(Asked::Named).map_err(|e| match e {
            SchemeError::Name { .. } => format!("{e}, or auto"),
            _ => e.to_string(),
        }),
    }
}

impl ModelArgs {
    /// The scheme; `None` chooses.
    pub(crate) fn scheme(self) -> Option<Scheme> {
        match self.scheme {
            Asked::Auto => None,
            Asked::Named(scheme) => Some(scheme),
        }
    }

    pub(crate) fn smoothing(self) -> SmoothingChoice {
        self.smoothing
    }
}
