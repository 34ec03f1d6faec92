use evenstep_colour::{Xyz, delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz};
use evenstep_lut::{CodeScale, FOLIAGE_END, Region, SKIN_END, SKY_END};
use rayon::prelude::*;

use crate::context::{PanelContext, Subject};
use crate::walk::{drive_at, shown_by};

/// Grey patches, black and white among them.
const GREYS: usize = 11;

/// One signal: what is wanted, and how far each chain misses it.
#[derive(Clone, Debug)]
pub struct ColourTrace {
    /// Words for the signal; empty for one of the cube.
    pub name: String,
    /// The signal.
    pub signal: [f64; 3],
    /// Whether the panel can show what is wanted.
    pub reachable: bool,
    /// Wanted light.
    pub wanted: Xyz,
    /// The correction.
    pub correction: Miss,
    /// The base correction, without a lattice.
    pub base: Miss,
    /// No correction.
    pub uncorrected: Miss,
}

/// What one chain shows, and how far that is from what is wanted.
#[derive(Clone, Copy, Debug)]
pub struct Miss {
    /// Shown light.
    pub shown: Xyz,
    /// CIEDE2000, the target's white as reference white.
    pub de2000: f64,
    /// ΔE ITP.
    pub itp: f64,
}

/// The chains whose colours are looked at.
pub(crate) struct Chains<'a> {
    pub(crate) context: &'a PanelContext<'a>,
    pub(crate) subject: &'a Subject<'a>,
    pub(crate) scale: CodeScale,
}

impl Chains<'_> {
    /// Colours over the lattice of signals by which a comparison sums up colour. `near_black_end` is where near-black ends.
    pub(crate) fn cube(&self, near_black_end: f64) -> Vec<ColourTrace> {
        Region::All
            .signals(near_black_end)
            .into_par_iter()
            .map(|signal| self.colour(String::new(), signal))
            .collect()
    }

    /// Colours with a name.
    pub(crate) fn patches(&self) -> Vec<ColourTrace> {
        named_signals()
            .into_par_iter()
            .map(|(name, signal)| self.colour(name, signal))
            .collect()
    }

    fn colour(&self, name: String, signal: [f64; 3]) -> ColourTrace {
        let context = self.context;
        let wanted = context.target.xyz(signal);
        let white = context.target.white();
        let miss = |drive: [f64; 3]| {
            let shown = shown_by(context.panel, drive);
            Miss {
                shown,
                de2000: delta_e_2000(lab_from_xyz(shown, white), lab_from_xyz(wanted, white)),
                itp: delta_e_itp(itp_from_xyz(shown), itp_from_xyz(wanted)),
            }
        };
        let own = drive_at(self.subject.correction, signal, self.scale);
        ColourTrace {
            name,
            signal,
            reachable: (context.reachable)(signal),
            wanted,
            correction: miss(own),
            base: miss(context.base.drive(signal)),
            uncorrected: miss(signal),
        }
    }
}

fn named_signals() -> Vec<(String, [f64; 3])> {
    let mut all: Vec<(String, [f64; 3])> = (0..GREYS)
        .map(|i| {
            let level = i as f64 / (GREYS - 1) as f64;
            (format!("grey {:.0} %", 100.0 * level), [level; 3])
        })
        .collect();
    let mixtures = [
        ("red", [1.0, 0.0, 0.0]),
        ("yellow", [1.0, 1.0, 0.0]),
        ("green", [0.0, 1.0, 0.0]),
        ("cyan", [0.0, 1.0, 1.0]),
        ("blue", [0.0, 0.0, 1.0]),
        ("magenta", [1.0, 0.0, 1.0]),
    ];
    for level in [0.5, 1.0] {
        all.extend(mixtures.map(|(name, signal)| {
            (
                format!("{name} {:.0} %", 100.0 * level),
                signal.map(|v| v * level),
            )
        }));
    }
    all.extend(
        [
            ("skin", SKIN_END),
            ("sky", SKY_END),
            ("foliage", FOLIAGE_END),
        ]
        .map(|(name, signal)| (name.to_owned(), signal)),
    );
    all
}
