//! Pictures through LUTs, held against the LUT asked pixel by pixel.

use std::io::Cursor;
use std::path::Path;

use evenstep_apply::{ApplyOptions, ApplyReport, Dither, apply};
use evenstep_lut::{Evaluation, Lut, Lut3d};
use evenstep_picture::{ColourTags, Depth, Format, Header, Picture, Reader, Samples};
use proptest::prelude::*;

const PLAIN: ApplyOptions = ApplyOptions {
    evaluation: Evaluation::Tetrahedral,
    dither: Dither::None,
    depth: None,
    format: Format::Png,
};

fn applied(lut: &Lut, picture: &Picture, options: ApplyOptions) -> (Vec<u8>, ApplyReport) {
    let mut file = Cursor::new(Vec::new());
    picture.write(&mut file, Format::Tiff).unwrap();
    let mut reader = Reader::new(file, Path::new("before")).unwrap();
    let mut out = Cursor::new(Vec::new());
    let report = apply(lut, &mut reader, &mut out, options, &|_, _| {}).unwrap();
    (out.into_inner(), report)
}

fn read(bytes: Vec<u8>) -> Picture {
    Picture::read_from(Cursor::new(bytes), Path::new("after")).unwrap()
}

fn bent() -> Lut {
    Lut::from(Lut3d::from_fn(9, |[r, g, b]| {
        [r * r, 0.9 * g + 0.1 * r, 1.2 * b - 0.1]
    }))
}

prop_compose! {
    fn pictures()(width in 1_u32..150, height in 1_u32..5, wide in any::<bool>(), has_alpha in any::<bool>())(
        all in proptest::collection::vec(any::<u16>(), (width * height) as usize * (3 + usize::from(has_alpha))),
        width in Just(width), height in Just(height), wide in Just(wide), has_alpha in Just(has_alpha),
    ) -> Picture {
        let depth = if wide { Depth::Sixteen } else { Depth::Eight };
        let samples = if wide {
            Samples::Sixteen(all)
        } else {
            Samples::Eight(all.iter().map(|v| (v >> 8) as u8).collect())
        };
        Picture::new(Header { has_alpha, ..Header::rgb(width, height, depth) }, samples).unwrap()
    }
}

/// What single precision moves of [`bent`]: a position of up to 8 cells is rounded five times (code, unit, scale, offset,
/// cell), each by up to 2⁻²⁴ of itself, and a drive moves by at most 1 − (7/8)² a cell along one axis and less than a fifth
/// of that along a second; a weight, a node, a product, three sums and the code round numbers of up to 1.2.
const SINGLE: f64 = (5.0 * 8.0 * 1.2 * (15.0 / 64.0) + 7.0 * 1.2) / 16_777_216.0;

proptest! {
    #[test]
    fn samples_are_the_nearest_codes_of_the_drive(
        picture in pictures(),
        to_sixteen in any::<bool>(),
        is_dithered in any::<bool>(),
    ) {
        let (lut, depth) = (bent(), if to_sixteen { Depth::Sixteen } else { Depth::Eight });
        let options = ApplyOptions {
            depth: Some(depth),
            dither: if is_dithered { Dither::BlueNoise } else { Dither::None },
            ..PLAIN
        };
        let (bytes, report) = applied(&lut, &picture, options);
        let after = read(bytes);
        prop_assert_eq!(after.header(), &Header { depth, ..picture.header().clone() });
        let largest = if to_sixteen { 65_535.0 } else { 255.0 };
        // Dither reaches the two codes around the drive.
        let reach = if is_dithered { 1.0 } else { 0.5 } + largest * SINGLE;
        let channels = picture.header().channels();
        let mut moved = 0.0_f64;
        for at in (0..picture.samples().len()).step_by(channels) {
            let signal = [0, 1, 2].map(|c| picture.samples().signal(at + c));
            let drive = lut.sample(signal, Evaluation::Tetrahedral);
            for c in 0..3 {
                let code = after.samples().signal(at + c) * largest;
                prop_assert!((code - drive[c].clamp(0.0, 1.0) * largest).abs() <= reach);
                moved = moved.max((code - (signal[c] * largest).round()).abs());
            }
            if channels == 4 {
                let alpha = picture.samples().signal(at + 3) * largest;
                prop_assert!((after.samples().signal(at + 3) * largest - alpha).abs() <= 0.5 + 1e-9);
            }
        }
        prop_assert_eq!(f64::from(report.largest_change), moved.round());
    }
}

/// A picture of several bands, so that their edges and every thread count are met.
fn large() -> Picture {
    let (width, height) = (1500, 1200);
    let all = (0..width * height * 3_u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 16) as u16);
    Picture::new(
        Header::rgb(width, height, Depth::Sixteen),
        Samples::Sixteen(all.collect()),
    )
    .unwrap()
}

