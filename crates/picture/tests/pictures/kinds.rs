//! Kinds of files that this crate reads and does not write, made by the libraries below it.

use std::io::Cursor;

use evenstep_picture::{Depth, Format, PictureError, Samples};
use png::{BitDepth, ColorType};
use tiff::encoder::{TiffEncoder, colortype};
use tiff::tags::{ExtraSamples, Tag};

use crate::picture_of;

fn png_of(
    size: (u32, u32),
    kind: ColorType,
    bits: BitDepth,
    set: impl FnOnce(&mut png::Info<'_>),
    data: &[u8],
) -> Vec<u8> {
    let mut info = png::Info::with_size(size.0, size.1);
    info.color_type = kind;
    info.bit_depth = bits;
    set(&mut info);
    let mut file = Vec::new();
    let encoder = png::Encoder::with_info(&mut file, info).unwrap();
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(data).unwrap();
    writer.finish().unwrap();
    file
}

#[test]
fn greys_become_three_equal_samples() {
    let file = png_of(
        (2, 1),
        ColorType::GrayscaleAlpha,
        BitDepth::Sixteen,
        |_| {},
        &[1, 2, 3, 4, 5, 6, 7, 8],
    );
    let picture = picture_of(&file).unwrap();
    assert!(picture.header().has_alpha);
    let [a, alpha, b, beta] = [0x102, 0x304, 0x506, 0x708];
    assert_eq!(
        *picture.samples(),
        Samples::Sixteen(vec![a, a, a, alpha, b, b, b, beta])
    );

    // Two bits: 0, 1, 2, 3 are 0, 85, 170, 255.
    let file = png_of(
        (4, 1),
        ColorType::Grayscale,
        BitDepth::Two,
        |_| {},
        &[0b0001_1011],
    );
    let picture = picture_of(&file).unwrap();
    assert_eq!(
        *picture.samples(),
        Samples::Eight([0, 85, 170, 255].iter().flat_map(|v| [*v; 3]).collect())
    );

    let mut file = Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut file).unwrap();
    encoder
        .write_image::<colortype::Gray16>(1, 2, &[7, 65_535])
        .unwrap();
    let picture = picture_of(file.get_ref()).unwrap();
    assert_eq!(
        *picture.samples(),
        Samples::Sixteen(vec![7, 7, 7, 65_535, 65_535, 65_535])
    );
}

#[test]
fn a_palette_becomes_its_colours() {
    let palette = |info: &mut png::Info<'_>| {
        info.palette = Some(vec![1, 2, 3, 4, 5, 6].into());
        info.trns = Some(vec![9].into());
    };
    let file = png_of(
        (2, 1),
        ColorType::Indexed,
        BitDepth::Eight,
        palette,
        &[1, 0],
    );
    let picture = picture_of(&file).unwrap();
    assert_eq!(
        *picture.samples(),
        Samples::Eight(vec![4, 5, 6, 255, 1, 2, 3, 9])
    );
}

/// Three by two pixels in the seven passes of the PNG standard, third edition, 8.1: passes 1, 4, 5, 6 and 7 hold pixels.
#[test]
fn an_interlaced_picture_is_put_in_order() {
    // Row 0: pass 1 holds x = 0, pass 4 x = 2, pass 6 x = 1; row 1: pass 7 holds all.
    let scan = [0, 10, 0, 12, 0, 11, 0, 20, 21, 22];
    let mut file = Vec::new();
    let mut info = png::Info::with_size(3, 2);
    info.interlaced = true;
    let mut writer = png::Encoder::with_info(&mut file, info)
        .unwrap()
        .write_header()
        .unwrap();
    let mut packed = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::fast());
    std::io::Write::write_all(&mut packed, &scan).unwrap();
    writer
        .write_chunk(png::chunk::IDAT, &packed.finish().unwrap())
        .unwrap();
    // The encoder believes that no picture was written; the end is a chunk like others.
    writer.write_chunk(png::chunk::IEND, &[]).unwrap();
    drop(writer);
    let picture = picture_of(&file).unwrap();
    let expected = [10, 11, 12, 20, 21, 22];
    assert_eq!(
        *picture.samples(),
        Samples::Eight(expected.iter().flat_map(|v| [*v; 3]).collect())
    );
}

#[test]
fn tiles_are_joined() {
    // 20 × 18 pixels in tiles of 16 × 16, those at the right and at the bottom filled up with 255.
    let (width, height) = (20_u16, 18_u16);
    let pixel = |x: u16, y: u16| x * 12 + y;
    let mut file = Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut file).unwrap();
    let mut directory = encoder.image_directory().unwrap();
    let mut offsets = Vec::new();
    for (left, top) in [(0, 0), (16, 0), (0, 16), (16, 16)] {
        let tile: Vec<u8> = (0..16)
            .flat_map(|y| (0..16).map(move |x| (left + x, top + y)))
            .map(|(x, y)| {
                if x < width && y < height {
                    pixel(x, y) as u8
                } else {
                    255
                }
            })
            .collect();
        offsets.push(directory.write_data(&tile[..]).unwrap() as u32);
    }
    let numbers = [
        (Tag::ImageWidth, width),
        (Tag::ImageLength, height),
        (Tag::BitsPerSample, 8),
        (Tag::Compression, 1),
        (Tag::PhotometricInterpretation, 1),
        (Tag::SamplesPerPixel, 1),
        (Tag::TileWidth, 16),
        (Tag::TileLength, 16),
    ];
    for (tag, number) in numbers {
        directory.write_tag(tag, number).unwrap();
    }
    directory.write_tag(Tag::TileOffsets, &offsets[..]).unwrap();
    directory
        .write_tag(Tag::TileByteCounts, &[256_u32; 4][..])
        .unwrap();
    directory.finish().unwrap();
    let picture = picture_of(file.get_ref()).unwrap();
    let expected = (0..height)
        .flat_map(|y| (0..width).flat_map(move |x| [pixel(x, y) as u8; 3]))
        .collect();
    assert_eq!(*picture.samples(), Samples::Eight(expected));
}

