use evenstep_picture::{
    Depth, Format, Header, MOST_BYTES, MOST_PIXELS, MOST_PROFILE_BYTES, Picture, PictureError,
    Samples,
};
use proptest::prelude::*;
use tiff::encoder::TiffEncoder;
use tiff::tags::Tag;

use crate::{bytes_of, picture_of};

fn sample(depth: Depth) -> Picture {
    let (width, height) = (13, 11);
    let all = (0..width * height * 3).map(|i| (i * 7919 % 65_536) as u16);
    let samples = match depth {
        Depth::Eight => Samples::Eight(all.map(|v| (v >> 8) as u8).collect()),
        Depth::Sixteen => Samples::Sixteen(all.collect()),
    };
    Picture::new(Header::rgb(width, height, depth), samples).unwrap()
}

#[test]
fn a_file_cut_short_anywhere_is_refused() {
    for depth in [Depth::Eight, Depth::Sixteen] {
        for format in [Format::Png, Format::Tiff] {
            let file = bytes_of(&sample(depth), format);
            for length in 0..file.len() {
                let cut = picture_of(&file[..length]);
                // The last bytes of our TIFF say that no further picture follows; they are read with the first.
                assert!(
                    cut.is_err(),
                    "{format} of {} bytes was read after {length}",
                    file.len()
                );
            }
        }
    }
}

proptest! {
    /// Neither a panic nor a picture of another size than its header says.
    #[test]
    fn a_changed_file_is_read_or_refused(
        is_tiff in any::<bool>(),
        wide in any::<bool>(),
        changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let depth = if wide { Depth::Sixteen } else { Depth::Eight };
        let mut file = bytes_of(&sample(depth), if is_tiff { Format::Tiff } else { Format::Png });
        for (place, value) in changes {
            let place = place.index(file.len());
            file[place] = value;
        }
        if let Ok(picture) = picture_of(&file) {
            let header = picture.header();
            prop_assert_eq!(picture.samples().len(), header.row_samples() * header.height as usize);
        }
    }
}

/// Every tag of the directory set to every kind of silly number.
#[test]
fn a_directory_of_lies_is_read_or_refused() {
    let file = bytes_of(&sample(Depth::Eight), Format::Tiff);
    let at = u32::from_le_bytes(file[4..8].try_into().unwrap()) as usize;
    let count = usize::from(u16::from_le_bytes(file[at..at + 2].try_into().unwrap()));
    assert!(count > 10);
    let (mut read, mut refused) = (0, 0);
    for entry in 0..count {
        for field in [2, 4, 8] {
            for lie in [0_u32, 1, 2, 255, 65_535, 1 << 31, u32::MAX] {
                let mut file = file.clone();
                let start = at + 2 + 12 * entry + field;
                let width = if field == 2 { 2 } else { 4 };
                file[start..start + width].copy_from_slice(&lie.to_le_bytes()[..width]);
                match picture_of(&file) {
                    Ok(picture) => {
                        let header = picture.header();
                        let need = header.row_samples() * header.height as usize;
                        assert_eq!(picture.samples().len(), need);
                        read += 1;
                    }
                    Err(_) => refused += 1,
                }
            }
        }
    }
    // Some lies say what was there.
    assert!(read > 0 && refused > 0, "{read} read, {refused} refused");
}

/// What the limits promise: a row or a profile of more than the decoder would take by itself.
#[test]
fn a_long_row_is_read_and_a_profile_is_kept_up_to_its_limit() {
    let picture = |width: u32, profile: usize| {
        let mut header = Header::rgb(width, 1, Depth::Eight);
        header.tags.icc_profile = (profile > 0).then(|| vec![7; profile]);
        Picture::new(header, Samples::Eight(vec![9; 3 * width as usize])).unwrap()
    };
    let long = picture(MOST_PROFILE_BYTES as u32 / 3 + 100_000, 0);
    assert!(picture_of(&bytes_of(&long, Format::Png)).unwrap() == long);
    let full = picture(1, MOST_PROFILE_BYTES);
    assert!(picture_of(&bytes_of(&full, Format::Png)).unwrap() == full);
    let over = picture_of(&bytes_of(&picture(1, MOST_PROFILE_BYTES + 1), Format::Png)).unwrap();
    assert!(over.header().tags.icc_profile.is_none());
    assert_eq!(over.header().tags.left_behind, ["iCCP"]);
}

fn png_header(width: u32, height: u32, interlaced: bool) -> Vec<u8> {
    let mut file = Vec::new();
    let mut info = png::Info::with_size(width, height);
    info.color_type = png::ColorType::Rgba;
    info.bit_depth = png::BitDepth::Sixteen;
    info.interlaced = interlaced;
    let mut writer = png::Encoder::with_info(&mut file, info)
        .unwrap()
        .write_header()
        .unwrap();
    writer.write_chunk(png::chunk::IDAT, &[]).unwrap();
    drop(writer);
    file
}

#[test]
fn a_huge_size_is_refused_before_memory_is_taken() {
    let huge = picture_of(&png_header(1 << 30, 1 << 30, false)).unwrap_err();
    assert!(matches!(huge, PictureError::TooLarge { .. }), "{huge}");
    // Just too many rows for the limit.
    let rows = (MOST_PIXELS / 1024 + 1) as u32;
    let huge = picture_of(&png_header(1024, rows, false)).unwrap_err();
    assert!(matches!(huge, PictureError::TooLarge { .. }), "{huge}");
    let row = picture_of(&png_header(1 << 26, 2, false)).unwrap_err();
    assert!(
        matches!(row, PictureError::TooMuchMemory { piece: "a row", bytes, .. } if bytes > MOST_BYTES),
        "{row}"
    );
    let whole = picture_of(&png_header(8192, 8192, true)).unwrap_err();
    assert!(
        matches!(whole, PictureError::TooMuchMemory { .. }),
        "{whole}"
    );
}

#[test]
fn a_strip_too_large_to_hold_is_refused() {
    let mut file = std::io::Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut file).unwrap();
    let mut directory = encoder.image_directory().unwrap();
    for (tag, number) in [
        (Tag::ImageWidth, 16_384_u16),
        (Tag::ImageLength, 16_384),
        (Tag::BitsPerSample, 16),
        (Tag::Compression, 1),
        (Tag::PhotometricInterpretation, 2),
        (Tag::SamplesPerPixel, 3),
        (Tag::RowsPerStrip, 16_384),
        (Tag::StripOffsets, 8),
        (Tag::StripByteCounts, 8),
    ] {
        directory.write_tag(tag, number).unwrap();
    }
    directory.finish().unwrap();
    let error = picture_of(file.get_ref()).unwrap_err();
    assert!(
        matches!(
            error,
            PictureError::TooMuchMemory {
                piece: "a strip",
                ..
            }
        ),
        "{error}"
    );
}
