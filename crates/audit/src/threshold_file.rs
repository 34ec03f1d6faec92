use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use crate::thresholds::{LIMITS, LimitError, Thresholds};

/// Name and version of a file of thresholds.
pub const THRESHOLDS_SCHEMA: &str = "evenstep/thresholds/1";

/// Why a file of thresholds cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ThresholdFileError {
    /// Not TOML, or not of the form of such a file.
    #[error("{}: {what}; see the list of the defaults for the form", path.display())]
    Form {
        /// The file.
        path: PathBuf,
        /// What the reader says, with line and column.
        what: String,
    },
    /// Another schema.
    #[error("{}: the schema is {found:?}; this version reads {THRESHOLDS_SCHEMA:?}", path.display())]
    Schema {
        /// The file.
        path: PathBuf,
        /// The schema found.
        found: String,
    },
    /// A limit changed without a word.
    #[error("{}: {name} has no reason; say its source or why it is chosen in reason = \"...\"", path.display())]
    NoReason {
        /// The file.
        path: PathBuf,
        /// The limit.
        name: String,
    },
    /// A unit that is not the limit's.
    #[error("{}: {name} is in {found:?}; give its value in {need:?}", path.display())]
    Unit {
        /// The file.
        path: PathBuf,
        /// The limit.
        name: String,
        /// The unit found.
        found: String,
        /// The limit's own.
        need: &'static str,
    },
    /// A name or a value that cannot be.
    #[error("{}: {error}", path.display())]
    Limit {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        error: LimitError,
    },
}

/// Limits as a file sets them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReasonedThresholds {
    /// All limits, those that the file does not name at their defaults.
    pub thresholds: Thresholds,
    /// The reasons of those that differ from their defaults, by name.
    pub reasons: BTreeMap<&'static str, String>,
}

/// Reads the text of a file of thresholds; limits it does not name keep their defaults. `path` is for messages.
///
/// The form is TOML: `schema`, and for each limit a table of its name with `value`, `reason`, and its `unit` if it is to be
/// checked.
///
/// # Errors
/// [`ThresholdFileError`], and among them for a limit that is changed without a reason.
pub fn parse_thresholds(text: &str, path: &Path) -> Result<ReasonedThresholds, ThresholdFileError> {
    let path = || path.to_owned();
    let form = |what: String| ThresholdFileError::Form { path: path(), what };
    let mut file: toml::Table =
        toml::from_str(text).map_err(|e| form(place_and_cause(text, &e)))?;
    let schema = match file.remove("schema") {
        Some(toml::Value::String(schema)) => schema,
        _ => return Err(form("no line schema = \"evenstep/thresholds/1\"".into())),
    };
    if schema != THRESHOLDS_SCHEMA {
        return Err(ThresholdFileError::Schema {
            path: path(),
            found: schema,
        });
    }
    let mut found = ReasonedThresholds::default();
    for (name, entry) in file {
        let value = match entry.get("value") {
            Some(toml::Value::Float(value)) => *value,
            Some(toml::Value::Integer(value)) => *value as f64,
            _ => return Err(form(format!("{name} needs a line value = NUMBER"))),
        };
        let refused = |error| ThresholdFileError::Limit {
            path: path(),
            error,
        };
        found.thresholds.set(&name, value).map_err(refused)?;
        let unknown = |key: &&String| !["value", "unit", "reason"].contains(&key.as_str());
        if let Some(other) = entry.as_table().and_then(|t| t.keys().find(unknown)) {
            return Err(form(format!(
                "{name} has a line {other}; only value, unit and reason are known"
            )));
        }
        let Some(limit) = LIMITS.iter().find(|limit| limit.name == name) else {
            return Err(refused(LimitError::Unknown { name }));
        };
        if let Some(unit) = entry.get("unit")
            && unit.as_str() != Some(limit.unit)
        {
            return Err(ThresholdFileError::Unit {
                path: path(),
                name,
                found: unit.as_str().unwrap_or(unit.type_str()).to_owned(),
                need: limit.unit,
            });
        }
        let reason = entry.get("reason").and_then(toml::Value::as_str);
        let Some(reason) = reason.map(str::trim).filter(|reason| !reason.is_empty()) else {
            return Err(ThresholdFileError::NoReason { path: path(), name });
        };
        found.reasons.insert(limit.name, reason.to_owned());
    }
    let defaults = Thresholds::default().values();
    for ((limit, own), default) in LIMITS.iter().zip(found.thresholds.values()).zip(defaults) {
        if own == default {
            found.reasons.remove(limit.name);
        }
    }
    Ok(found)
}

