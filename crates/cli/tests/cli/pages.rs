//! Pages of the verbs that write one; `tests/browser` looks at them.

use crate::support::Fixture;

/// Names of figures that every page of a known panel has.
const ON_PANEL: [&str; 4] = ["steps", "tint", "histogram", "chromaticity"];

fn has_figures(f: &Fixture, name: &str, more: &[&str]) {
    let page = f.read(name);
    for id in ON_PANEL.iter().chain(more) {
        assert!(page.contains(&format!("id=\"{id}\"")), "{name}: {id}");
    }
    assert!(page.matches("<polyline").count() > 10, "{name}");
}

#[test]
fn fit_audit_and_compare_write_a_page() {
    let f = Fixture::with_readings();
    let readings = "run.csv";
    f.done(&[
        "fit", readings, "-o", "a.cube", "--nodes", "5", "--html", "fit.html",
    ]);
    has_figures(&f, "fit.html", &["misses", "confidence"]);
    f.done(&[
        "audit",
        "a.cube",
        "--panel",
        readings,
        "--html",
        "audit.html",
    ]);
    has_figures(&f, "audit.html", &[]);
    f.done(&[
        "compare",
        "a.cube",
        "a.cube",
        "--panel",
        readings,
        "--html",
        "compare.html",
    ]);
    has_figures(&f, "compare.html", &["balance-2"]);
}

#[test]
fn a_page_goes_to_a_file() {
    let f = Fixture::with_readings();
    let run = f.run(&["audit", "a.cube", "--html", "-"]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("name one"), "{}", run.err);
}
