//! The cube files of the open LUT corpus, against its manifest. They are read in place where `EVENSTEP_DATA` says
//! they are, and are no part of this repository.

use evenstep_lut::format::cube;
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
