use nalgebra::Vector3;

/// CIE 1931 2° tristimulus values of displayed light, absolute: `Y` is luminance in cd/m².
///
/// Components may be slightly negative when they come from noisy readings near black.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Xyz(pub [f64; 3]);

impl Xyz {
    /// Tristimulus values from their three components, in cd/m².
    #[must_use]
    pub const fn new(x: f64, y: f64, z: f64) -> Self {
        Self([x, y, z])
    }

    /// Luminance `Y` in cd/m².
    #[must_use]
    pub const fn luminance_cd_m2(self) -> f64 {
        self.0[1]
    }

    /// Chromaticity coordinates, or `None` when `X + Y + Z` is not positive.
    #[must_use]
    pub fn chromaticity(self) -> Option<Chromaticity> {
        let sum: f64 = self.0.iter().sum();
        (sum > 0.0).then(|| Chromaticity {
            x: self.0[0] / sum,
            y: self.0[1] / sum,
        })
    }
}

impl From<Xyz> for Vector3<f64> {
    fn from(xyz: Xyz) -> Self {
        Self::from(xyz.0)
    }
}

impl From<Vector3<f64>> for Xyz {
    fn from(vector: Vector3<f64>) -> Self {
        Self(vector.into())
    }
}

/// CIE 1931 chromaticity coordinates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chromaticity {
    /// x = X / (X + Y + Z).
    pub x: f64,
    /// y = Y / (X + Y + Z); must be positive where a colour of given luminance is asked for.
    pub y: f64,
}

impl Chromaticity {
    /// D65 as the display Recommendations round it.
    ///
    /// # Source
    /// Rec. ITU-R BT.709-6 (06/2015) item 1.4; BT.2020-2 table 3; IEC 61966-2-1:1999.
    pub const D65: Self = Self {
        x: 0.3127,
        y: 0.3290,
    };

    /// The colour of this chromaticity at a luminance in cd/m².
    #[must_use]
    pub const fn xyz_at(self, luminance_cd_m2: f64) -> Xyz {
        let scale = luminance_cd_m2 / self.y;
        Xyz::new(
            self.x * scale,
            luminance_cd_m2,
            (1.0 - self.x - self.y) * scale,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ROUNDOFF: f64 = 1e-14; // five operations on values below 1

    proptest! {
        /// A colour made from chromaticity and luminance has that chromaticity and luminance.
        #[test]
        fn chromaticity_round_trip(x in 0.01_f64..0.7, y in 0.01_f64..0.3, luminance in 1e-4_f64..1e4) {
            let xyz = Chromaticity { x, y }.xyz_at(luminance);
            let back = xyz.chromaticity().expect("light has a chromaticity");
            prop_assert!((back.x - x).abs() < ROUNDOFF && (back.y - y).abs() < ROUNDOFF);
            prop_assert_eq!(xyz.luminance_cd_m2(), luminance);
        }
    }

    #[test]
    fn darkness_has_no_chromaticity() {
        assert_eq!(Xyz::default().chromaticity(), None);
        assert_eq!(Xyz::new(-0.1, 0.05, 0.0).chromaticity(), None);
    }
}
