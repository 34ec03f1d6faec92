//! A banding index of pictures: contours in smooth parts, by their contrast, over several scales.

use rayon::prelude::*;

use evenstep_colour::Bt1886;

/// Pixels of a window along a side: about one degree on a screen of 3840 × 2160 seen from one and a half picture heights.
const WINDOW: usize = 63;
/// Scales, each half as wide as the one before, with the weight of each: narrow bands are seen less.
const SCALE_WEIGHTS: [f64; 5] = [16.0, 8.0, 4.0, 2.0, 1.0];
/// Largest contrast of a band in codes of 10 bits; what is larger is an edge.
const MOST_CONTRAST: usize = 4;
/// Share of the pixels that the index is the mean of: the worst.
const POOLED: f64 = 0.6;
/// Smallest ΔL/L of a contour that is seen.
const VISIBLE: f64 = 0.019;
/// Side of the window in which a pixel must lie flat, and the flat pixels in it that are needed.
const FLAT_SIDE: usize = 7;
const FLAT_NEEDED: usize = FLAT_SIDE * FLAT_SIDE / 2;
/// Codes of the luma the index is defined on.
const CODES: usize = 1024;
/// Codes of black and white: narrow range, Rec. ITU-R BT.709-6 item 5.
const BLACK_CODE: usize = 64;
const WHITE_CODE: usize = 940;
/// Display on which contrasts are judged, cd/m², with the curve of Rec. ITU-R BT.1886-0.
const WHITE_CD_M2: f64 = 300.0;
const BLACK_CD_M2: f64 = 0.01;

/// Luma of a picture in codes of 10 bits, black 64 and white 940, row by row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Luma {
    width: usize,
    codes: Vec<u16>,
}

impl Luma {
    /// A picture of `width` columns; a code above 1023 counts as 1023. `None` unless there are whole rows and at least one.
    #[must_use]
    pub fn new(width: usize, mut codes: Vec<u16>) -> Option<Self> {
        if width == 0 || codes.is_empty() || !codes.len().is_multiple_of(width) {
            return None;
        }
        for code in &mut codes {
            *code = (*code).min(CODES as u16 - 1);
        }
        Some(Self { width, codes })
    }

    fn height(&self) -> usize {
        self.codes.len() / self.width
    }

    fn at(&self, x: usize, y: usize) -> u16 {
        self.codes[y * self.width + x]
    }

    /// Every second pixel of every second row.
    fn halved(&self) -> Self {
        Self {
            width: self.width.div_ceil(2),
            codes: halved(&self.codes, self.width),
        }
    }

    /// Every pixel the most frequent code among the three by three around it, which keeps contours and takes single
    /// pixels out; the lowest of equally frequent codes. Beyond a border its pixels repeat.
    fn most_frequent(&self) -> Self {
        let (width, height) = (self.width, self.height());
        let pixel = |i: usize| {
            let (x, y) = (i % width, i / width);
            let mut around = [0; 9];
            for (k, code) in around.iter_mut().enumerate() {
                let (dx, dy) = (k % 3, k / 3);
                let column = (x + dx).saturating_sub(1).min(width - 1);
                let row = (y + dy).saturating_sub(1).min(height - 1);
                *code = self.at(column, row);
            }
            most_frequent(around)
        };
        Self {
            width,
            codes: (0..width * height).into_par_iter().map(pixel).collect(),
        }
    }

    /// Pixels that lie in a smooth part: most of the seven by seven around them equal their right and lower neighbours.
    fn smooth(&self) -> Vec<bool> {
        let (width, height) = (self.width, self.height());
        // Sums over rectangles from the upper left corner, so that a window costs four look-ups.
        let mut sums = vec![0_u32; (width + 1) * (height + 1)];
        for y in 0..height {
            let mut row = 0;
            for x in 0..width {
                let here = self.at(x, y);
                let right = self.at((x + 1).min(width - 1), y);
                let below = self.at(x, (y + 1).min(height - 1));
                row += u32::from(here == right && here == below);
                sums[(y + 1) * (width + 1) + x + 1] = sums[y * (width + 1) + x + 1] + row;
            }
        }
        let reach = FLAT_SIDE / 2;
        let flat_around = |i: usize| {
            let (x, y) = (i % width, i / width);
            let (left, right) = (x.saturating_sub(reach), (x + reach + 1).min(width));
            let (top, bottom) = (y.saturating_sub(reach), (y + reach + 1).min(height));
            let sum = |x: usize, y: usize| sums[y * (width + 1) + x];
            let count = sum(right, bottom) + sum(left, top) - sum(left, bottom) - sum(right, top);
            count as usize > FLAT_NEEDED
        };
        (0..width * height).map(flat_around).collect()
    }
}

