//! What an audit looks at, code by code and node by node: what a picture of it is drawn from. Not part of the JSON.

mod balance;
mod colours;
mod planes;
mod ramps;

use evenstep_lut::{CodeScale, Correction, Lut, Ramp};
use rayon::prelude::*;

use crate::audit::AuditOptions;
use crate::carried::base_in_lattice;
use crate::context::{PanelContext, Subject};
use crate::noise_gain::{NoiseGrey, noise_greys};
use crate::walk::Guide;

use balance::ChannelBalance;
pub use colours::{ColourTrace, Miss};
pub use planes::{PLANE_SIDE, PlaneTrace};
pub use ramps::{LightTrace, RampTrace};

/// Everything that is drawn of one correction; what needs a panel is empty or `None` without one.
#[derive(Clone, Debug)]
pub struct Traces {
    /// The ramps of the audit, in its order.
    pub ramps: Vec<RampTrace>,
    /// Noise gain of every grey that is looked at, by rising signal.
    pub noise: Vec<NoiseGrey>,
    /// Planes of equal blue through the lattice; none where the correction has no lattice.
    pub planes: Vec<PlaneTrace>,
    /// Colours over the whole cube.
    pub cube: Vec<ColourTrace>,
    /// Colours with a name: greys, primaries, mixtures, and the light ends of skin, sky and foliage.
    pub patches: Vec<ColourTrace>,
    /// The base correction in a lattice like the subject's, where the audit holds the subject against that.
    pub base_lattice: Option<Lut>,
}

/// Traces of a correction along the ramps, at the nodes and over the colours that [`audit`](crate::audit()) judges.
///
/// Costs about as much as the audit itself. The result does not depend on the number of threads.
#[must_use]
pub fn traces(subject: &Subject, options: &AuditOptions, context: Option<&PanelContext>) -> Traces {
    let scale = source(options);
    let base_lattice = context.and_then(|c| base_in_lattice(c.base, subject, scale));
    let walker = Walker {
        subject,
        options,
        context,
        base_lattice: base_lattice.as_ref(),
    };
    let end = near_black_end(options, context);
    let mut ramps = Ramp::named();
    ramps.extend(options.extra_ramps.iter().cloned());
    let chains = context.map(|c| colours::Chains {
        context: c,
        subject,
        scale,
    });
    Traces {
        ramps: ramps.par_iter().map(|ramp| walker.walk(ramp)).collect(),
        noise: context.map_or_else(Vec::new, |c| noise_greys(subject.correction, c, scale, end)),
        planes: subject
            .lattice
            .map_or_else(Vec::new, |l| planes::planes(subject, l, scale, context)),
        cube: chains.as_ref().map_or_else(Vec::new, |c| c.cube(end)),
        patches: chains.as_ref().map_or_else(Vec::new, |c| c.patches()),
        base_lattice,
    }
}

/// The neutral ramp alone: what a terminal can show.
#[must_use]
pub fn neutral_trace(
    subject: &Subject,
    options: &AuditOptions,
    context: Option<&PanelContext>,
) -> Option<RampTrace> {
    let base_lattice = context.and_then(|c| base_in_lattice(c.base, subject, source(options)));
    let walker = Walker {
        subject,
        options,
        context,
        base_lattice: base_lattice.as_ref(),
    };
    Ramp::named()
        .iter()
        .find(|ramp| ramp.is_neutral())
        .map(|ramp| walker.walk(ramp))
}

/// What all ramps of one subject share.
struct Walker<'a> {
    subject: &'a Subject<'a>,
    options: &'a AuditOptions,
    context: Option<&'a PanelContext<'a>>,
    base_lattice: Option<&'a Lut>,
}

impl Walker<'_> {
    fn walk(&self, ramp: &Ramp) -> RampTrace {
        let evaluated = self
            .base_lattice
            .map(|lut| lut.evaluated(self.options.evaluation));
        let base = evaluated.as_ref().map(|base| base as &dyn Correction);
        let end = near_black_end(self.options, self.context);
        let balance = self.context.and_then(ChannelBalance::of_target);
        let scale = source(self.options);
        let guide = Guide::new(ramp, scale, end, self.options.viewing, self.context);
        ramps::trace(
            ramp,
            guide,
            self.subject.correction,
            scale,
            self.context,
            base,
            balance.as_ref(),
        )
    }
}

fn source(options: &AuditOptions) -> CodeScale {
    CodeScale {
        depth: options.source_bits,
        range: options.range,
    }
}

fn near_black_end(options: &AuditOptions, context: Option<&PanelContext>) -> f64 {
    context.map_or(options.near_black, |c| {
        c.target.near_black_end(options.near_black)
    })
}
