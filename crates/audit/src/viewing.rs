use std::fmt;
use std::str::FromStr;

use evenstep_colour::BartenObserver;

/// Under which conditions steps are looked at: how large the picture is to the eye, and how much light of the room the
/// screen sends back.
///
/// Conditions move the two luminance scales, Barten's and DICOM's. ΔE ITP, on which the verdict rests, is defined for the
/// most critical state of adaptation (Rec. ITU-R BT.2124-0) and takes none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Viewing {
    /// Name, as the command takes it.
    pub name: &'static str,
    /// Width of the picture to the eye, in degrees: X0 of Barten's model.
    pub field_deg: f64,
    /// Light of the room that the screen sends back, as a share of the target's white.
    pub veil: f64,
    /// Where the conditions stand.
    pub source: &'static str,
}

impl Viewing {
    /// All conditions that have a name, the default first.
    pub const ALL: [Self; 5] = [
        Self {
            name: "bt2246",
            field_deg: 60.0,
            veil: 0.0,
            source: "Report ITU-R BT.2246, figure \"minimum detectable contrast\": field 60°, dark room",
        },
        // 2·atan(16/9 / (2·3.1)).
        Self {
            name: "bt2035",
            field_deg: 32.0,
            veil: 0.0,
            source: "Rec. ITU-R BT.2035-0, HDTV at its design viewing distance of 3.1 picture heights (from memory): field 32°, no light on the screen",
        },
        // 2·atan(16/9 / (2·1.6)).
        Self {
            name: "bt2100",
            field_deg: 58.0,
            veil: 0.0,
            source: "Rec. ITU-R BT.2100-2, reference viewing environment, 3840 × 2160 at 1.6 picture heights (from memory): field 58°, no light on the screen",
        },
        Self {
            name: "srgb",
            field_deg: 60.0,
            veil: 0.01,
            source: "IEC 61966-2-1:1999, encoding viewing environment: flare 1 % of white (from memory); field as in BT.2246, because the standard states none",
        },
        Self {
            name: "srgb-typical",
            field_deg: 60.0,
            veil: 0.05,
            source: "IEC 61966-2-1:1999, typical viewing environment: flare 5 % of white (from memory); field as in BT.2246, because the standard states none",
        },
    ];

    /// The eye of Barten's model under these conditions.
    pub(crate) fn observer(&self) -> BartenObserver {
        BartenObserver {
            object_deg: self.field_deg,
            ..BartenObserver::BT2246_60_DEG
        }
    }

    /// What a report says of Barten's scale: observer and contrast convention.
    pub(crate) fn barten_name(&self) -> String {
        let veil = if self.veil > 0.0 {
            format!(", {} % of white on the screen", 100.0 * self.veil)
        } else {
            String::new()
        };
        format!(
            "Barten as in ITU-R BT.2246, field {}°, step 2/(1.27·S){veil}",
            self.field_deg
        )
    }
}

impl Default for Viewing {
    fn default() -> Self {
        Self::ALL[0]
    }
}

impl fmt::Display for Viewing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name)
    }
}

/// The text names no conditions.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{found:?} names no viewing conditions; use bt2246, bt2035, bt2100, srgb or srgb-typical")]
pub struct ParseViewingError {
    /// The text found.
    pub found: String,
}

impl FromStr for Viewing {
    type Err = ParseViewingError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let named = Self::ALL.into_iter().find(|v| v.name == text);
        named.ok_or_else(|| ParseViewingError {
            found: text.to_owned(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_read_back_and_others_refused() {
        for viewing in Viewing::ALL {
            assert_eq!(viewing.to_string().parse(), Ok(viewing));
        }
        let said = "home".parse::<Viewing>().unwrap_err().to_string();
        for viewing in Viewing::ALL {
            assert!(said.contains(viewing.name), "{said}");
        }
    }

    /// The two fields are what 16:9 pictures at those distances measure, to whole degrees.
    #[test]
    fn fields_follow_from_the_viewing_distances() {
        for (name, heights) in [("bt2035", 3.1), ("bt2100", 1.6)] {
            let viewing: Viewing = name.parse().unwrap();
            let field = 2.0 * (16.0_f64 / 9.0 / (2.0 * heights)).atan().to_degrees();
            assert!((field - viewing.field_deg).abs() <= 0.5, "{name}: {field}");
        }
    }
}