/// Every second value of every second row.
fn halved<T: Copy>(values: &[T], width: usize) -> Vec<T> {
    let rows = values.chunks(width).step_by(2);
    rows.flat_map(|row| row.iter().copied().step_by(2))
        .collect()
}

fn most_frequent(mut codes: [u16; 9]) -> u16 {
    codes.sort_unstable();
    let (mut best, mut most, mut run) = (codes[0], 0, 0);
    for (i, &code) in codes.iter().enumerate() {
        run = if i > 0 && codes[i - 1] == code {
            run + 1
        } else {
            1
        };
        if run > most {
            (best, most) = (code, run);
        }
    }
    best
}

/// The index: 0 without bands, larger for wider and stronger ones; some 5 are called slightly annoying where it was published.
///
/// In every window of 63² smooth pixels around a pixel of code f, with p(k) the share of codes f + k, a contour of contrast
/// k shows as c = p(0)·q/(p(0) + q) with q the larger of p(k) and p(−k), weighted by k, as long as a step of k codes up
/// from f is visible; the largest counts. This is done at five scales: at each the most frequent code among 3 × 3 is taken,
/// then, for the next, every second pixel, also of what is smooth. Per scale the worst 60 % of all pixels are averaged, and
/// scales are summed with weights 16, 8, 4, 2 and 1. Windows at a border hold fewer pixels, shares are of the whole window.
///
/// A picture counts as shown pixel for pixel on a screen of 3840 × 2160: window and smoothness do not follow its size.
///
/// # Source
/// P. Tandon, M. Afonso, J. Sole & L. Krasula, "CAMBI: Contrast-aware Multiscale Banding Index", Picture Coding Symposium
/// 2021, arXiv:2102.00079 (abstract); definition as its authors' implementation in libvmaf has it (BSD+Patent licence, file
/// `cambi.c`), read for the formulas; what it gives is compared in `tests/peers/banding_vmaf.py`.
#[must_use]
pub fn banding_index(luma: &Luma) -> f64 {
    let visible = most_visible_code();
    let (mut picture, mut smooth) = (luma.clone(), luma.smooth());
    let mut index = 0.0;
    for (scale, weight) in SCALE_WEIGHTS.into_iter().enumerate() {
        if scale > 0 {
            smooth = halved(&smooth, picture.width);
            picture = picture.halved();
        }
        picture = picture.most_frequent();
        index += weight * pooled(contours(&picture, &smooth, &visible));
    }
    index
}

/// For each contrast k in codes, the largest code from which a step of k is still visible.
fn most_visible_code() -> [usize; MOST_CONTRAST + 1] {
    let eotf = Bt1886::new(WHITE_CD_M2, BLACK_CD_M2);
    let light =
        |code: usize| eotf.eotf((code - BLACK_CODE) as f64 / (WHITE_CODE - BLACK_CODE) as f64);
    std::array::from_fn(|k| {
        let step = |code: &usize| light(code + k) - light(*code) > VISIBLE * light(*code);
        // ΔL/L falls with L, so that the last of the visible codes says all.
        let legal = BLACK_CODE..WHITE_CODE - k;
        legal.take_while(step).last().unwrap_or(0)
    })
}

/// The strongest contour at every pixel; 0 outside smooth parts.
fn contours(picture: &Luma, smooth: &[bool], visible: &[usize; MOST_CONTRAST + 1]) -> Vec<f64> {
    let (width, height) = (picture.width, picture.height());
    let reach = WINDOW / 2;
    let rows: Vec<Vec<f64>> = (0..height)
        .into_par_iter()
        .map(|y| {
            let rows = y.saturating_sub(reach)..(y + reach + 1).min(height);
            let mut counts = vec![0_u32; CODES];
            let column = |x: usize, by: i64, counts: &mut [u32]| {
                for row in rows.clone() {
                    let i = row * width + x;
                    if smooth[i] {
                        let count = &mut counts[usize::from(picture.codes[i])];
                        *count = count.wrapping_add_signed(by as i32);
                    }
                }
            };
            for x in 0..reach.min(width) {
                column(x, 1, &mut counts);
            }
            (0..width)
                .map(|x| {
                    if x + reach < width {
                        column(x + reach, 1, &mut counts);
                    }
                    if x > reach {
                        column(x - reach - 1, -1, &mut counts);
                    }
                    let i = y * width + x;
                    if smooth[i] {
                        strongest(&counts, usize::from(picture.codes[i]), visible)
                    } else {
                        0.0
                    }
                })
                .collect()
        })
        .collect();
    rows.concat()
}

