use evenstep_lut::{Evaluation, NEAR_BLACK};
use evenstep_readings::Readings;

use crate::{Band, Doubt, Fit, FitOptions, InSignal, Regions, next_patches};

/// Adds to the report of a fit what left-out patches tell: how sure it is, and what to read next.
///
/// Left out where the readings cannot be parted: the report then says nothing of either.
pub(crate) fn assess(fit: &mut Fit, readings: &Readings, options: &FitOptions) {
    let Some(doubt) = Doubt::new(readings, &fit.model) else {
        return;
    };
    let lut = fit.loaded();
    let evaluated = lut.evaluated(Evaluation::Tetrahedral);
    let correction = InSignal {
        inner: &evaluated,
        range: options.range,
    };
    let target = &fit.settled.target;
    let bands = doubt.bands(target, &correction, NEAR_BLACK);
    let known = |band: Band| band.itp_q95.is_finite().then_some(band);
    fit.report.confidence = Some(Regions {
        all: known(bands.all),
        near_black: known(bands.near_black),
        neutral: known(bands.neutral),
        skin: known(bands.skin),
        saturated: known(bands.saturated),
    });
    let next = next_patches(
        &doubt,
        readings,
        target,
        &correction,
        NEAR_BLACK,
        options.next,
    );
    fit.report.next_patches = Some(next);
}
