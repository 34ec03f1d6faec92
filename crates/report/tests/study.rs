//! Journals, merges and tables of studies, on rows made up for the purpose: no case is run here.

use std::fs;
use std::path::{Path, PathBuf};

use evenstep_report::{
    Entry, Journal, JournalError, PLOT_FILES, StudyHeader, case_table, cost_table, csv, merged,
    parquet, plots, sha256, study_json, study_summary,
};
use evenstep_study::{Case, Cost, Figures, Grid, JudgeRecord, Plan, ReadingsId, Row, Status};
use parquet::file::reader::{FileReader as _, SerializedFileReader};
use parquet::record::Field;

fn plan() -> Plan {
    let grid = Grid {
        schemes: [
            "base-only",
            "true-inverse",
            "nearest",
            "rbf-local:cubic,neighbours=9",
        ]
        .map(|s| s.parse().unwrap())
        .to_vec(),
        panels: vec!["wrgb".to_owned(), "lcd".to_owned()],
        patches: vec![50, 101],
        noise: vec![1.0],
        seeds: vec![1, 2],
        readings: Vec::new(),
    };
    Plan { grids: vec![grid] }
}

/// A row whose figures tell the case; the last case is refused.
fn entry(place: usize, case: &Case) -> Entry {
    let value = 1.0 / (3.0 + place as f64);
    let fitted = place != 31;
    let figure = |v: f64| fitted.then_some(v);
    let row = Row {
        panel: case.panel.clone(),
        scheme: case.scheme.to_string(),
        patches: case.patches,
        noise: case.noise,
        seed: case.seed,
        status: if fitted {
            Status::Fitted
        } else {
            Status::Refused
        },
        reason: (!fitted).then(|| "sites 1 and 2 coincide, \"exactly\" – no ΔE".to_owned()),
        smoothing: figure(1e-3),
        figures: Figures {
            all_de2000_mean: figure(value),
            ramps_roughness_de2000: figure(0.01 / value),
            ramps_unevenness: figure(0.1),
            ramps_reversal_depth_itp: figure(0.0),
            ..Figures::default()
        },
    };
    Entry {
        case: case.key(),
        row,
        cost: Cost {
            fit_seconds: value,
            peak_bytes: 1_000 + place as u64,
            ..Cost::default()
        },
    }
}

fn entries() -> Vec<Entry> {
    let cases = plan().cases().unwrap();
    assert_eq!(cases.len(), 32);
    cases.iter().enumerate().map(|(i, c)| entry(i, c)).collect()
}

/// A folder with a journal of some of the entries.
fn folder(root: &Path, name: &str, some: impl Iterator<Item = Entry>) -> PathBuf {
    let folder = root.join(name);
    fs::create_dir(&folder).unwrap();
    let (mut journal, known) = Journal::open(&folder, &StudyHeader::of(&plan()), false).unwrap();
    assert!(known.is_empty());
    for entry in some {
        journal.add(&entry).unwrap();
    }
    folder
}

/// A kill in the middle of a line loses that case alone, wherever it strikes; going on gives the same journal.
#[test]
fn a_torn_journal_loses_no_whole_line() {
    let root = tempfile::tempdir().unwrap();
    let whole = folder(root.path(), "whole", entries().into_iter());
    let bytes = fs::read(whole.join(Journal::NAME)).unwrap();
    let header = StudyHeader::of(&plan());
    let ends: Vec<usize> = (0..bytes.len()).filter(|i| bytes[*i] == b'\n').collect();
    let letter = bytes
        .windows(2)
        .position(|two| two == "Δ".as_bytes())
        .unwrap();
    // Nothing but a torn header, just after a line end, just before one, in the middle of a line, of a letter.
    for (n, cut) in [
        5,
        ends[0] + 1,
        ends[3],
        ends[7] + 40,
        letter + 1,
        bytes.len(),
    ]
    .into_iter()
    .enumerate()
    {
        let torn = root.path().join(n.to_string());
        fs::create_dir(&torn).unwrap();
        fs::write(torn.join(Journal::NAME), &bytes[..cut]).unwrap();
        let (mut journal, known) = Journal::open(&torn, &header, true).unwrap();
        let kept = ends
            .iter()
            .filter(|end| **end < cut)
            .count()
            .saturating_sub(1);
        assert_eq!(known, entries()[..kept], "cut at {cut}");
        for entry in &entries()[kept..] {
            journal.add(entry).unwrap();
        }
        assert_eq!(
            fs::read(torn.join(Journal::NAME)).unwrap(),
            bytes,
            "cut at {cut}"
        );
    }
}