fn strongest(counts: &[u32], code: usize, visible: &[usize; MOST_CONTRAST + 1]) -> f64 {
    let share = |code: usize| f64::from(counts[code]) / (WINDOW * WINDOW) as f64;
    let own = share(code);
    let mut most = 0.0_f64;
    for (k, &seen) in visible.iter().enumerate().skip(1) {
        if code > seen {
            continue;
        }
        let above = if code + k < CODES {
            share(code + k)
        } else {
            0.0
        };
        let below = if code >= k { share(code - k) } else { 0.0 };
        let other = above.max(below);
        if other > 0.0 {
            most = most.max(k as f64 * own * other / (own + other));
        }
    }
    most
}

/// Mean of the largest values of all pixels.
fn pooled(mut values: Vec<f64>) -> f64 {
    // Whole pixels; a picture has at least one.
    let count = ((POOLED * values.len() as f64) as usize).max(1);
    values.sort_unstable_by(|a, b| b.total_cmp(a));
    values[..count].iter().sum::<f64>() / count as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const SIDE: usize = 96;
    /// Few operations on numbers up to 1.
    const ROUNDOFF: f64 = 1e-12;

    fn picture(code: impl Fn(usize, usize) -> u16) -> Luma {
        Luma::new(
            SIDE,
            (0..SIDE * SIDE).map(|i| code(i % SIDE, i / SIDE)).collect(),
        )
        .unwrap()
    }

    /// Vertical bands of `wide` pixels, `step` codes apart from `first` up.
    fn bands(wide: usize, step: u16, first: u16) -> Luma {
        picture(|x, _| first + step * (x / wide) as u16)
    }

    #[test]
    fn flat_pictures_and_texture_have_no_bands() {
        assert_eq!(banding_index(&picture(|_, _| 400)), 0.0);
        // No pixel equals both its neighbours.
        assert_eq!(
            banding_index(&picture(|x, y| 400 + ((x + y) % 2) as u16)),
            0.0
        );
        // A contour of more than four codes is an edge of the picture.
        assert_eq!(banding_index(&bands(48, 9, 400)), 0.0);
    }

    #[test]
    fn two_halves_of_a_window_are_the_sum_by_hand() {
        // 8 × 8 pixels, half 200 and half 204. All but column 3, whose right neighbours differ, are flat. A pixel is smooth
        // where more than 24 flat ones lie in the seven by seven around it, as far as the picture goes: flat columns times
        // rows. Columns from the left have 3, 4, 5, 6, 6, 5, 4, 4 flat ones around them, rows from the top 4, 5, 6, 7, 7, 6,
        // 5, 4: 0, 2, 6 and 6 smooth pixels a column on the left, 6, 6, 2 and 2 on the right.
        let (left, right) = (14.0, 16.0);
        let small = Luma::new(
            8,
            (0..64).map(|i| if i % 8 < 4 { 200 } else { 204 }).collect(),
        )
        .unwrap();
        let smooth = small.smooth();
        let columns: Vec<usize> = (0..8)
            .map(|x| (0..8).filter(|y| smooth[8 * y + x]).count())
            .collect();
        assert_eq!(columns, [0, 2, 6, 6, 6, 6, 2, 2]);
        // Every window holds the whole picture; k is 4.
        let expected = 4.0 * left * right / (left + right) / (WINDOW * WINDOW) as f64;
        for (c, smooth) in contours(&small, &smooth, &most_visible_code())
            .into_iter()
            .zip(smooth)
        {
            let expected = if smooth { expected } else { 0.0 };
            assert!((c - expected).abs() < ROUNDOFF, "{c} {expected}");
        }
    }

    #[test]
    fn a_step_that_is_invisible_is_no_band() {
        // One code of 10 bits is 1.9 % of luminance only in the dark (BT.1886: 2.4/code there).
        assert!(banding_index(&bands(32, 1, 80)) > 0.0);
        assert_eq!(banding_index(&bands(32, 1, 700)), 0.0);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4))]

        /// Stronger contours never count less, and swapping rows and columns of a picture changes nothing.
        #[test]
        fn contrast_counts_and_direction_does_not(wide in 24_usize..48, first in 90_u16..110) {
            let weak = banding_index(&bands(wide, 1, first));
            let strong = banding_index(&bands(wide, 2, first));
            prop_assert!(strong >= weak && weak > 0.0, "{strong} {weak}");
            let upright = bands(wide, 2, first);
            let swapped = picture(|x, y| upright.at(y, x));
            // Halving takes the same pixels of both; sums are ordered alike but for the pooling, which sorts.
            prop_assert!((banding_index(&swapped) - strong).abs() < ROUNDOFF);
        }
    }
}
