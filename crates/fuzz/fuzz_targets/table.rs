//! The reader of integer tables never panics, and what it reads is written and read again without a change.
#![no_main]

use std::path::Path;

use evenstep_lut::format::table;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let path = Path::new("fuzz.table");
    let Ok((lut, layout)) = table::parse(bytes, path) else {
        return;
    };
    let mut text = Vec::new();
    table::write_to(&lut, layout, &mut text).expect("what was read fits the layout");
    let (back, again) = table::parse(&text, path).expect("what was written is read");
    assert_eq!((back.curves, back.lattice, again), (lut.curves, lut.lattice, layout));
});
