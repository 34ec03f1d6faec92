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
    /// A name or a value that cannot be.
    #[error("{}: {error}", path.display())]
    Limit {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        error: LimitError,
    },
}

/// Reads the text of a file of thresholds; limits it does not name keep their defaults. `path` is for messages.
///
/// The form is TOML: `schema`, and for each limit a table of its name with `value` and `reason`.
///
/// # Errors
/// [`ThresholdFileError`], and among them for a limit that is changed without a reason.
pub fn parse_thresholds(text: &str, path: &Path) -> Result<Thresholds, ThresholdFileError> {
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
    let mut thresholds = Thresholds::default();
    for (name, entry) in file {
        let value = match entry.get("value") {
            Some(toml::Value::Float(value)) => *value,
            Some(toml::Value::Integer(value)) => *value as f64,
            _ => return Err(form(format!("{name} needs a line value = NUMBER"))),
        };
        thresholds
            .set(&name, value)
            .map_err(|error| ThresholdFileError::Limit {
                path: path(),
                error,
            })?;
        let reason = entry.get("reason").and_then(toml::Value::as_str);
        if reason.is_none_or(|reason| reason.trim().is_empty()) {
            return Err(ThresholdFileError::NoReason { path: path(), name });
        }
    }
    Ok(thresholds)
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

    fn parse(text: &str) -> Result<Thresholds, ThresholdFileError> {
        parse_thresholds(text, Path::new("own.toml"))
    }

    #[test]
    fn the_printed_defaults_read_back_as_the_defaults() {
        assert_eq!(parse(&thresholds_text()).unwrap(), Thresholds::default());
    }

    #[test]
    fn one_limit_may_be_changed_with_a_reason() {
        let text = "schema = \"evenstep/thresholds/1\"\n[wobble_itp]\nvalue = 0.5\nreason = \"grading suite\"\n";
        let limits = parse(text).unwrap();
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
