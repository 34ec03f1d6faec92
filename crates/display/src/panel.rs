use evenstep_colour::Xyz;
use nalgebra::Matrix3;

use crate::Encoding;

/// A map from drive to the light a panel shows.
///
/// Implemented by fitted models and by simulated panels; shareable between threads.
pub trait PanelModel: Send + Sync {
    /// Light shown for a drive in [0, 1]³, absolute XYZ in cd/m².
    fn xyz(&self, drive: [f64; 3]) -> Xyz;

    /// Light and its derivative: `jacobian[(i, c)]` = ∂XYZ_i / ∂drive_c in cd/m² per unit drive.
    ///
    /// The default takes central differences of half-width 1e-5, one-sided at the ends of the range.
    fn xyz_with_jacobian(&self, drive: [f64; 3]) -> (Xyz, Matrix3<f64>) {
        const HALF_WIDTH: f64 = 1e-5;
        let mut jacobian = Matrix3::zeros();
        for c in 0..3 {
            let (mut low, mut high) = (drive, drive);
            low[c] = (drive[c] - HALF_WIDTH).max(0.0);
            high[c] = (drive[c] + HALF_WIDTH).min(1.0);
            let (a, b) = (self.xyz(low).0, self.xyz(high).0);
            for i in 0..3 {
                jacobian[(i, c)] = (b[i] - a[i]) / (high[c] - low[c]);
            }
        }
        (self.xyz(drive), jacobian)
    }

    /// Light shown as [`Encoding::PqLms`] encodes it; models that are fitted there need not decode it first.
    fn pq_lms(&self, drive: [f64; 3]) -> [f64; 3] {
        pq_lms_of(self, drive)
    }

    /// The same and its derivative, `[(k, c)]` = ∂value_k / ∂drive_c.
    fn pq_lms_with_jacobian(&self, drive: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        pq_lms_with_jacobian_of(self, drive)
    }
}

/// What [`PanelModel::pq_lms`] is for a model that knows X, Y and Z.
pub(crate) fn pq_lms_of(panel: &(impl PanelModel + ?Sized), drive: [f64; 3]) -> [f64; 3] {
    Encoding::PqLms.encode(panel.xyz(drive))
}

/// What [`PanelModel::pq_lms_with_jacobian`] is for a model that knows X, Y and Z.
pub(crate) fn pq_lms_with_jacobian_of(
    panel: &(impl PanelModel + ?Sized),
    drive: [f64; 3],
) -> ([f64; 3], Matrix3<f64>) {
    let (xyz, jacobian) = panel.xyz_with_jacobian(drive);
    let (value, slope) = Encoding::PqLms.encode_with_derivative(xyz);
    (value, slope * jacobian)
}
