use evenstep_lut::{CodeScale, Correction, Lut, Lut3d};

use crate::context::Subject;

/// The base correction in a lattice like the subject's, so that the two differ by what was corrected and not by what any
/// lattice costs: between the nodes of a dark cell every lattice is less even than the curves it was made from.
///
/// `None` where the subject has no lattice, or one that curves or a domain of its own place elsewhere: then the exact base
/// is what there is to be held against.
pub(crate) fn base_in_lattice(
    base: &dyn Correction,
    subject: &Subject,
    scale: CodeScale,
) -> Option<Lut> {
    let lattice = subject.lattice.filter(|lattice| {
        subject.curves.is_none()
            && lattice.domain_min() == [0.0; 3]
            && lattice.domain_max() == [1.0; 3]
    })?;
    // Beyond the legal codes every channel goes on with slope 1.
    let stored = |position: [f64; 3]| -> [f64; 3] {
        let signal = position.map(|p| scale.signal_from_position(p));
        let legal = signal.map(|s| s.clamp(0.0, 1.0));
        let drive = base.drive(legal);
        std::array::from_fn(|c| {
            scale
                .position_from_signal(drive[c] + signal[c] - legal[c])
                .clamp(0.0, 1.0)
        })
    };
    Some(Lut::from(Lut3d::from_fn(lattice.size(), stored)))
}