/// A TIFF of one RGB pixel with further tags.
fn tiff_with(extra: Option<ExtraSamples>, tag: Option<(Tag, u16)>) -> Vec<u8> {
    let mut file = Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut file).unwrap();
    let mut image = encoder.new_image::<colortype::RGB8>(1, 1).unwrap();
    if let Some(extra) = &extra {
        image.extra_samples(std::slice::from_ref(extra)).unwrap();
    }
    if let Some((tag, number)) = tag {
        image.encoder().write_tag(tag, number).unwrap();
    }
    let pixel = [1, 2, 3, 4];
    image
        .write_strip(&pixel[..3 + usize::from(extra.is_some())])
        .unwrap();
    image.finish().unwrap();
    file.into_inner()
}

#[test]
fn what_is_not_read_is_refused_with_the_reason() {
    assert_eq!(
        picture_of(&tiff_with(None, None)).unwrap().header().depth,
        Depth::Eight
    );
    assert!(
        picture_of(&tiff_with(Some(ExtraSamples::UnassociatedAlpha), None))
            .unwrap()
            .header()
            .has_alpha
    );
    let refused = [
        (
            tiff_with(Some(ExtraSamples::AssociatedAlpha), None),
            "multiplied by alpha",
        ),
        (
            tiff_with(Some(ExtraSamples::Unspecified), None),
            "4 channels",
        ),
        (
            tiff_with(None, Some((Tag::PhotometricInterpretation, 3))),
            "palette",
        ),
        (
            tiff_with(None, Some((Tag::PhotometricInterpretation, 1))),
            "grey with alpha",
        ),
        (
            tiff_with(None, Some((Tag::PhotometricInterpretation, 4))),
            "mask",
        ),
        (
            tiff_with(None, Some((Tag::Orientation, 6))),
            "save it upright",
        ),
        (
            tiff_with(None, Some((Tag::PhotometricInterpretation, 6))),
            "YCbCr",
        ),
    ];
    for (file, reason) in refused {
        let error = picture_of(&file).unwrap_err();
        assert!(matches!(error, PictureError::Unsupported { .. }), "{error}");
        assert!(error.to_string().contains(reason), "{error}");
    }
    let mut file = Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut file).unwrap();
    encoder
        .write_image::<colortype::RGB32Float>(1, 1, &[0.5; 3])
        .unwrap();
    assert!(matches!(
        picture_of(file.get_ref()),
        Err(PictureError::Unsupported { .. })
    ));
    assert!(matches!(
        picture_of(b"GIF89a...."),
        Err(PictureError::NotAPicture { .. })
    ));
}

#[test]
fn tags_about_colours_that_a_tiff_has_and_we_do_not_keep_are_named() {
    for (tag, name) in [
        (301, "TransferFunction"),
        (318, "WhitePoint"),
        (319, "PrimaryChromaticities"),
    ] {
        let picture = picture_of(&tiff_with(None, Some((Tag::Unknown(tag), 1)))).unwrap();
        assert_eq!(picture.header().tags.lost_in(Format::Tiff), [name]);
    }
    let upright = picture_of(&tiff_with(None, Some((Tag::Orientation, 1)))).unwrap();
    assert!(upright.header().tags.left_behind.is_empty());
}

#[test]
fn a_profile_that_cannot_be_unpacked_is_named() {
    let file_with = |profile: &[u8]| {
        let mut file = Vec::new();
        let mut encoder = png::Encoder::new(&mut file, 1, 1);
        encoder.set_color(ColorType::Rgb);
        let mut writer = encoder.write_header().unwrap();
        // A note before it, whose text names the chunk.
        writer
            .write_chunk(png::chunk::tEXt, b"note\0IDAT iCCP")
            .unwrap();
        writer.write_chunk(png::chunk::iCCP, profile).unwrap();
        writer.write_image_data(&[1, 2, 3]).unwrap();
        writer.finish().unwrap();
        file
    };
    for damaged in [&b""[..], b"name", b"name\0\0no zlib stream", b"name\0\x01x"] {
        let tags = picture_of(&file_with(damaged))
            .unwrap()
            .header()
            .tags
            .clone();
        assert_eq!((tags.icc_profile, tags.left_behind), (None, vec!["iCCP"]));
    }
    let mut whole = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::fast());
    std::io::Write::write_all(&mut whole, b"profile").unwrap();
    let chunk = [&b"name\0\0"[..], &whole.finish().unwrap()].concat();
    let tags = picture_of(&file_with(&chunk))
        .unwrap()
        .header()
        .tags
        .clone();
    assert_eq!(tags.icc_profile.as_deref(), Some(&b"profile"[..]));
    assert!(tags.left_behind.is_empty());
}

#[test]
fn an_animation_is_refused() {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, 1, 1);
    encoder.set_animated(2, 0).unwrap();
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(&[1]).unwrap();
    writer.write_image_data(&[2]).unwrap();
    writer.finish().unwrap();
    assert!(
        picture_of(&file)
            .unwrap_err()
            .to_string()
            .contains("animation")
    );
}