#[test]
fn a_journal_is_gone_on_with_only_when_asked_and_only_by_its_own_plan() {
    let root = tempfile::tempdir().unwrap();
    let one = folder(root.path(), "one", entries().into_iter().take(3));
    let again = Journal::open(&one, &StudyHeader::of(&plan()), false);
    assert!(matches!(again, Err(JournalError::Exists { .. })));
    let mut other = plan();
    other.grids[0].seeds.push(3);
    let other = Journal::open(&one, &StudyHeader::of(&other), true);
    assert!(
        matches!(other, Err(JournalError::OtherPlan { .. })),
        "{other:?}"
    );
    fs::write(one.join(Journal::NAME), "{\"schema\":\"something\"}\n").unwrap();
    let strange = Journal::open(&one, &StudyHeader::of(&plan()), true);
    assert!(matches!(strange, Err(JournalError::NoHeader { .. })));
}

#[test]
fn a_line_that_was_changed_is_named() {
    let root = tempfile::tempdir().unwrap();
    let one = folder(root.path(), "one", entries().into_iter());
    let path = one.join(Journal::NAME);
    let text = fs::read_to_string(&path).unwrap();
    let mut lines: Vec<&str> = text.lines().collect();
    lines[4] = "{\"case\":";
    fs::write(&path, lines.join("\n") + "\n").unwrap();
    let error = Journal::read(&one).unwrap_err().to_string();
    assert!(
        error.contains("journal.jsonl:5: not a finished case"),
        "{error}"
    );
}

/// Every output of shards, in any order, is that of one run: tables, summary, plots, JSON.
#[test]
fn merged_shards_give_the_bytes_of_one_run() {
    let root = tempfile::tempdir().unwrap();
    let whole = folder(root.path(), "whole", entries().into_iter());
    let shard = |i: usize| {
        // Cases end in any order.
        let own = entries().into_iter().skip(i).step_by(3).collect::<Vec<_>>();
        folder(root.path(), &i.to_string(), own.into_iter().rev())
    };
    let shards: Vec<PathBuf> = [2, 0, 1].map(shard).to_vec();
    let outputs = |folders: &[PathBuf]| {
        let (header, entries) = merged(folders).unwrap().unwrap();
        let mut all = vec![
            study_summary(&header, &entries),
            study_json(&header, &entries),
        ];
        all.extend(plots(&entries).unwrap().into_iter().map(|p| p.1));
        let tables = [case_table(&entries), cost_table(&entries)];
        let bytes = tables.map(|t| (csv(&t, entries.len()), parquet(&t).unwrap()));
        (all, bytes)
    };
    assert_eq!(outputs(&[whole]), outputs(&shards));
}

#[test]
fn missing_doubled_and_foreign_cases_are_named() {
    let root = tempfile::tempdir().unwrap();
    let start = folder(root.path(), "start", entries().into_iter().take(20));
    let end = folder(root.path(), "end", entries().into_iter().skip(19));
    let said = |folders: &[PathBuf]| merged(folders).unwrap_err().to_string();
    let missing = said(std::slice::from_ref(&start));
    let first = &entries()[20].case;
    assert!(
        missing.contains("12 of 32") && missing.contains(first),
        "{missing}"
    );
    let doubled = said(&[start, end]);
    assert!(doubled.contains(&entries()[19].case), "{doubled}");
    assert!(
        doubled.contains("start") && doubled.contains("end"),
        "{doubled}"
    );
    let mut foreign = entries();
    foreign[0].case = "wrgb/nearest/7/1/1".to_owned();
    let foreign = folder(root.path(), "foreign", foreign.into_iter());
    assert!(said(&[foreign]).contains("wrgb/nearest/7/1/1 is not a case"));
}

/// What CSV and Parquet hold is what the rows say: Parquet as its own reader reads it.
#[test]
fn tables_hold_the_rows() {
    let entries = entries();
    let table = case_table(&entries);
    let text = String::from_utf8(csv(&table, entries.len())).unwrap();
    let mut lines = text.lines();
    let header = lines.next().unwrap();
    assert!(
        header.starts_with(
            "panel,scheme,patches,noise,seed,status,reason,smoothing,all_de2000_mean,"
        )
    );
    assert_eq!(header.split(',').count(), 8 + Figures::NAMES.len());
    assert!(
        lines
            .next()
            .unwrap()
            .starts_with("wrgb,base-only,50,1,1,fitted,,0.001,0.3333333333333333,")
    );
    assert!(text.contains("\"sites 1 and 2 coincide, \"\"exactly\"\" – no ΔE\""));
    assert!(text.contains("\"rbf-local:cubic,neighbours=9\""));

    let mut file = tempfile::tempfile().unwrap();
    std::io::Write::write_all(&mut file, &parquet(&table).unwrap()).unwrap();
    let reader = SerializedFileReader::new(file).unwrap();
    let mut rows = 0;
    for (row, entry) in reader.get_row_iter(None).unwrap().zip(&entries) {
        rows += 1;
        let row = row.unwrap();
        let cells: Vec<(&String, &Field)> = row.get_column_iter().collect();
        assert_eq!(cells.len(), table.len());
        for ((name, field), column) in cells.iter().zip(&table) {
            assert_eq!(*name, column.name);
            let expected = match column.name {
                "panel" => Field::Str(entry.row.panel.clone()),
                "patches" => Field::Long(entry.row.patches as i64),
                "all_de2000_mean" => entry
                    .row
                    .figures
                    .all_de2000_mean
                    .map_or(Field::Null, Field::Double),
                "reason" => entry.row.reason.clone().map_or(Field::Null, Field::Str),
                _ => continue,
            };
            assert_eq!(**field, expected, "{name}");
        }
    }
    assert_eq!(rows, entries.len());
}

