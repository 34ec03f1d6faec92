use evenstep_lut::Correction;
use serde::Serialize;

/// Points along each axis: none of them is a node of a usual lattice.
const AXIS: usize = 20;
/// Where in its interval each point lies. Our choice: far from 0, a half and 1, where errors of interpolation vanish or
/// repeat.
const INSIDE: f64 = 0.37;
/// Greys, ends included: every code of 10 bits and one more.
const GREYS: usize = 1025;

/// How far two corrections lie apart, in drive of 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Difference {
    /// Largest in any channel.
    pub largest: f64,
    /// Signal where it is largest.
    pub at: [f64; 3],
    /// Root of the mean square over all channels.
    pub rms: f64,
    /// Largest on greys.
    pub largest_grey: f64,
    /// Signals compared: 20 along each axis between the usual nodes, and 1025 greys.
    pub signals: usize,
}

impl Difference {
    /// Compares `one` with `other` on signals of 0 to 1, and on no others, whatever their domains.
    #[must_use]
    pub fn between(one: &dyn Correction, other: &dyn Correction) -> Self {
        let position = |i: usize| (i as f64 + INSIDE) / AXIS as f64;
        let colours =
            (0..AXIS.pow(3)).map(|i| [i % AXIS, i / AXIS % AXIS, i / (AXIS * AXIS)].map(position));
        let greys = (0..GREYS).map(|i| [i as f64 / (GREYS - 1) as f64; 3]);
        let mut found = Self {
            largest: 0.0,
            at: [0.0; 3],
            rms: 0.0,
            largest_grey: 0.0,
            signals: AXIS.pow(3) + GREYS,
        };
        let mut squares = 0.0;
        for signal in colours.chain(greys) {
            let (a, b) = (one.drive(signal), other.drive(signal));
            for c in 0..3 {
                let apart = (a[c] - b[c]).abs();
                squares += apart * apart;
                if apart > found.largest {
                    (found.largest, found.at) = (apart, signal);
                }
                if signal == [signal[0]; 3] {
                    found.largest_grey = found.largest_grey.max(apart);
                }
            }
        }
        found.rms = (squares / (3 * found.signals) as f64).sqrt();
        found
    }
}
