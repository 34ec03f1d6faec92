//! Studies: one folder or several, whole or killed on the way.

use crate::support::Fixture;

/// Two cases of the cheapest kind, with one option more each.
fn study<'a>(f: &Fixture, out: &'a str, more: &[&'a str]) -> crate::support::Run {
    let tiny = [
        "study",
        "run",
        "-o",
        out,
        "--schemes",
        "base-only;rbf-linear",
        "--panels",
        "twist",
        "--counts",
        "50",
        "--noise",
        "1",
        "--seeds",
        "1",
    ];
    f.run(&[&tiny[..], more].concat())
}

/// Files that are the same however a study was run.
const SAME: [&str; 7] = [
    "cases.csv",
    "cases.parquet",
    "summary.md",
    "error.svg",
    "near-black-error.svg",
    "unevenness.svg",
    "roughness.svg",
];

fn assert_same(f: &Fixture, one: &str, other: &str) {
    for name in SAME {
        let read = |folder: &str| std::fs::read(f.path(&format!("{folder}/{name}"))).unwrap();
        assert!(
            read(one) == read(other),
            "{one}/{name} and {other}/{name} differ"
        );
    }
}

#[test]
fn a_killed_study_goes_on_to_the_same_bytes() {
    let f = Fixture::new();
    let run = study(&f, "whole", &["--threads", "1"]);
    assert_eq!(run.code, 0, "{run:?}");
    assert!(run.out.starts_with("2 cases; cases.csv, "), "{}", run.out);
    insta::assert_snapshot!(f.read("whole/cases.csv").lines().next().unwrap());

    // The journal as a kill leaves it: the second case torn in the middle.
    std::fs::create_dir(f.path("torn")).unwrap();
    let journal = f.read("whole/journal.jsonl");
    f.write("torn/journal.jsonl", &journal[..journal.len() - 200]);
    let refused = study(&f, "torn", &[]);
    assert!(refused.error().contains("--resume"), "{refused:?}");
    let run = study(&f, "torn", &["--resume"]);
    assert_eq!(run.code, 0, "{run:?}");
    assert!(
        run.err.contains("1 of 2 cases were done already"),
        "{}",
        run.err
    );
    assert_same(&f, "whole", "torn");

    let other = f.run(&["study", "run", "-o", "torn", "--resume", "--counts", "50"]);
    assert!(other.error().contains("another plan"), "{other:?}");
}

#[test]
fn shards_merge_to_the_bytes_of_one_run() {
    let f = Fixture::new();
    assert_eq!(study(&f, "whole", &["--json", "study.json"]).code, 0);
    assert!(
        f.read("study.json")
            .contains("\"schema\": \"evenstep/study/1\"")
    );
    let part = study(&f, "one", &["--shard", "1/2"]);
    assert!(part.out.contains("part 1/2 with 1 of 2 cases"), "{part:?}");
    let alone = f.run(&["study", "merge", "-o", "merged", "one"]);
    assert!(
        alone.error().contains("1 of 2 cases are missing"),
        "{alone:?}"
    );
    assert!(
        alone.error().contains("twist/rbf-linear/50/1/1"),
        "{alone:?}"
    );
    assert_eq!(study(&f, "two", &["--shard", "2/2"]).code, 0);
    f.done(&["study", "merge", "-o", "merged", "two", "one"]);
    assert_same(&f, "whole", "merged");
    let twice = f.run(&["study", "merge", "-o", "again", "one", "two", "one"]);
    assert!(
        twice
            .error()
            .contains("twist/base-only/50/1/1 is done twice"),
        "{twice:?}"
    );
    f.write("merged/summary.md", "stale");
    f.done(&["study", "plot", "merged"]);
    assert_same(&f, "whole", "merged");
}

#[test]
fn what_no_case_can_be_made_of_is_said_before_any_work() {
    let f = Fixture::new();
    for (option, value, says) in [
        ("--panels", "tube", "no panel is called \"tube\""),
        ("--counts", "7", "7 patches"),
        ("--noise", "-1", "noise -1"),
    ] {
        let given = format!("{option}={value}");
        let run = f.run(&["study", "run", "-o", "out", &given]);
        assert!(run.error().contains(says), "{run:?}");
    }
    assert!(!f.exists("out"));
    for wrong in [
        ["--schemes", "spline"],
        ["--shard", "3/2"],
        ["--plan", "big"],
    ] {
        let run = f.run(&[&["study", "run", "-o", "out"][..], &wrong].concat());
        assert_eq!(run.code, 2, "{run:?}");
        assert!(run.err.contains(wrong[1]), "{run:?}");
    }
}