/// The cause in one line, with the line of the file where it is known.
fn place_and_cause(text: &str, error: &toml::de::Error) -> String {
    let cause = error.message().replace('\n', " ");
    match error.span() {
        Some(span) => {
            let before = text.get(..span.start).unwrap_or("");
            format!("line {}: {cause}", 1 + before.matches('\n').count())
        }
        None => cause,
    }
}

/// A file of the defaults with every unit and reason, to change and to read back.
#[must_use]
pub fn thresholds_text() -> String {
    let mut text = format!("schema = \"{THRESHOLDS_SCHEMA}\"\n");
    for (limit, value) in LIMITS.iter().zip(Thresholds::default().values()) {
        // Writing to a string cannot fail.
        let _ = write!(
            text,
            "\n# {}\n[{}]\nvalue = {value:?}\nunit = \"{}\"\nreason = \"{}\"\n",
            limit.meaning, limit.name, limit.unit, limit.reason
        );
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(text: &str) -> Result<ReasonedThresholds, ThresholdFileError> {
        parse_thresholds(text, Path::new("own.toml"))
    }

    #[test]
    fn the_printed_defaults_read_back_as_the_defaults() {
        assert_eq!(
            parse(&thresholds_text()).unwrap(),
            ReasonedThresholds::default()
        );
    }

    #[test]
    fn one_limit_may_be_changed_with_a_reason() {
        let text = "schema = \"evenstep/thresholds/1\"\n[wobble_itp]\nvalue = 0.5\nreason = \"grading suite\"\n";
        let found = parse(text).unwrap();
        let limits = found.thresholds;
        assert_eq!(found.reasons["wobble_itp"], "grading suite");
        assert_eq!(found.reasons.len(), 1);
        assert_eq!(limits.wobble_itp, 0.5);
        let rest = Thresholds {
            wobble_itp: crate::thresholds::WOBBLE_ITP,
            ..limits
        };
        assert_eq!(rest, Thresholds::default());
    }

    #[test]
    fn what_is_wrong_is_said_in_one_line_with_the_file() {
        let head = "schema = \"evenstep/thresholds/1\"\n";
        for (text, words) in [
            ("[wobble_itp]\n", "schema"),
            ("schema = \"other/1\"\n", "other/1"),
            (&format!("{head}[wobble_itp]\nvalue = 0.5\n"), "no reason"),
            (
                &format!("{head}[wobble]\nvalue = 1\nreason = \"r\"\n"),
                "no threshold",
            ),
            (
                &format!("{head}[plateau_codes]\nvalue = 1.5\nreason = \"r\"\n"),
                "a whole one",
            ),
            (
                &format!("{head}[wobble_itp]\nvalue = \"a\"\n"),
                "value = NUMBER",
            ),
            (
                &format!("{head}[plateau_codes]\nvalue = 1\nreason = \"r\"\n"),
                "from 2 up",
            ),
            (
                &format!("{head}[wobble_itp]\nvalue = 1\nvalu = 2\nreason = \"r\"\n"),
                "a line valu;",
            ),
            (
                &format!("{head}[wobble_itp]\nvalue = 1\nunit = \"codes\"\nreason = \"r\"\n"),
                "in \"codes\"",
            ),
            ("schema = \"a\"\n[x", "line 2"),
        ] {
            let said = parse(text).unwrap_err().to_string();
            assert!(
                said.starts_with("own.toml: ") && said.contains(words),
                "{said}"
            );
            assert_eq!(said.lines().count(), 1, "{said}");
        }
    }
}
