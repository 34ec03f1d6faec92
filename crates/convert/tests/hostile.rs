//! No file makes a reader panic: good files cut at every length, and the committed corpora of the fuzz targets.

use std::path::{Path, PathBuf};

use evenstep_convert::{Content, ConvertOptions, FileFormat, convert, parse};
use evenstep_lut::{BitDepth, Lut, Lut1d, Lut3d};
use evenstep_picture::Format;

fn seeds() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../fuzz/seeds")
}

/// Files of a folder and the folders in it, in the order of their names.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut all: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .flat_map(|path| {
            if path.is_dir() {
                files(&path)
            } else {
                vec![path]
            }
        })
        .filter(|path| path.file_name().is_some_and(|n| n != ".gitattributes"))
        .collect();
    all.sort();
    all
}

#[test]
fn every_seed_is_read_or_refused_and_what_is_read_can_be_converted() {
    let mut read = 0;
    for path in files(&seeds()) {
        let bytes = std::fs::read(&path).unwrap();
        let Ok(loaded) = parse(&bytes, &path) else {
            continue;
        };
        read += 1;
        for format in [
            FileFormat::Cube,
            FileFormat::Clf,
            FileFormat::Picture,
            FileFormat::Table,
        ] {
            let options = ConvertOptions {
                nodes: Some(4),
                ..ConvertOptions::to(format)
            };
            let one = convert(&loaded.content, &options)
                .or_else(|_| convert(&loaded.content, &ConvertOptions::to(format)))
                .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
            let mut file = Vec::new();
            one.write_to(Format::Png, &mut file).unwrap();
            assert_eq!(parse(&file, &path).unwrap().format, format);
        }
    }
    assert!(read > 20, "only {read} seeds are LUTs");
}

/// Bytes at the end of a file without which it still says all.
fn may_miss(format: FileFormat, whole: &[u8]) -> usize {
    match format {
        // The line end behind the root element.
        FileFormat::Clf => 1,
        // The closing chunk: length, name and sum of nothing; and the sum of the chunk before (ISO/IEC 15948:2004, 5.3).
        FileFormat::Picture => 12 + 4,
        FileFormat::Table => 0,
        // All but the first digit of the last number, and the line end: the format leaves the end of the last line
        // open, so that the reader can only warn.
        FileFormat::Cube => whole.len() - whole.iter().rposition(|b| *b == b' ').unwrap() - 2,
    }
}

#[test]
fn a_file_cut_anywhere_never_panics_and_never_passes_for_whole() {
    let lut = Lut {
        title: Some("cut – me".into()),
        curves: Some(Lut1d::from_fn(5, |v| [v * 0.1, v, v * v])),
        lattice: Some(Lut3d::from_fn(4, |[r, g, b]| [r * 0.9, g * g, b])),
    };
    let plain = Lut {
        curves: None,
        title: None,
        ..lut.clone()
    };
    for (format, lut) in [
        (FileFormat::Cube, &plain),
        (FileFormat::Clf, &lut),
        (FileFormat::Table, &lut),
        (FileFormat::Picture, &plain),
    ] {
        let options = ConvertOptions {
            bits: BitDepth::new(16),
            ..ConvertOptions::to(format)
        };
        let mut whole = Vec::new();
        let one = convert(&Content::Lut(lut.clone()), &options).unwrap();
        one.write_to(Format::Png, &mut whole).unwrap();
        let complete = parse(&whole, Path::new("whole")).unwrap();
        for length in 0..whole.len() {
            match parse(&whole[..length], Path::new("cut")) {
                Ok(cut) => {
                    let missing = whole.len() - length;
                    assert!(
                        missing <= may_miss(format, &whole),
                        "{format}: without {missing}"
                    );
                    if format == FileFormat::Cube {
                        let warned = cut
                            .notes
                            .iter()
                            .any(|n| n.contains("last number may be too"));
                        assert!(warned, "without {missing}: {:?}", cut.notes);
                    } else {
                        assert_eq!(cut.content, complete.content, "{format}: without {missing}");
                    }
                }
                Err(e) => assert_eq!(e.to_string().lines().count(), 1, "{e}"),
            }
        }
    }
}

#[test]
fn a_file_too_large_is_refused_unread() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("huge.clf");
    let file = std::fs::File::create(&path).unwrap();
    std::io::Write::write_all(&mut &file, b"<ProcessList>").unwrap();
    // Sparse: it takes no room on the disk.
    file.set_len(evenstep_lut::format::clf::LARGEST_FILE + 1)
        .unwrap();
    let refused = evenstep_convert::read(&path).unwrap_err().to_string();
    assert!(
        refused.contains("larger than 1073741824 bytes"),
        "{refused}"
    );
}
