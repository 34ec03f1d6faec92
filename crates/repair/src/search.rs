use evenstep_audit::{AuditOptions, PanelContext, Place, RampPlaces, RampSearch, node_signal};
use evenstep_lut::{CodeScale, Lut, Lut3d, node_weights};
use rayon::prelude::*;

use crate::cells::{cells, is_clipped};
use crate::fault::{FaultKind, Found, SizeUnit};
use crate::stairs::stairs;

/// Weight under which a node does not count as read: what is left of a position that misses a node by rounding.
const WEIGHTLESS: f64 = 1e-6;

/// Finds the faults of a lattice in its place in a LUT, again and again.
pub(crate) struct Search<'a> {
    ramps: RampSearch<'a>,
    pub(crate) options: &'a AuditOptions,
    /// The base correction at each node, where the panel is known.
    pub(crate) base: Option<Vec<[f64; 3]>>,
    /// Whether the panel shows the target of each node.
    reached: Option<Vec<bool>>,
}

/// What was found.
pub(crate) struct Faults {
    /// Places of faults.
    pub(crate) found: Vec<Found>,
    /// Stretches and bumps of ramps and tetrahedra that are clipped and kept as they are.
    pub(crate) kept: usize,
}

impl<'a> Search<'a> {
    pub(crate) fn new(
        lut: &Lut,
        lattice: &Lut3d,
        options: &'a AuditOptions,
        context: Option<&PanelContext<'a>>,
    ) -> Self {
        let (scale, n) = (scale_of(options), lattice.size());
        let signal = |i: usize| {
            let node = [i % n, i / n % n, i / (n * n)];
            node_signal(lattice, lut.curves.as_ref(), scale, node)
        };
        let count = lattice.nodes().len();
        let base = context.map(|context| {
            let drive = |i| {
                let drive = context.base.drive(signal(i));
                drive.map(|v| scale.position_from_signal(v))
            };
            (0..count).into_par_iter().map(drive).collect()
        });
        let reached = context.map(|context| {
            let reached = |i| (context.reachable)(signal(i));
            (0..count).into_par_iter().map(reached).collect()
        });
        Self {
            ramps: RampSearch::new(lut, options, context),
            options,
            base,
            reached,
        }
    }

    /// All faults of the LUT, which has the lattice this search was made for, with other values.
    pub(crate) fn faults(&self, lut: &Lut, lattice: &Lut3d) -> Faults {
        let mut faults = Faults {
            found: Vec::new(),
            kept: 0,
        };
        let correction = lut.evaluated(self.options.evaluation);
        for ramp in self.ramps.places(&correction) {
            self.on_ramp(lut, lattice, ramp, &mut faults);
        }
        let reached = self.reached.as_deref();
        faults
            .found
            .extend(stairs(lattice, self.base.as_deref(), reached));
        let cells = cells(lattice, reached);
        faults.found.extend(cells.found);
        faults.kept += cells.clipped;
        faults
    }

    fn on_ramp(&self, lut: &Lut, lattice: &Lut3d, ramp: RampPlaces, faults: &mut Faults) {
        faults.kept += ramp.clips.len();
        let along = if self.base.is_some() {
            SizeUnit::Itp
        } else {
            SizeUnit::Drive
        };
        for (kind, unit, places) in [
            (FaultKind::Reversal, along, ramp.falls),
            (FaultKind::Plateau, SizeUnit::Codes, ramp.plateaus),
            (FaultKind::Tint, SizeUnit::Itp, ramp.wobbles),
            (FaultKind::Bump, along, ramp.bumps),
        ] {
            for place in places {
                if self.is_beyond_the_domain(lut, lattice, &place) {
                    faults.kept += 1;
                    continue;
                }
                let mut nodes: Vec<usize> = place
                    .signals
                    .iter()
                    .map(|s| self.position(lut, lattice, *s))
                    .flat_map(|p| node_weights(lattice.size(), p, self.options.evaluation))
                    .filter(|(_, weight)| *weight > WEIGHTLESS)
                    .map(|(node, _)| node)
                    .collect();
                nodes.sort_unstable();
                nodes.dedup();
                // Where a clip begins a ramp bends, and whether a clip is meant is known with the panel alone.
                let is_clipped = |&i: &usize| (0..3).any(|c| is_clipped(lattice, i, c));
                if kind == FaultKind::Bump && self.base.is_none() && nodes.iter().any(is_clipped) {
                    faults.kept += 1;
                    continue;
                }
                faults.found.push(Found {
                    kind,
                    ramp: Some(ramp.ramp.clone()),
                    size: place.size,
                    unit,
                    between: Some(place.span),
                    node: None,
                    nodes,
                });
            }
        }
    }

    /// Whether a stretch stands still because its signals all land on one point of the border of the lattice.
    fn is_beyond_the_domain(&self, lut: &Lut, lattice: &Lut3d, place: &Place) -> bool {
        let mut points = place
            .signals
            .iter()
            .map(|s| self.position(lut, lattice, *s));
        let first = points.next();
        place.signals.len() > 1 && points.all(|p| Some(p) == first)
    }

    /// Where in the lattice a signal lands, 0 to 1 along each axis.
    fn position(&self, lut: &Lut, lattice: &Lut3d, signal: [f64; 3]) -> [f64; 3] {
        let scale = scale_of(self.options);
        let position = signal.map(|v| scale.position_from_signal(v));
        let shaped = lut.curves.as_ref().map_or(position, |c| c.sample(position));
        let (min, max) = (lattice.domain_min(), lattice.domain_max());
        [0, 1, 2].map(|c| ((shaped[c] - min[c]) / (max[c] - min[c])).clamp(0.0, 1.0))
    }
}

/// The codes of the source.
pub(crate) fn scale_of(options: &AuditOptions) -> CodeScale {
    CodeScale {
        depth: options.source_bits,
        range: options.range,
    }
}