#[test]
fn bytes_do_not_depend_on_the_number_of_threads() {
    let (lut, picture) = (bent(), large());
    let options = ApplyOptions {
        dither: Dither::BlueNoise,
        depth: Some(Depth::Eight),
        format: Format::Tiff,
        ..PLAIN
    };
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| applied(&lut, &picture, options))
    };
    let one = on(1);
    assert!(one == on(3));
    let (Samples::Sixteen(before), Samples::Eight(after)) =
        (picture.samples(), read(one.0).into_parts().1)
    else {
        panic!("16 bits in, 8 out")
    };
    let pixels = before
        .as_chunks::<3>()
        .0
        .iter()
        .zip(after.as_chunks::<3>().0);
    // 257 codes of 16 bits to one of 8.
    let kept = |v: u16| ((u32::from(v) + 128) / 257) as u8;
    let changed = pixels.filter(|(before, after)| before.map(kept) != **after);
    assert_eq!(one.1.pixels_changed, changed.count() as u64);
}

/// Over a whole array of thresholds the mean of the codes is the drive, which no rounding gives.
#[test]
fn dither_keeps_the_mean_of_a_flat_field() {
    let lut = Lut::from(Lut3d::from_fn(2, |v| v.map(|v| 0.8 * v)));
    let picture = Picture::new(
        Header::rgb(64, 64, Depth::Eight),
        Samples::Eight([101, 33, 250].repeat(64 * 64)),
    )
    .unwrap();
    let dithered = ApplyOptions {
        dither: Dither::BlueNoise,
        ..PLAIN
    };
    let after = read(applied(&lut, &picture, dithered).0);
    let mean = |c: usize| {
        (0..64 * 64)
            .map(|i| after.samples().signal(3 * i + c) * 255.0)
            .sum::<f64>()
            / 4096.0
    };
    // One threshold in 4096.
    let resolution = 1.0 / 4096.0;
    for (c, drive) in [80.8, 26.4, 200.0].into_iter().enumerate() {
        assert!(
            (mean(c) - drive).abs() <= resolution,
            "{c}: {} for {drive}",
            mean(c)
        );
    }
    assert_eq!(mean(2), 200.0, "a drive on a code is left alone");
}

/// At 16 bits the mean is the drive as well as single precision knows it.
#[test]
fn dither_keeps_the_mean_at_16_bits() {
    /// Of one cell: a position of up to 1 is rounded five times, and a weight, a node, a product, three sums and the code
    /// once each, all by up to 2⁻²⁴ of 1; a rest of up to 2⁻²² is left out.
    const SINGLE: f64 = (5.0 + 7.0 + 4.0) / 16_777_216.0;
    let lut = Lut::from(Lut3d::from_fn(2, |v| v.map(|v| 0.8 * v)));
    let dithered = ApplyOptions {
        dither: Dither::BlueNoise,
        ..PLAIN
    };
    // 0.8 of these are 48 999.2, 51 200.8 and 51 200 codes: where numbers are 2⁻⁸ apart, off a code and on one.
    let codes = [61_249, 64_001, 64_000];
    let header = Header::rgb(64, 64, Depth::Sixteen);
    let picture = Picture::new(header, Samples::Sixteen(codes.repeat(64 * 64))).unwrap();
    let after = read(applied(&lut, &picture, dithered).0);
    let Samples::Sixteen(after) = after.samples() else {
        panic!("16 bits")
    };
    for (c, code) in codes.into_iter().enumerate() {
        let drive = 0.8 * f64::from(code);
        let field = after.iter().skip(c).step_by(3).copied().map(f64::from);
        assert!(
            field
                .clone()
                .all(|v| (v - drive).abs() < 1.0 + 65_535.0 * SINGLE)
        );
        let mean = field.sum::<f64>() / 4096.0;
        assert!(
            (mean - drive).abs() <= 1.0 / 4096.0 + 65_535.0 * SINGLE,
            "{mean} for {drive}"
        );
    }
    assert!(after.iter().skip(2).step_by(3).all(|&v| v == 51_200));
}

#[test]
fn an_identity_changes_nothing_and_tags_stay() {
    let tags = ColourTags {
        icc_profile: Some(vec![7; 100]),
        ..ColourTags::default()
    };
    let header = Header {
        tags,
        ..Header::rgb(2, 1, Depth::Eight)
    };
    let picture = Picture::new(header, Samples::Eight(vec![0, 128, 255, 1, 2, 3])).unwrap();
    let (bytes, report) = applied(&Lut::from(Lut3d::identity(33)), &picture, PLAIN);
    assert_eq!(read(bytes), picture);
    assert_eq!((report.pixels_changed, report.largest_change), (0, 0));
    assert!(report.tags_lost.is_empty());
}
