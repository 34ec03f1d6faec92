//! Whatever LUT file is read becomes a file of every format, and that file is read.
#![no_main]

use std::path::Path;

use evenstep_convert::{ConvertOptions, FileFormat, convert, parse};
use evenstep_picture::Format;
use libfuzzer_sys::fuzz_target;

/// Nodes of a sampled lattice, for speed.
const NODES: usize = 4;

fuzz_target!(|bytes: &[u8]| {
    let path = Path::new("fuzz.lut");
    let Ok(loaded) = parse(bytes, path) else {
        return;
    };
    for format in [FileFormat::Cube, FileFormat::Clf, FileFormat::Picture, FileFormat::Table] {
        let options = ConvertOptions {
            nodes: Some(NODES),
            ..ConvertOptions::to(format)
        };
        // Curves alone have no nodes.
        let converted = convert(&loaded.content, &options)
            .or_else(|_| convert(&loaded.content, &ConvertOptions::to(format)));
        let converted = converted.expect("every LUT can be converted");
        let mut file = Vec::new();
        converted.write_to(Format::Png, &mut file).expect("memory takes all");
        let back = parse(&file, path).expect("what was written is read");
        assert_eq!(back.format, format);
    }
});
