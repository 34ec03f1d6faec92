use std::io::{self, Seek, Write};

use evenstep_lut::{Code, CodeLut, NEAR_BLACK, PackedLut, Ramp, TILE};
use evenstep_picture::{Depth, Format, Header, Sample, Samples, write_rows};

/// A picture of ramps in horizontal stripes, of our own design.
#[derive(Clone, Debug, PartialEq)]
pub struct RampPicture {
    name: String,
    stripes: Vec<Stripe>,
}

#[derive(Clone, Debug, PartialEq)]
struct Stripe {
    ramp: Ramp,
    /// Whether its light end is at the left.
    is_turned: bool,
}

/// Why a picture of ramps cannot be drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "a picture of {width} x {height} pixels is not drawn; use {LEAST_SIDE} to {MOST_SIDE} on each side"
)]
pub struct RampSizeError {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
}

/// Fewest pixels on a side: every stripe has rows.
const LEAST_SIDE: u32 = 64;

/// Most pixels on a side: within what pictures may have.
const MOST_SIDE: u32 = 16_384;

/// The ramps of which near black shows the darkest part.
const DARK: [&str; 4] = ["neutral", "red", "green", "blue"];

impl RampPicture {
    /// All of them: each ramp of the audit by itself, near black, and the ten ramps together.
    ///
    /// A ramp by itself runs from black at the left to its end at the right, and below that the other way round, so that
    /// a step of the one stands beside smooth parts of the other. Near black shows the darkest tenth of the signals of
    /// grey, red, green and blue, each both ways.
    #[must_use]
    pub fn all() -> Vec<Self> {
        let both_ways = |ramp: &Ramp| {
            [false, true].map(|is_turned| Stripe {
                ramp: ramp.clone(),
                is_turned,
            })
        };
        let ramps = Ramp::named();
        let mut pictures: Vec<Self> = ramps
            .iter()
            .map(|ramp| Self {
                name: ramp.name().to_owned(),
                stripes: both_ways(ramp).into(),
            })
            .collect();
        let dark = |name: &str| {
            let ramp = ramps.iter().find(|ramp| ramp.name() == name);
            let ramp = ramp.expect("the audit walks a ramp of this name");
            Ramp::new(name, ramp.from(), ramp.to().map(|v| v * NEAR_BLACK))
                .expect("ends stay between 0 and 1, and apart")
        };
        pictures.push(Self {
            name: "near-black".to_owned(),
            stripes: DARK
                .iter()
                .flat_map(|name| both_ways(&dark(name)))
                .collect(),
        });
        pictures.push(Self {
            name: "all".to_owned(),
            stripes: ramps
                .into_iter()
                .map(|ramp| Stripe {
                    ramp,
                    is_turned: false,
                })
                .collect(),
        });
        pictures
    }

    /// Its name, fit for a file.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Whether a picture of this size is drawn.
    ///
    /// # Errors
    /// [`RampSizeError`] unless each side has 64 to 16 384 pixels.
    pub fn check_size(width: u32, height: u32) -> Result<(), RampSizeError> {
        let sides = LEAST_SIDE..=MOST_SIDE;
        if sides.contains(&width) && sides.contains(&height) {
            return Ok(());
        }
        Err(RampSizeError { width, height })
    }

    /// Draws the picture at `width` × `height` pixels; with a LUT it is what the panel is sent for it when the LUT is
    /// loaded.
    ///
    /// Samples are the nearest codes of `depth` on the straight line from end to end; the LUT is asked for these codes,
    /// and its drives go to the nearest code again.
    ///
    /// # Errors
    /// [`InvalidInput`](io::ErrorKind::InvalidInput) with a [`RampSizeError`] for a size that is not drawn, and what the
    /// system says about `out`.
    pub fn write(
        &self,
        out: impl Write + Seek,
        format: Format,
        (width, height): (u32, u32),
        depth: Depth,
        through: Option<&PackedLut>,
    ) -> io::Result<()> {
        Self::check_size(width, height)
            .map_err(|size| io::Error::new(io::ErrorKind::InvalidInput, size))?;
        let header = Header::rgb(width, height, depth);
        let rows = match depth {
            Depth::Eight => self.rows::<u8>(width, through),
            Depth::Sixteen => self.rows::<u16>(width, through),
        };
        let mut y = 0;
        write_rows(out, format, &header, |batch| {
            // Stripes differ by a row where their number does not divide the height.
            batch.clone_from(&rows[y * rows.len() / height as usize]);
            y += 1;
            Ok(())
        })
    }

    /// A row of each stripe.
    fn rows<T: Code + Sample>(&self, width: u32, through: Option<&PackedLut>) -> Vec<Samples> {
        let codes = through.map(PackedLut::codes);
        let row = |stripe: &Stripe| stripe.row::<T>(width, codes.as_ref());
        self.stripes.iter().map(row).collect()
    }
}

