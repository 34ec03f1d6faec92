//! Dependencies point down only; crates of one layer never see each other.

use cargo_metadata::{DependencyKind, Metadata, MetadataCommand};

use crate::root;

/// The layer of every crate. DEVELOPERS.md prints the same table.
const LAYERS: &[(&str, u32)] = &[
    ("evenstep-files", 0),
    ("evenstep-colour", 0),
    ("evenstep-scatter", 0),
    ("evenstep-solve", 0),
    ("evenstep-lut", 1),
    ("evenstep-picture", 1),
    ("evenstep-readings", 1),
    ("evenstep-convert", 2),
    ("evenstep-apply", 2),
    ("evenstep-display", 2),
    ("evenstep-fit", 3),
    ("evenstep-audit", 3),
    ("evenstep-compare", 4),
    ("evenstep-repair", 4),
    ("evenstep-study", 4),
    ("evenstep-report", 5),
    ("evenstep", 6),
    ("evenstep-cli", 7),
    ("xtask", 8),
    ("evenstep-tests", 8),
];

/// Any crate may use it in its tests, and it may use none.
const TESTKIT: &str = "evenstep-testkit";

fn layer_of(name: &str) -> Option<u32> {
    LAYERS
        .iter()
        .find(|(n, _)| *n == name)
        .map(|(_, layer)| *layer)
}

/// What is wrong with `from` depending on `to`, both of this workspace.
fn fault(from: &str, to: &str, kind: DependencyKind) -> Option<String> {
    if to == TESTKIT {
        return (kind != DependencyKind::Development)
            .then(|| format!("{from} must not depend on {to} outside its tests"));
    }
    if from == TESTKIT {
        return Some(format!(
            "{from} must not depend on {to}: it may use no crate of the workspace"
        ));
    }
    let (Some(upper), Some(lower)) = (layer_of(from), layer_of(to)) else {
        return Some(format!(
            "{from} or {to} has no layer; add it to tests/layering/layers.rs"
        ));
    };
    // Tests count too: a dev-dependency upwards is a test that belongs in the crate above.
    (upper <= lower)
        .then(|| format!("{from} (layer {upper}) must not depend on {to} (layer {lower})"))
}

fn workspace() -> Metadata {
    MetadataCommand::new()
        .manifest_path(root().join("Cargo.toml"))
        .no_deps()
        .exec()
        .expect("cargo describes its own workspace")
}

#[test]
fn dependencies_point_down_only() {
    let workspace = workspace();
    let own: Vec<&str> = workspace.packages.iter().map(|p| p.name.as_str()).collect();
    let mut faults = Vec::new();
    let mut edges = 0;
    for package in &workspace.packages {
        let name = package.name.as_str();
        if name != TESTKIT && layer_of(name).is_none() {
            faults.push(format!(
                "{name} has no layer; add it to tests/layering/layers.rs"
            ));
        }
        for dependency in package
            .dependencies
            .iter()
            .filter(|d| own.contains(&d.name.as_str()))
        {
            edges += 1;
            faults.extend(fault(name, &dependency.name, dependency.kind));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    // A workspace read wrongly has no edges and no faults either.
    assert!(edges >= LAYERS.len(), "only {edges} dependencies were seen");
}

/// The rule itself, on edges that do not exist.
#[test]
fn an_upward_edge_is_named_with_both_layers() {
    let normal = DependencyKind::Normal;
    assert_eq!(
        fault("evenstep-lut", "evenstep-fit", normal).as_deref(),
        Some("evenstep-lut (layer 1) must not depend on evenstep-fit (layer 3)")
    );
    assert!(
        fault(
            "evenstep-audit",
            "evenstep-fit",
            DependencyKind::Development
        )
        .is_some()
    );
    assert!(fault("evenstep-lut", TESTKIT, normal).is_some());
    assert_eq!(
        fault("evenstep-lut", TESTKIT, DependencyKind::Development),
        None
    );
    assert_eq!(fault("evenstep-fit", "evenstep-lut", normal), None);
}

/// The table that people read is the table that is checked.
#[test]
fn the_developers_page_prints_the_same_layers() {
    let page =
        std::fs::read_to_string(root().join("DEVELOPERS.md")).expect("DEVELOPERS.md is there");
    for (name, layer) in LAYERS {
        let row = page
            .lines()
            .find(|line| line.starts_with(&format!("| {layer} |")))
            .unwrap_or_else(|| panic!("DEVELOPERS.md has no row for layer {layer}"));
        assert!(
            row.contains(&format!("`{name}`")),
            "{name} is missing in {row:?}"
        );
    }
}