/// Roughness is 0.01/value and error is value: the least error is the roughest, and the summary says where they part.
#[test]
fn the_summary_says_who_leads_and_what_was_refused() {
    let header = StudyHeader::of(&plan());
    let summary = study_summary(&header, &entries());
    assert!(
        summary.contains("32 cases: 31 fitted, 1 refused, 0 broken"),
        "{summary}"
    );
    assert!(
        summary.contains("| 50 | 1 | rbf-local:cubic,neighbours=9 |"),
        "{summary}"
    );
    assert!(summary.contains("times as rough as nearest"), "{summary}");
    // One of its two seeds was refused on the second panel, so that there nearest stands alone.
    assert!(summary.contains("| 101 | 1 | nearest |"), "{summary}");
    assert!(summary.contains("sites 1 and 2 coincide"), "{summary}");
    let mut reversing = entries();
    for entry in reversing.iter_mut().filter(|e| e.row.scheme == "nearest") {
        entry.row.figures.ramps_reversal_depth_itp = Some(1.5);
    }
    let summary = study_summary(&header, &reversing);
    assert!(!summary.contains("as rough as nearest"), "{summary}");
}

#[test]
fn plots_have_a_line_for_every_scheme() {
    let plots = plots(&entries()).unwrap();
    let names: Vec<&str> = plots.iter().map(|p| p.0).collect();
    assert_eq!(names, PLOT_FILES);
    let (_, error) = &plots[0];
    for text in [
        "wrgb, noise 1",
        "lcd, noise 1",
        "base-only",
        "nearest",
        "patches",
    ] {
        assert!(error.contains(text), "{text}");
    }
    // Its colour error is rounding alone: no scale holds it.
    assert!(!error.contains("true-inverse"));
}

/// A plan without readings is written as before there were any, so that its journals go on; with other bytes under the
/// same name it is another plan.
#[test]
fn other_readings_are_another_plan() {
    let root = tempfile::tempdir().unwrap();
    let with = |bytes: &[u8]| {
        let mut plan = plan();
        plan.grids[0].readings.push(ReadingsId {
            stem: "wall".to_owned(),
            sha256: sha256(bytes),
            rgb_scale: None,
        });
        StudyHeader::of(&plan)
    };
    let without = StudyHeader::of(&plan());
    let judge = JudgeRecord {
        panel: "read:wall".to_owned(),
        patches: 104,
        training: 104,
        scheme: "kriging".to_owned(),
        leave_one_out_de2000_mean: Some(0.512),
        leave_one_out_itp_mean: None,
    };
    let header = with(b"one").with_judges(vec![judge]);
    assert_ne!(header.hash, without.hash);
    drop(Journal::open(root.path(), &header, false).unwrap());
    let text = fs::read_to_string(root.path().join(Journal::NAME)).unwrap();
    assert!(text.contains(&sha256(b"one")));
    assert_eq!(Journal::read(root.path()).unwrap().0, header);
    let other = Journal::open(root.path(), &with(b"two"), true);
    assert!(matches!(other, Err(JournalError::OtherPlan { .. })));
    assert!(Journal::open(root.path(), &with(b"one"), true).is_ok());

    let plain = root.path().join("plain");
    fs::create_dir(&plain).unwrap();
    drop(Journal::open(&plain, &without, false).unwrap());
    let text = fs::read_to_string(plain.join(Journal::NAME)).unwrap();
    assert!(
        !text.contains("readings") && !text.contains("judges"),
        "{text}"
    );
}

/// FIPS 180-4's example message of one block (NIST, "SHA-256 example", "abc"; digest from memory).
#[test]
fn bytes_have_the_published_digest() {
    assert_eq!(
        sha256(b"abc"),
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    );
}

/// The summary says how far a judge that is a model can be trusted.
#[test]
fn the_summary_names_the_error_of_a_judge() {
    let judge = JudgeRecord {
        panel: "lcd".to_owned(),
        patches: 77,
        training: 78,
        scheme: "rbf-cubic".to_owned(),
        leave_one_out_de2000_mean: Some(0.512),
        leave_one_out_itp_mean: Some(1.25),
    };
    let header = StudyHeader::of(&plan()).with_judges(vec![judge]);
    let summary = study_summary(&header, &entries());
    let (wrgb, lcd) = summary.split_once("## lcd").unwrap();
    assert!(
        lcd.contains("77 patches (rbf-cubic)") && lcd.contains("0.512 CIEDE2000"),
        "{lcd}"
    );
    assert!(!wrgb.contains("rbf-cubic"), "{wrgb}");
}
