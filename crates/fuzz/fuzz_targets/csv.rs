//! The reader of CSV never panics, and what it reads survives being written and read again.
#![no_main]

use std::path::Path;

use evenstep_readings::{FullScale, RgbScale, parse, parse_patches, write_csv_to};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let path = Path::new("fuzz.csv");
    let _ = parse_patches(bytes, path, RgbScale::Detect);
    let read = parse(bytes, path, RgbScale::Detect)
        .or_else(|_| parse(bytes, path, RgbScale::Given(FullScale::Bits8)));
    let Ok((readings, _)) = read else {
        return;
    };
    let mut text = Vec::new();
    write_csv_to(&readings, &mut text).expect("memory takes all");
    let (back, _) = parse(&text, path, RgbScale::Detect).expect("what was written is read");
    // An empty id, which CGATS text can hold, reads as the row number.
    if readings.patches.iter().all(|p| !p.id.is_empty()) {
        assert_eq!(back, readings);
    }
});
