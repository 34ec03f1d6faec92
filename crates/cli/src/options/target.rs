use anyhow::bail;
use clap::Args;
use evenstep::colour::{Chromaticity, Primaries};
use evenstep::display::Transfer;
use evenstep::fit::{Black, BlackColour, Peak, TargetRequest, White};

/// What the corrected display should show.
#[derive(Args, Clone, Copy, Debug)]
#[command(next_help_heading = "Target")]
pub(crate) struct TargetArgs {
    /// Primaries of the picture
    #[arg(long, value_name = "bt709|p3-d65|bt2020", default_value = "bt709", value_parser = primaries)]
    primaries: Primaries,
    /// How the signal becomes light; gamma takes an exponent from 1 to 4
    #[arg(
        long,
        value_name = "bt1886|gamma:2.2|srgb|pq|hlg",
        default_value = "bt1886"
    )]
    transfer: Transfer,
    /// White: d65, the panel's own white, or a chromaticity x,y
    #[arg(long, value_name = "d65|native|x,y", default_value = "d65", value_parser = white)]
    white: White,
    /// Luminance of white in cd/m². With measured it is just below the most that the panel reaches at
    /// the chromaticity of the white
    #[arg(long, value_name = "measured|CD_M2", default_value = "measured", value_parser = peak)]
    peak: Peak,
    /// Luminance of black in cd/m²; measured is the panel's own
    #[arg(long, value_name = "measured|CD_M2", default_value = "measured", value_parser = black)]
    black: Black,
    /// Colour of black: the panel's own, so that greys glide from it to the white, or that of the white
    #[arg(long, value_name = "measured|white", default_value = "measured", value_parser = black_colour)]
    black_colour: BlackColour,
}

impl TargetArgs {
    /// The target asked for, before the panel is known.
    pub(crate) fn request(&self) -> TargetRequest {
        TargetRequest {
            primaries: self.primaries,
            transfer: self.transfer,
            white: self.white,
            peak: self.peak,
            black: self.black,
            black_colour: self.black_colour,
        }
    }

    /// Refuses options that contradict each other, before anything is read.
    pub(crate) fn check(&self) -> anyhow::Result<()> {
        if let (Peak::Given(peak), Black::Given(black)) = (self.peak, self.black)
            && peak <= black
        {
            bail!("--peak {peak} is not above --black {black}; white must be brighter than black");
        }
        Ok(())
    }
}

fn primaries(text: &str) -> Result<Primaries, String> {
    Primaries::by_name(text)
        .ok_or_else(|| format!("{text:?} names no primaries; use bt709, p3-d65 or bt2020"))
}

fn white(text: &str) -> Result<White, String> {
    let refused = || {
        format!(
            "{text:?} is no white; use d65, native or a chromaticity such as 0.3127,0.3290 with x and y above 0 and x + y up to 1"
        )
    };
    match text {
        "d65" => Ok(White::Given(Chromaticity::D65)),
        "native" => Ok(White::Native),
        _ => {
            let (x, y) = text.split_once(',').ok_or_else(refused)?;
            let [x, y]: [f64; 2] = [
                x.trim().parse().map_err(|_| refused())?,
                y.trim().parse().map_err(|_| refused())?,
            ];
            if x > 0.0 && y > 0.0 && x + y <= 1.0 {
                Ok(White::Given(Chromaticity { x, y }))
            } else {
                Err(refused())
            }
        }
    }
}

/// Brightest light that PQ can carry, SMPTE ST 2084:2014; nothing brighter can be aimed at.
const MOST_CD_M2: f64 = 10_000.0;

/// `measured` or a luminance in cd/m².
fn luminance(text: &str, allows: impl Fn(f64) -> bool, from: &str) -> Result<Option<f64>, String> {
    if text == "measured" {
        return Ok(None);
    }
    text.parse()
        .ok()
        .filter(|v| allows(*v) && *v <= MOST_CD_M2)
        .map(Some)
        .ok_or_else(|| {
            format!("{text:?} is no luminance; use measured or cd/m² {from} up to {MOST_CD_M2}")
        })
}

fn peak(text: &str) -> Result<Peak, String> {
    Ok(luminance(text, |v| v > 0.0, "above 0")?.map_or(Peak::Measured, Peak::Given))
}

fn black(text: &str) -> Result<Black, String> {
    Ok(luminance(text, |v| v >= 0.0, "from 0")?.map_or(Black::Measured, Black::Given))
}

fn black_colour(text: &str) -> Result<BlackColour, String> {
    match text {
        "measured" => Ok(BlackColour::Measured),
        "white" => Ok(BlackColour::White),
        _ => Err(format!(
            "{text:?} is no colour of black; use measured or white"
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whites_are_named_or_given_by_chromaticity() {
        assert_eq!(white("native"), Ok(White::Native));
        assert_eq!(
            white("0.3,0.31"),
            Ok(White::Given(Chromaticity { x: 0.3, y: 0.31 }))
        );
        for bad in [
            "",
            "d50",
            "0.3",
            "0.3,",
            "0.3,0",
            "0.6,0.5",
            "nan,0.3",
            "0.3,0.3,0.3",
        ] {
            assert!(white(bad).is_err(), "{bad:?}");
        }
    }

    #[test]
    fn luminances_are_measured_or_positive_numbers() {
        assert_eq!(peak("measured"), Ok(Peak::Measured));
        assert_eq!(peak("120"), Ok(Peak::Given(120.0)));
        assert_eq!(black("0"), Ok(Black::Given(0.0)));
        for bad in ["0", "-1", "nan", "inf", "10001", "100 cd"] {
            assert!(peak(bad).is_err(), "{bad:?}");
        }
        assert!(black("-0.1").is_err());
    }
}
