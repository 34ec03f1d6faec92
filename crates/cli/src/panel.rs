//! A panel known by its readings, with the base alone where they allow no more.

use std::path::Path;

use anyhow::{Context as _, bail};
use evenstep::display::{
    BaseModel, ChosenModel, ForwardModel, LeaveOneOutError, SmoothingChoice, choose_model,
};
use evenstep::fit::noise_of;
use evenstep::readings::{Fitness, Readings, RgbScale, Severity, check, read};
use evenstep::scatter::Scheme;

use crate::ui::Ui;

/// A forward model and what it stands on.
pub(crate) struct KnownPanel {
    pub(crate) readings: Readings,
    pub(crate) fitness: Fitness,
    pub(crate) model: ForwardModel,
    /// Leave-one-out error; `None` for the base alone.
    pub(crate) error: Option<LeaveOneOutError>,
}

/// Reads and models a panel.
pub(crate) fn panel(
    path: &Path,
    scale: RgbScale,
    scheme: Option<Scheme>,
    smoothing: SmoothingChoice,
    ui: Ui,
) -> anyhow::Result<KnownPanel> {
    let (readings, notes) = read(path, scale)?;
    ui.notes(&notes);
    model(readings, scheme, smoothing, ui)
        .with_context(|| format!("{}: cannot model the panel", path.display()))
}

fn model(
    readings: Readings,
    scheme: Option<Scheme>,
    smoothing: SmoothingChoice,
    ui: Ui,
) -> anyhow::Result<KnownPanel> {
    let (noise, _) = noise_of(&readings);
    for finding in check(&readings, &noise) {
        match finding.severity() {
            Severity::Refuse => bail!("{finding}"),
            Severity::Strong | Severity::Warn => ui.note(finding),
            Severity::Info => {}
        }
    }
    let fitness = Fitness::of(&readings);
    let (model, error) = if fitness.supports_3d() {
        let ChosenModel { model, error, .. } = choose_model(&readings, &noise, scheme, smoothing)?;
        (model, Some(error))
    } else {
        ui.note("the readings allow a base model alone; it knows nothing of how the channels act on each other");
        (
            ForwardModel::from_base(BaseModel::fit(&readings, &noise)?),
            None,
        )
    };
    Ok(KnownPanel {
        readings,
        fitness,
        model,
        error,
    })
}
