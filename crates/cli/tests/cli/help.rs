//! Help texts are golden files; `UPDATE_GOLDEN=1 cargo test -p evenstep-cli --test cli` writes them anew.

use std::path::Path;

use crate::support::Fixture;

fn check(name: &str, arguments: &[&str]) {
    let help = Fixture::new().done(arguments).out;
    assert!(help.contains("\nExample"), "{name} has no example");
    let golden =
        Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/cli/golden/help-{name}.txt"));
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::write(&golden, &help).unwrap();
    }
    let expected = std::fs::read_to_string(&golden).unwrap_or_default();
    assert_eq!(help, expected, "{name}: the help changed");
}

#[test]
fn the_command_lists_its_verbs() {
    check("evenstep", &["--help"]);
}

#[test]
fn every_verb_explains_itself() {
    for verb in [
        "fit", "predict", "simulate", "audit", "compare", "repair", "convert", "apply", "ramps",
        "study", "tour",
    ] {
        check(verb, &[verb, "--help"]);
    }
    for verb in ["run", "merge", "plot"] {
        check(&format!("study-{verb}"), &["study", verb, "--help"]);
    }
}
