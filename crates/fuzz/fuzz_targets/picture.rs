//! The reader of picture lattices never panics, and what it reads is written and read again without a change.
#![no_main]

use std::path::Path;

use evenstep_convert::{ConvertOptions, FileFormat, convert, parse};
use evenstep_lut::BitDepth;
use evenstep_picture::Format;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let path = Path::new("fuzz.png");
    if FileFormat::of_start(bytes) != Some(FileFormat::Picture) {
        return;
    }
    let Ok(loaded) = parse(bytes, path) else {
        return;
    };
    let options = ConvertOptions {
        bits: loaded.bits.and_then(BitDepth::new),
        ..ConvertOptions::to(FileFormat::Picture)
    };
    let converted = convert(&loaded.content, &options).expect("a picture fits a picture");
    assert!(converted.losses.is_empty());
    let mut file = Vec::new();
    converted.write_to(Format::Png, &mut file).expect("memory takes all");
    assert_eq!(parse(&file, path).expect("what was written is read").content, loaded.content);
});
