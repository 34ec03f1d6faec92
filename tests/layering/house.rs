//! What no tracked file may hold.

use std::path::Path;
use std::process::Command;

use crate::root;

/// Tracked text files with the ending, or all of them without one; the path is relative to the root.
fn tracked(endings: &[&str]) -> Vec<(String, String)> {
    let listed = Command::new("git")
        .args(["ls-files", "-z"])
        .current_dir(root())
        .output()
        .expect("git lists the files of the checkout");
    assert!(
        listed.status.success(),
        "{}",
        String::from_utf8_lossy(&listed.stderr)
    );
    let names = String::from_utf8(listed.stdout).expect("file names are UTF-8");
    let files: Vec<(String, String)> = names
        .split_terminator('\0')
        .filter(|name| {
            let ending = Path::new(name).extension().and_then(|e| e.to_str());
            endings.is_empty() || ending.is_some_and(|e| endings.contains(&e))
        })
        // Samples of bad text are not UTF-8, and files deleted but not yet committed are not there.
        .filter_map(|name| {
            Some((
                name.to_owned(),
                std::fs::read_to_string(root().join(name)).ok()?,
            ))
        })
        .collect();
    assert!(!files.is_empty(), "git lists no files {endings:?}");
    files
}

/// Lines at which `bad` is true, as `path:line: text`.
fn lines_where(files: &[(String, String)], bad: impl Fn(&str) -> bool) -> Vec<String> {
    files
        .iter()
        .flat_map(|(name, text)| {
            (1..)
                .zip(text.lines())
                .map(move |(n, line)| (name, n, line))
        })
        .filter(|(_, _, line)| bad(line))
        .map(|(name, n, line)| format!("{name}:{n}: {}", line.trim()))
        .collect()
}

fn assert_none(found: &[String], rule: &str) {
    assert!(found.is_empty(), "{rule}\n{}", found.join("\n"));
}

/// The compiler denies it by a lint, which one attribute silences; this sees the attribute's effect.
#[test]
fn no_source_is_unsafe() {
    let word = concat!("un", "safe");
    let found = lines_where(&tracked(&["rs"]), |line| {
        // The value of a web page's content policy is no code.
        let line = line.replace(concat!("'un", "safe-inline'"), "");
        let code = line.split("//").next().unwrap_or_default();
        code.split(|c: char| !c.is_alphanumeric() && c != '_')
            .any(|w| w == word)
    });
    assert_none(&found, "code that the compiler cannot check");
}

#[test]
fn no_file_names_a_folder_of_one_machine() {
    let folders = [
        concat!("/wo", "rk/"),
        concat!("/t", "mp/"),
        concat!("/ho", "me/"),
        concat!("/ro", "ot/"),
        concat!("/Us", "ers/"),
    ];
    let found = lines_where(&tracked(&[]), |line| {
        folders.iter().any(|f| line.contains(f))
    });
    assert_none(&found, "a path that exists on one machine only");
}

/// Names that are not ours to spell: a journal, titles, interfaces, types of libraries, the CIE's own word.
const FOREIGN: [&str; 23] = [
    "set_color(",
    "colorlut.c",
    "color res. appl.",
    "color-difference formula",
    "evaluation of color perceptual smoothness",
    "color-034",
    "color universal design",
    "no-color.org",
    "ansicolor",
    "fg_color",
    "rgbcolor",
    "rgbacolor",
    ".color(&",
    "colorchoice",
    "colortype",
    "color_type",
    "color_primaries",
    "display_color_volume",
    "color3dlut",
    "color = ",
    "cargo_term_color",
    "no_color",
    "colorimetr",
];

#[test]
fn colour_is_spelled_colour() {
    let wrong = concat!("col", "or");
    let mut files = tracked(&["rs", "md", "py", "toml"]);
    files.retain(|(name, _)| name != "tests/layering/house.rs");
    let found = lines_where(&files, |line| {
        let mut line = line.to_lowercase();
        for name in FOREIGN {
            line = line.replace(name, "");
        }
        line.contains(wrong)
    });
    assert_none(&found, "another spelling of colour");
}
