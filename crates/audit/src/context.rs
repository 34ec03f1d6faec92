use evenstep_colour::Xyz;
use evenstep_display::PanelModel;
use evenstep_lut::{Correction, Lut, Lut1d, Lut3d};

/// What is audited.
#[derive(Clone, Copy)]
pub struct Subject<'a> {
    /// The whole chain from signal to drive, unrounded. In narrow range it takes and gives positions, that is
    /// codes over 2^B − 1.
    pub correction: &'a dyn Correction,
    /// Curves in front of the lattice, where the chain has them: they say where in the lattice a signal lands.
    pub curves: Option<&'a Lut1d>,
    /// The lattice whose nodes are examined; without one the report has no lattice figures.
    pub lattice: Option<&'a Lut3d>,
}

impl<'a> Subject<'a> {
    /// A correction without a lattice to examine.
    #[must_use]
    pub fn new(correction: &'a dyn Correction) -> Self {
        Self {
            correction,
            curves: None,
            lattice: None,
        }
    }

    /// A LUT with the correction it stands for, usually [`Lut::evaluated`] of the same LUT.
    #[must_use]
    pub fn of_lut(correction: &'a dyn Correction, lut: &'a Lut) -> Self {
        Self {
            correction,
            curves: lut.curves.as_ref(),
            lattice: lut.lattice.as_ref(),
        }
    }
}

/// What a correction is meant to make the panel show.
pub trait AuditTarget: Send + Sync {
    /// The light wanted for a signal in [0, 1]³, absolute XYZ in cd/m².
    fn xyz(&self, signal: [f64; 3]) -> Xyz;

    /// Target white; its Y is L_w.
    fn white(&self) -> Xyz;

    /// Target black.
    fn black(&self) -> Xyz;

    /// Signal at which near black ends. For PQ, `fraction` of the span from the code of L_b to the code of
    /// L_w, from the code of L_b; otherwise `fraction` itself.
    fn near_black_end(&self, fraction: f64) -> f64;
}

impl AuditTarget for evenstep_display::Target {
    fn xyz(&self, signal: [f64; 3]) -> Xyz {
        self.xyz(signal)
    }

    fn white(&self) -> Xyz {
        self.white()
    }

    fn black(&self) -> Xyz {
        self.black()
    }

    fn near_black_end(&self, fraction: f64) -> f64 {
        self.near_black_end(fraction)
    }
}

/// What the readings behind a panel model cover.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ReadingFacts {
    /// Different neutral drives that were read, black and white among them.
    pub neutral_levels: usize,
    /// Patches read inside the drive cube and off the neutral axis.
    pub interior: usize,
}

/// The panel the correction is for, and what the correction is held against.
#[derive(Clone, Copy)]
pub struct PanelContext<'a> {
    /// Drive → light.
    pub panel: &'a dyn PanelModel,
    /// Signal → light wanted.
    pub target: &'a dyn AuditTarget,
    /// The base correction, signal → drive: what grey-balance curves and a matrix reach.
    pub base: &'a dyn Correction,
    /// Whether the panel can show the target of a signal.
    pub reachable: &'a (dyn Fn([f64; 3]) -> bool + Sync),
    /// What was read.
    pub facts: ReadingFacts,
}