impl Stripe {
    fn row<T: Code + Sample>(&self, width: u32, through: Option<&CodeLut<'_, T>>) -> Samples {
        let (from, to) = (self.ramp.from(), self.ramp.to());
        let largest = f64::from(T::LARGEST);
        let pixel = |x: u32| -> [T; 3] {
            let x = if self.is_turned { width - 1 - x } else { x };
            let share = f64::from(x) / f64::from(width - 1);
            // Ends of ramps lie in 0 to 1.
            [0, 1, 2].map(|c| {
                T::from_bits(((from[c] + share * (to[c] - from[c])) * largest).round() as u32)
            })
        };
        let mut row: Vec<[T; 3]> = (0..width).map(pixel).collect();
        if let Some(lut) = through {
            let source = row.clone();
            lut.row(&source, &[[0.0; 4]; TILE], &mut row);
        }
        let mut samples = Samples::empty(Depth::Eight);
        T::vec(&mut samples).extend_from_slice(row.as_flattened());
        samples
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;
    use std::path::Path;

    use evenstep_lut::{Evaluation, Lut, Lut3d};
    use evenstep_picture::{Picture, Reader};

    use super::*;
    use crate::{ApplyOptions, Dither, apply};

    const SIZE: (u32, u32) = (300, 70);

    fn drawn(picture: &RampPicture, depth: Depth, through: Option<&PackedLut>) -> Vec<u8> {
        let mut file = Cursor::new(Vec::new());
        picture
            .write(&mut file, Format::Png, SIZE, depth, through)
            .unwrap();
        file.into_inner()
    }

    fn read(file: Vec<u8>) -> Picture {
        Picture::read_from(Cursor::new(file), Path::new("ramp.png")).unwrap()
    }

    #[test]
    fn a_ramp_rises_from_black_to_its_end_and_back_below() {
        let all = RampPicture::all();
        assert_eq!(all.len(), 12);
        for picture in &all[..10] {
            let ramp = Ramp::named()
                .into_iter()
                .find(|r| r.name() == picture.name())
                .unwrap();
            let drawn = read(drawn(picture, Depth::Sixteen, None));
            let signal = |x: u32, y: u32, c: usize| {
                drawn.samples().signal(((y * SIZE.0 + x) * 3) as usize + c)
            };
            for c in 0..3 {
                // Half a code of 16 bits.
                let half = 0.5 / 65_535.0 + 1e-12;
                for x in 0..SIZE.0 {
                    let share = f64::from(x) / f64::from(SIZE.0 - 1);
                    assert!((signal(x, 0, c) - share * ramp.to()[c]).abs() <= half);
                    assert_eq!(signal(x, 0, c), signal(SIZE.0 - 1 - x, SIZE.1 - 1, c));
                }
            }
        }
    }

    #[test]
    fn near_black_ends_at_a_tenth() {
        let all = RampPicture::all();
        let picture = all.iter().find(|p| p.name() == "near-black").unwrap();
        let drawn = read(drawn(picture, Depth::Eight, None));
        let Samples::Eight(samples) = drawn.samples() else {
            panic!("eight bits")
        };
        // 25.5 rounds up.
        assert_eq!(samples.iter().max(), Some(&26));
        let names = picture.stripes.iter().map(|stripe| stripe.ramp.name());
        assert!(names.eq(DARK.iter().flat_map(|name| [*name; 2])));
    }

    #[test]
    fn the_twin_is_the_picture_through_the_lut() {
        let lut = Lut::from(Lut3d::from_fn(17, |[r, g, b]| [r * r, g, 0.9 * b]));
        let packed = PackedLut::new(&lut, Evaluation::Tetrahedral);
        for depth in [Depth::Eight, Depth::Sixteen] {
            for picture in RampPicture::all() {
                let plain = drawn(&picture, depth, None);
                let mut reader = Reader::new(Cursor::new(plain), Path::new("plain")).unwrap();
                let mut applied = Cursor::new(Vec::new());
                let options = ApplyOptions {
                    evaluation: Evaluation::Tetrahedral,
                    dither: Dither::None,
                    depth: None,
                    format: Format::Png,
                };
                apply(&lut, &mut reader, &mut applied, options, &|_, _| {}).unwrap();
                assert!(
                    applied.into_inner() == drawn(&picture, depth, Some(&packed)),
                    "{}",
                    picture.name()
                );
            }
        }
    }

    #[test]
    fn sizes_without_sense_are_refused() {
        for size in [(0, 100), (100, 63), (16_385, 100)] {
            let out = Cursor::new(Vec::new());
            assert!(
                RampPicture::all()[0]
                    .write(out, Format::Tiff, size, Depth::Eight, None)
                    .is_err()
            );
        }
    }
}
