use evenstep_colour::Xyz;
use nalgebra::{Matrix3, Vector3};

use crate::context::PanelContext;

/// Light told in shares of the target's own red, green and blue.
pub(crate) struct ChannelBalance {
    inverse: Matrix3<f64>,
}

impl ChannelBalance {
    /// From the light that the target asks for at full red, green and blue, black taken off; `None` where these three
    /// do not span the colours.
    pub(crate) fn of_target(context: &PanelContext) -> Option<Self> {
        let black = Vector3::from(context.target.black());
        let columns = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
            .map(|signal| Vector3::from(context.target.xyz(signal)) - black);
        let inverse = Matrix3::from_columns(&columns).try_inverse()?;
        Some(Self { inverse })
    }

    /// How far the red, green and blue of a shown colour lie above (positive) or below those of the wanted one, as a
    /// share of the wanted; a channel that the wanted colour lacks has none.
    pub(crate) fn error(&self, shown: Xyz, wanted: Xyz) -> [Option<f64>; 3] {
        let of = |xyz: Xyz| self.inverse * Vector3::from(xyz);
        let (shown, wanted) = (of(shown), of(wanted));
        [0, 1, 2].map(|c| (wanted[c] > 0.0).then(|| shown[c] / wanted[c] - 1.0))
    }
}
