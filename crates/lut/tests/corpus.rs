//! The cube files of the open LUT corpus, against its manifest. They are read in place where `EVENSTEP_DATA` says
//! they are, and are no part of this repository.

use std::collections::BTreeSet;
use std::path::Path;

use evenstep_lut::format::{clf, cube};
use evenstep_testkit::data_in_place;

#[test]
fn in_place_corpus_files_are_read_or_refused_as_listed() {
    let Some(data) = data_in_place("cube files of the LUT corpus are read or refused as listed")
    else {
        return;
    };
    let folder = data.join("luts");
    let manifest = folder.join("MANIFEST.csv");
    let mut reader = csv::Reader::from_path(&manifest)
        .unwrap_or_else(|e| panic!("EVENSTEP_DATA is set, but {}: {e}", manifest.display()));
    let column = |headers: &csv::StringRecord, name: &str| {
        headers
            .iter()
            .position(|h| h == name)
            .unwrap_or_else(|| panic!("no column {name}"))
    };
    let headers = reader.headers().unwrap().clone();
    let (file, kind, expected) = (
        column(&headers, "file"),
        column(&headers, "kind"),
        column(&headers, "expected"),
    );
    let (mut accepted, mut refused) = (0, 0);
    for record in reader.records() {
        let record = record.unwrap();
        let name = &record[file];
        if !name.ends_with(".cube") {
            continue;
        }
        let path = folder.join(name);
        let outcome = cube::read(&path);
        match (&record[expected], &outcome) {
            ("accept", Ok((lut, _))) => {
                // The manifest names what is inside: "cube 1D 6 3D 3".
                let mut inside = "cube".to_owned();
                if let Some(curves) = &lut.curves {
                    inside += &format!(" 1D {}", curves.size());
                }
                if let Some(lattice) = &lut.lattice {
                    inside += &format!(" 3D {}", lattice.size());
                }
                assert_eq!(inside, &record[kind], "{name}");
                accepted += 1;
            }
            // A file that cannot be opened is not a file refused for its text.
            (listed, Err(e))
                if listed.contains("reject") && !matches!(e, cube::CubeError::Io { .. }) =>
            {
                refused += 1;
            }
            (listed, _) => panic!("{name}: listed as {listed:?}, but the outcome is {outcome:?}"),
        }
    }
    assert!(
        accepted > 0 && refused > 0,
        "the manifest lists no cube files"
    );
}

/// The CLF files of the same corpus. What the manifest leaves open is decided in
/// `docs/decisions/2026-11-25-clf-edition.md`.
#[test]
fn in_place_corpus_clf_files_are_read_or_refused_as_listed() {
    let Some(data) = data_in_place("CLF files of the LUT corpus are read or refused as listed")
    else {
        return;
    };
    let folder = data.join("luts");
    let mut reader = csv::Reader::from_path(folder.join("MANIFEST.csv")).unwrap();
    let (mut accepted, mut refused, mut wrong) = (0, 0, Vec::new());
    for record in reader.records() {
        let record = record.unwrap();
        let (name, kind, listed) = (&record[0], &record[3], &record[4]);
        if !kind.starts_with("CLF") {
            continue;
        }
        let bytes = std::fs::read(folder.join(name)).unwrap();
        // Version 2 leaves the choice: its input map is read, its namespace of that time is not.
        let must_read = listed.starts_with("accept") && name != "clf-suite/indexMap-test-clfv2.clf";
        match clf::parse(&bytes, Path::new(name)) {
            Ok((list, _)) if must_read => {
                accepted += 1;
                // "CLF LUT1D+Matrix": each kind of node once, in alphabetical order.
                let kinds: BTreeSet<&str> = list.nodes.iter().map(|n| n.operation.name()).collect();
                let kinds: Vec<&str> = kinds.into_iter().collect();
                let inside = format!("CLF {}", kinds.join("+"));
                // Elements with a prefix are not listed.
                if inside != kind && kind != "CLF " {
                    wrong.push(format!("{name}: holds {inside}, listed as {kind}"));
                }
                let mut text = Vec::new();
                clf::write_list_to(&list, None, &mut text).unwrap();
                let (back, _) = clf::parse(&text, Path::new(name)).unwrap();
                let mut again = Vec::new();
                clf::write_list_to(&back, None, &mut again).unwrap();
                if again != text {
                    wrong.push(format!("{name}: written and read, it is another"));
                }
            }
            Ok(_) => wrong.push(format!("{name}: was read, listed as {listed}")),
            Err(e) if must_read => wrong.push(format!("{name}: {e}")),
            Err(_) => refused += 1,
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert_eq!((accepted, refused), (30, 31));
}
