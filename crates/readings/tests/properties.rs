//! Theorems of reading and writing.

use std::path::Path;

use evenstep_colour::Xyz;
use evenstep_readings::{
    CgatsHeader, FullScale, PatchRequest, Reading, Readings, RgbScale, merged, parse,
    parse_patches, read, read_patches, write_cgats, write_csv, write_patches_csv,
};
use proptest::prelude::*;

/// Drives that repeat often enough to be joined.
fn any_drive() -> impl Strategy<Value = [f64; 3]> {
    let channel = || prop_oneof![Just(0.0), Just(1.0), Just(178.0 / 255.0), 0.0..=1.0];
    [channel(), channel(), channel()]
}

fn any_sequence() -> impl Strategy<Value = Vec<Reading>> {
    let light = || prop_oneof![Just(0.0), -0.05..0.05, 0.0..2000.0];
    let reading = (
        any_drive(),
        [light(), light(), light()],
        "[ -!#-~é;]{0,3}[a-z0-9,#]",
    );
    let reading = reading.prop_map(|(drive, xyz, id)| Reading {
        id,
        drive,
        xyz: Xyz(xyz),
        seconds: None,
    });
    prop::collection::vec(reading, 1..40)
}

fn well_formed() -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/samples");
    [
        "good_two_sections.txt",
        "good_comments_quotes.txt",
        "good_readings_repeats.csv",
        "variant_bom.txt",
    ]
    .map(|name| std::fs::read(folder.join(name)).unwrap())
    .to_vec()
}

/// Both readers, any outcome but a panic; an error must print as one line.
fn try_all(bytes: &[u8]) {
    let path = Path::new("any");
    for scale in [RgbScale::Detect, RgbScale::Given(FullScale::Bits8)] {
        if let Err(e) = parse(bytes, path, scale) {
            assert_eq!(e.to_string().lines().count(), 1, "{e}");
        }
        let _ = parse_patches(bytes, path, scale);
    }
}

#[test]
fn a_cut_file_never_panics() {
    for bytes in well_formed() {
        for end in 0..bytes.len() {
            try_all(&bytes[..end]);
        }
    }
}

/// The sums of a mean are rounded in another order.
const ROUNDOFF: f64 = 1e-12;

proptest! {
    /// Write, then read: the same patches, digit for digit, in both formats and without any option.
    #[test]
    fn writing_then_reading_is_the_identity(sequence in any_sequence()) {
        let readings = merged(sequence);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("readings");
        write_csv(&readings, &path, false).unwrap();
        prop_assert_eq!(&read(&path, RgbScale::Detect).unwrap().0, &readings);
        let header = CgatsHeader { descriptor: "it's a # test".to_owned(), ..CgatsHeader::default() };
        write_cgats(&readings, &header, &path, true).unwrap();
        prop_assert_eq!(&read(&path, RgbScale::Detect).unwrap().0, &readings);
    }

    /// The same holds for patch lists, where drives may come again.
    #[test]
    fn patch_lists_come_back(sequence in any_sequence()) {
        let list: Vec<PatchRequest> = sequence
            .into_iter()
            .map(|r| PatchRequest { id: r.id, drive: r.drive })
            .collect();
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("patches.csv");
        write_patches_csv(&list, &path, false).unwrap();
        prop_assert_eq!(read_patches(&path, RgbScale::Detect).unwrap().0, list);
    }

    /// Arbitrary bytes are read or refused.
    #[test]
    fn arbitrary_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        try_all(&bytes);
    }

    /// So are well-formed files with bytes changed: these get further into the readers.
    #[test]
    fn damaged_files_never_panic(which in 0_usize..4, at in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6)) {
        let mut bytes = well_formed().swap_remove(which);
        for (index, byte) in at {
            let length = bytes.len();
            bytes[index.index(length)] = byte;
        }
        try_all(&bytes);
    }

    /// One file written on four scales has the same drives.
    #[test]
    fn the_scale_of_the_drive_does_not_matter(codes in prop::collection::vec([0_u16..=1023, 0_u16..=1023, 0_u16..=1023], 1..20)) {
        let text = |full: f64| {
            let row = |c: &[u16; 3]| {
                let [r, g, b] = c.map(|v| f64::from(v) / 1023.0 * full);
                format!("{r},{g},{b}\n")
            };
            let rows: String = codes.iter().map(row).collect();
            format!("r,g,b\n{rows}")
        };
        let drives = |scale: FullScale| {
            let text = text(scale.value());
            let scale = RgbScale::Given(scale);
            parse_patches(text.as_bytes(), Path::new("x"), scale).unwrap().0
        };
        let one = drives(FullScale::One);
        for scale in FullScale::ALL {
            for (a, b) in drives(scale).iter().zip(&one) {
                for c in 0..3 {
                    prop_assert!((a.drive[c] - b.drive[c]).abs() < ROUNDOFF);
                }
            }
        }
    }

    /// The mean of a patch does not depend on the order of the rows.
    #[test]
    fn means_do_not_depend_on_row_order(sequence in any_sequence(), seed in any::<prop::sample::Index>()) {
        let mut turned = sequence.clone();
        turned.rotate_left(seed.index(sequence.len()));
        turned.reverse();
        let find = |all: &Readings, drive| {
            let patch = all.patches.iter().find(|p| p.drive == drive);
            patch.map(|p| (p.repeats.len(), p.xyz()))
        };
        let (a, b) = (merged(sequence), merged(turned));
        prop_assert_eq!(a.distinct(), b.distinct());
        for patch in &a.patches {
            let (count, mean) = find(&b, patch.drive).unwrap();
            prop_assert_eq!(count, patch.repeats.len());
            for (m, p) in mean.0.iter().zip(patch.xyz().0) {
                // A mean of values up to 2000 is rounded at that size.
                prop_assert!((m - p).abs() < 2000.0 * ROUNDOFF);
            }
        }
    }
}
