use evenstep_audit::AuditOptions;
use evenstep_fit::{CodeRange, Fit, Gamut, InSignal, ShaperFigures, ShaperReport};
use evenstep_lut::Lut;
use evenstep_readings::Readings;

use crate::colour_error;
use crate::tour::audit_on_model;

/// What the shaper of a fit gains: both lattices seen through the model that they were made from.
///
/// `None` where the fit has no shaper, or the readings allow no base correction to hold gradation against.
#[must_use]
pub fn shaper_gain(fit: &Fit, readings: &Readings, range: CodeRange) -> Option<ShaperReport> {
    let plain = Lut::from(fit.shaped.as_ref()?.plain.clone());
    let options = AuditOptions {
        range,
        ..AuditOptions::default()
    };
    let gamut = Gamut::new(&fit.model, &fit.settled.target, fit.base.as_ref());
    let figures = |lut: &Lut| {
        let audit = audit_on_model(fit, lut, readings, &options);
        let dark = audit.ramps.first()?.near_black.as_ref()?;
        let evaluated = lut.evaluated(options.evaluation);
        let correction = InSignal {
            inner: &evaluated,
            range,
        };
        let target = &fit.settled.target;
        let error = colour_error(&fit.model, target, &gamut, &correction, options.near_black);
        Some(ShaperFigures {
            near_black_unevenness: dark.figures.unevenness?,
            near_black_itp_mean: error.near_black.itp_mean,
            near_black_itp_p95: error.near_black.itp_p95,
            all_itp_mean: error.all.itp_mean,
        })
    };
    Some(ShaperReport {
        with: figures(&fit.loaded())?,
        without: figures(&plain)?,
    })
}
