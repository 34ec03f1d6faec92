use evenstep_colour::{Itp, Xyz, delta_e_itp, itp_from_xyz, pq_inverse_eotf};

/// ΔE ITP per unit of I, T or P (Rec. ITU-R BT.2124-0).
pub(crate) const ITP_SCALE: f64 = 720.0;

/// The light of every code of a ramp, with what the figures need of it computed once.
pub(crate) struct Light {
    pub(crate) xyz: Vec<Xyz>,
    pub(crate) itp: Vec<Itp>,
    /// PQ code of the luminance, 0 to 1: the I of a neutral of that luminance.
    luminance_code: Vec<f64>,
}

impl Light {
    pub(crate) fn new(xyz: Vec<Xyz>) -> Self {
        Self {
            itp: xyz.iter().map(|&c| itp_from_xyz(c)).collect(),
            luminance_code: xyz
                .iter()
                .map(|c| pq_inverse_eotf(c.luminance_cd_m2().max(0.0)))
                .collect(),
            xyz,
        }
    }

    /// Luminance of a code in cd/m².
    pub(crate) fn luminance(&self, at: usize) -> f64 {
        self.xyz[at].luminance_cd_m2()
    }

    /// PQ codes of the luminances, 0 to 1.
    pub(crate) fn luminance_codes(&self) -> &[f64] {
        &self.luminance_code
    }

    /// Rise of luminance from one code to the next, in cd/m².
    pub(crate) fn rise(&self, at: usize) -> f64 {
        self.luminance(at + 1) - self.luminance(at)
    }

    /// ΔE ITP between a code and the next; never negative.
    pub(crate) fn step_itp(&self, at: usize) -> f64 {
        delta_e_itp(self.itp[at], self.itp[at + 1])
    }

    /// ΔE ITP between a code and the next, negative where luminance falls.
    pub(crate) fn signed_step_itp(&self, at: usize) -> f64 {
        self.step_itp(at) * if self.rise(at) < 0.0 { -1.0 } else { 1.0 }
    }

    /// ΔE ITP along luminance by which code `to` lies below code `from`: 720 · (PQ⁻¹(Y from) − PQ⁻¹(Y to)).
    pub(crate) fn fall_itp(&self, from: usize, to: usize) -> f64 {
        ITP_SCALE * (self.luminance_code[from] - self.luminance_code[to])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstep_colour::{Chromaticity, pq_eotf};

    #[test]
    fn a_ten_bit_pq_code_is_the_same_step_for_every_neutral() {
        // 720/1023, Rec. ITU-R BT.2124-0 with BT.2100-2 PQ. Code 0 is the exception: 0 cd/m² encodes to c1^m2
        // = 7.30955903e-7 (SMPTE ST 2084:2014), not to 0, and its step is shorter by that.
        const ZERO_LIGHT: f64 = 7.309_559_03e-7;
        // Rounding of two powers near black, where PQ is steepest.
        const ROUNDOFF: f64 = 1e-9;
        // The BT.2100 matrix gives D65's four printed decimals LMS that are equal only so far.
        const WHITE_PRINTED: f64 = 1e-3;
        let neutral = |code: u32| Chromaticity::D65.xyz_at(pq_eotf(f64::from(code) / 1023.0));
        let light = Light::new((0..1024).map(neutral).collect());
        for code in 0..1023 {
            let first = if code == 0 {
                ITP_SCALE * ZERO_LIGHT
            } else {
                0.0
            };
            let step = 720.0 / 1023.0 - first;
            let along_luminance = -light.fall_itp(code, code + 1);
            assert!(
                (along_luminance - step).abs() < ROUNDOFF,
                "code {code}: {along_luminance}"
            );
            let full = light.step_itp(code);
            assert!((full - step).abs() < WHITE_PRINTED, "code {code}: {full}");
        }
    }
}
