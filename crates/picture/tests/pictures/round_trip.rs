use std::io::Cursor;
use std::path::Path;

use evenstep_picture::{ColourTags, Depth, Format, Header, Picture, Reader, Samples};
use proptest::prelude::*;

use crate::{bytes_of, picture_of};

prop_compose! {
    fn pictures()(width in 1_u32..40, height in 1_u32..40, wide in any::<bool>(), has_alpha in any::<bool>())(
        all in proptest::collection::vec(any::<u16>(), (width * height) as usize * (3 + usize::from(has_alpha))),
        width in Just(width), height in Just(height), wide in Just(wide), has_alpha in Just(has_alpha),
    ) -> Picture {
        let depth = if wide { Depth::Sixteen } else { Depth::Eight };
        let samples = if wide {
            Samples::Sixteen(all)
        } else {
            Samples::Eight(all.iter().map(|v| (v >> 8) as u8).collect())
        };
        let header = Header { has_alpha, ..Header::rgb(width, height, depth) };
        Picture::new(header, samples).unwrap()
    }
}

proptest! {
    #[test]
    fn what_is_written_is_read(picture in pictures()) {
        for format in [Format::Png, Format::Tiff] {
            prop_assert_eq!(&picture_of(&bytes_of(&picture, format)).unwrap(), &picture);
        }
    }

    /// The bands in which rows are asked for change nothing.
    #[test]
    fn bands_join_to_the_picture(picture in pictures(), most in 1_u32..9) {
        for format in [Format::Png, Format::Tiff] {
            let file = bytes_of(&picture, format);
            let mut reader = Reader::new(Cursor::new(&file), Path::new("bands")).unwrap();
            let mut band = Samples::empty(Depth::Eight);
            let mut seen = Vec::new();
            while reader.read_rows(most, &mut band).unwrap() > 0 {
                seen.extend((0..band.len()).map(|i| band.signal(i)));
            }
            let whole: Vec<f64> = (0..picture.samples().len()).map(|i| picture.samples().signal(i)).collect();
            prop_assert_eq!(reader.rows_read(), picture.header().height);
            prop_assert_eq!(seen, whole);
        }
    }
}

#[test]
fn tags_about_colours_travel() {
    let full = ColourTags {
        icc_profile: Some((0..=255).cycle().take(3000).collect()),
        code_points: Some([9, 16, 0, 1]),
        srgb_intent: None,
        gamma: Some(41_667),
        chromaticities: Some([
            31_270, 32_900, 64_000, 33_000, 30_000, 60_000, 15_000, 6_000,
        ]),
        left_behind: Vec::new(),
    };
    let picture = |tags: &ColourTags| {
        let header = Header {
            tags: tags.clone(),
            ..Header::rgb(1, 1, Depth::Eight)
        };
        Picture::new(header, Samples::Eight(vec![1, 2, 3])).unwrap()
    };
    let png = picture_of(&bytes_of(&picture(&full), Format::Png)).unwrap();
    assert_eq!(png.header().tags, full);
    assert!(full.lost_in(Format::Png).is_empty());
    let tiff = picture_of(&bytes_of(&picture(&full), Format::Tiff)).unwrap();
    assert_eq!(tiff.header().tags.icc_profile, full.icc_profile);
    assert_eq!(full.lost_in(Format::Tiff), ["cICP", "gAMA", "cHRM"]);

    let srgb = ColourTags {
        srgb_intent: Some(1),
        gamma: Some(45_455),
        ..ColourTags::default()
    };
    let png = picture_of(&bytes_of(&picture(&srgb), Format::Png)).unwrap();
    assert_eq!(png.header().tags, srgb);

    // The third edition of PNG (W3C 2025) lets a profile go before sRGB.
    let both = ColourTags {
        srgb_intent: Some(1),
        ..full.clone()
    };
    let png = picture_of(&bytes_of(&picture(&both), Format::Png)).unwrap();
    assert_eq!(png.header().tags, full);
    assert_eq!(both.lost_in(Format::Png), ["sRGB"]);
}

#[test]
fn samples_must_belong_to_the_header() {
    let header = Header::rgb(2, 2, Depth::Eight);
    for samples in [Samples::Eight(vec![0; 11]), Samples::Sixteen(vec![0; 12])] {
        assert!(Picture::new(header.clone(), samples).is_err());
    }
    assert!(Picture::new(Header::rgb(0, 2, Depth::Eight), Samples::Eight(Vec::new())).is_err());
    let endless = Header::rgb(u32::MAX, u32::MAX, Depth::Eight);
    let error = Picture::new(endless, Samples::Eight(Vec::new())).unwrap_err();
    let samples = 3 * u128::from(u32::MAX).pow(2);
    assert!(
        error.to_string().contains(&format!(" {samples} samples")),
        "{error}"
    );
}
