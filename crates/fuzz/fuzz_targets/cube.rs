//! The cube reader never panics, and what it reads survives being written and read again.
#![no_main]

use std::path::Path;

use evenstep_lut::format::cube;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let path = Path::new("fuzz.cube");
    let Ok((lut, _)) = cube::parse(bytes, path) else {
        return;
    };
    let mut text = Vec::new();
    cube::write_to(&lut, &mut text).expect("what was read fits the format");
    let (back, _) = cube::parse(&text, path).expect("what was written is read");
    // A title without quotes may hold characters that are replaced when it is written in quotes.
    assert_eq!((back.curves, back.lattice), (lut.curves, lut.lattice));
});
