use evenstep_colour::{Chromaticity, Primaries, Xyz};
use evenstep_display::{PanelModel, Target, Transfer};

/// Luminance of the nominal white. Our choice: Rec. ITU-R BT.2035 (from memory) has 100 cd/m² for reference displays.
const WHITE_CD_M2: f64 = 100.0;
/// Luminance of the nominal black. Our choice, a contrast of 2000 as ordinary displays have.
const BLACK_CD_M2: f64 = 0.05;

/// A stated panel for weighing changes of colour where no panel was read: it adds, its primaries are those of Rec.
/// ITU-R BT.709-6 with a D65 white of 100 cd/m², its black is 0.05 cd/m² of the same chromaticity, and each channel
/// follows Rec. ITU-R BT.1886-0.
///
/// It weighs changes and says what they cost; no verdict is drawn from it.
#[derive(Clone, Debug)]
pub struct NominalPanel(Target);

impl NominalPanel {
    /// What reports call it.
    pub const NAME: &'static str =
        "nominal: BT.709 primaries, D65 at 100 cd/m², BT.1886 above 0.05 cd/m²";
}

impl Default for NominalPanel {
    fn default() -> Self {
        Self(Target::new(
            Primaries::BT709,
            Transfer::Bt1886,
            Chromaticity::D65,
            WHITE_CD_M2,
            Chromaticity::D65.xyz_at(BLACK_CD_M2),
        ))
    }
}

impl PanelModel for NominalPanel {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        self.0.xyz(drive)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rec. ITU-R BT.1886-0 Annex 1: L = a·max(V + b, 0)^2.4, from L_W and L_B, written down anew.
    #[test]
    fn greys_follow_bt_1886() {
        const ROUNDOFF: f64 = 1e-9; // a dozen operations on values up to a hundred
        let (w, b) = (WHITE_CD_M2.powf(1.0 / 2.4), BLACK_CD_M2.powf(1.0 / 2.4));
        let (gain, lift) = ((w - b).powf(2.4), b / (w - b));
        for v in [0.0, 0.1, 0.5, 1.0] {
            let want = gain * f64::max(v + lift, 0.0).powf(2.4);
            let got = NominalPanel::default().xyz([v; 3]).luminance_cd_m2();
            assert!((got - want).abs() < ROUNDOFF, "{v}: {got} {want}");
        }
    }
}
