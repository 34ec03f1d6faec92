//! The reader of CGATS text never panics, and what it reads survives being written and read again.
#![no_main]

use std::path::Path;

use evenstep_readings::{
    CgatsHeader, FullScale, NoiseModel, RgbScale, check, parse, write_cgats_to,
};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let path = Path::new("fuzz.txt");
    let read = parse(bytes, path, RgbScale::Detect)
        .or_else(|_| parse(bytes, path, RgbScale::Given(FullScale::Bits10)));
    let Ok((readings, _)) = read else {
        return;
    };
    let _ = check(
        &readings,
        &NoiseModel::from_repeats(&readings).unwrap_or(NoiseModel::assumed()),
    );
    let mut text = Vec::new();
    // An id from CSV may hold what CGATS text cannot.
    if write_cgats_to(&readings, &CgatsHeader::default(), &mut text).is_ok() {
        let (back, _) = parse(&text, path, RgbScale::Detect).expect("what was written is read");
        assert_eq!(back, readings);
    }
});
