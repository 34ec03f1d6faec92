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

/// A fixture with `wall.csv`: readings of 200 patches of a simulated panel, for a real display.
fn with_display() -> Fixture {
    let f = Fixture::new();
    // Ramps, then the fractional parts of multiples of three irrational numbers.
    let mut drives = crate::support::ramps(20);
    let step = [0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901];
    drives.extend((1..120).map(|i| step.map(|s: f64| (s * f64::from(i)).fract())));
    assert_eq!(drives.len(), 200);
    let list: String = drives
        .iter()
        .map(|[r, g, b]| format!("{r},{g},{b}\n"))
        .collect();
    f.write("list.csv", &format!("r,g,b\n{list}"));
    f.done(&[
        "simulate", "--panel", "lcd", "--at", "list.csv", "-o", "wall.csv",
    ]);
    f
}

#[test]
fn readings_of_a_display_take_the_place_of_a_panel() {
    let f = with_display();
    let study = |out: &str, more: &[&str]| {
        let tiny = [
            "study",
            "run",
            "-o",
            out,
            "--schemes",
            "base-only;true-inverse;rbf-linear",
            "--readings",
            "wall.csv",
            "--counts",
            "50,150",
            "--seeds",
            "1,2",
        ];
        f.run(&[&tiny[..], more].concat())
    };
    let run = study("whole", &["--threads", "1"]);
    assert_eq!(run.code, 0, "{run:?}");
    let rows = f.read("whole/cases.csv");
    let starting = |start: &str| {
        let of: Vec<&str> = rows.lines().filter(|r| r.starts_with(start)).collect();
        of
    };
    // One noise only, though the plan has two.
    assert_eq!(rows.lines().count(), 1 + 12, "{rows}");
    assert_eq!(starting("read:wall,rbf-linear,50,1,1,fitted").len(), 1);
    // Half of 200 patches is less than 150.
    assert_eq!(starting("read:wall,rbf-linear,150,1,2,refused").len(), 1);
    let figures = |seed: u64| {
        let row = starting(&format!("read:wall,rbf-linear,50,1,{seed},fitted"))[0];
        row.rsplit_once("fitted").unwrap().1
    };
    assert_ne!(figures(1), figures(2));
    let error = |scheme: &str| -> f64 {
        let row = starting(&format!("read:wall,{scheme},50,1,1,"))[0];
        row.split(',').nth(8).unwrap().parse().unwrap()
    };
    let (base, scheme, judge) = (
        error("base-only"),
        error("rbf-linear"),
        error("true-inverse"),
    );
    assert!(judge < scheme && scheme < base, "{judge} {scheme} {base}");
    assert!(
        f.read("whole/summary.md")
            .contains("the judge is a model of")
    );

    assert_eq!(study("one", &["--shard", "1/2", "--threads", "2"]).code, 0);
    assert_eq!(study("two", &["--shard", "2/2"]).code, 0);
    let journal = f.read("one/journal.jsonl");
    f.write("one/journal.jsonl", &journal[..journal.len() - 200]);
    assert_eq!(study("one", &["--shard", "1/2", "--resume"]).code, 0);

    // Other bytes under the same name are another plan; without the file what is done is still joined.
    let readings = f.read("wall.csv");
    f.write("wall.csv", &(readings + "\n"));
    let other = study("one", &["--shard", "1/2", "--resume"]);
    assert!(other.error().contains("another plan"), "{other:?}");
    std::fs::remove_file(f.path("wall.csv")).unwrap();
    f.done(&["study", "merge", "-o", "merged", "two", "one"]);
    assert_same(&f, "whole", "merged");
    f.done(&["study", "plot", "merged"]);
    assert_same(&f, "whole", "merged");
    let gone = study("gone", &[]);
    assert!(gone.error().contains("wall.csv: cannot read"), "{gone:?}");
}

#[test]
fn readings_that_cannot_judge_are_refused_before_any_work() {
    let f = with_display();
    let readings = f.read("wall.csv");
    let first: Vec<&str> = readings.lines().take(60).collect();
    f.write("few.csv", &first.join("\n"));
    std::fs::create_dir(f.path("other")).unwrap();
    f.write("other/wall.csv", &readings);
    for (given, more, says) in [
        (
            "few.csv",
            "",
            "few.csv: cannot judge schemes: 59 distinct patches",
        ),
        (
            "wall.csv,other/wall.csv",
            "",
            "two files of readings are called \"wall\"",
        ),
        ("wall.csv", "--noise=4", "add 1 to the noises"),
    ] {
        let options = ["study", "run", "-o", "out", "--readings", given, more];
        let given: Vec<&str> = options.into_iter().filter(|o| !o.is_empty()).collect();
        let run = f.run(&given);
        assert!(run.error().contains(says), "{run:?}");
    }
    assert!(!f.exists("out"));
}
