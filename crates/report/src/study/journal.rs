use std::collections::HashMap;
use std::fs::{File, OpenOptions};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use evenstep_study::{Case, Cost, Finished, JudgeRecord, Plan, PlanError, Row};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::STUDY_SCHEMA;

/// First line of a journal: what the study is, so that nothing else is ever added to it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StudyHeader {
    /// [`STUDY_SCHEMA`].
    pub schema: String,
    /// Version of the program: another may give other figures.
    pub version: String,
    /// SHA-256 of version and plan, in hexadecimal digits.
    pub hash: String,
    /// The plan itself.
    pub plan: Plan,
    /// The models that stand for displays in it, so that what is made of the journal can say how far to trust them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub judges: Vec<JudgeRecord>,
}

/// SHA-256 of bytes in hexadecimal digits: the name by which a header knows a plan, and a plan its readings.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    let digest = Sha256::digest(bytes);
    digest.iter().map(|byte| format!("{byte:02x}")).collect()
}

impl StudyHeader {
    /// The header of a plan under this version.
    #[must_use]
    pub fn of(plan: &Plan) -> Self {
        let version = env!("CARGO_PKG_VERSION").to_owned();
        // Fails only for types that refuse to serialise; a plan does not.
        let text = serde_json::to_string(plan).unwrap_or_default();
        Self {
            schema: STUDY_SCHEMA.to_owned(),
            hash: sha256(format!("{version}\n{text}").as_bytes()),
            version,
            plan: plan.clone(),
            judges: Vec::new(),
        }
    }

    /// The same with the models that stand for displays.
    #[must_use]
    pub fn with_judges(self, judges: Vec<JudgeRecord>) -> Self {
        Self { judges, ..self }
    }
}

/// A line of a journal after the first: a case that is done.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// The case; see [`Case::key`].
    pub case: String,
    /// Its row.
    pub row: Row,
    /// What it took.
    pub cost: Cost,
}

impl From<Finished> for Entry {
    fn from(finished: Finished) -> Self {
        Self {
            case: finished.row.key(),
            row: finished.row,
            cost: finished.cost,
        }
    }
}

/// What can be wrong with the journal of a study.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum JournalError {
    /// The system refused.
    #[error("{}: {source}", path.display())]
    Io {
        /// The journal.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A journal is there and nobody asked to go on with it.
    #[error("{}: a study is there already; add --resume to go on with it, or name another folder", path.display())]
    Exists {
        /// The journal.
        path: PathBuf,
    },
    /// The first line is no header of a study.
    #[error("{}:1: no header of a study of schema {STUDY_SCHEMA}; name a folder that evenstep study run made", path.display())]
    NoHeader {
        /// The journal.
        path: PathBuf,
    },
    /// The journal is of another plan.
    #[error(
        "{}: the journal is of another plan or version (plan {found:.12}, version {version}; asked for is {asked:.12}); \
         give the options it was started with, or name another folder", path.display()
    )]
    OtherPlan {
        /// The journal.
        path: PathBuf,
        /// Hash of its plan.
        found: String,
        /// Version that wrote it.
        version: String,
        /// Hash of the plan asked for.
        asked: String,
    },
    /// A line that is neither whole nor the last.
    #[error("{}:{line}: not a finished case: {reason}; the file was changed, start anew in another folder", path.display())]
    Line {
        /// The journal.
        path: PathBuf,
        /// Number of the line.
        line: usize,
        /// What is wrong with it.
        reason: String,
    },
    /// A case that is done twice.
    #[error("{case} is done twice: in {} and in {}; name each shard once", first.display(), second.display())]
    Doubled {
        /// The case.
        case: String,
        /// Journal that has it first.
        first: PathBuf,
        /// Journal that has it again.
        second: PathBuf,
    },
    /// A case that is not of the plan.
    #[error("{}: {case} is not a case of the plan", path.display())]
    Unknown {
        /// The journal.
        path: PathBuf,
        /// The case.
        case: String,
    },
    /// Cases that no journal has.
    #[error(
        "{missing} of {all} cases are missing, the first is {first}; finish every shard with --resume, then merge all of them"
    )]
    Missing {
        /// The first of them.
        first: String,
        /// How many.
        missing: usize,
        /// Cases of the plan.
        all: usize,
    },
    /// The plan itself is wrong.
    #[error(transparent)]
    Plan(#[from] PlanError),
}

/// The journal of a study: one line for each finished case, flushed as soon as it is done, so that a kill loses no
/// more than the cases that were running.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    file: File,
}

impl Journal {
    /// Name of the journal in the folder of a study.
    pub const NAME: &'static str = "journal.jsonl";

    /// Starts a journal in a folder, or goes on with the one that is there: then the entries it holds come with it,
    /// and a last line that a kill has torn is cut off.
    ///
    /// # Errors
    /// [`JournalError`]; among others where one is there and `resume` is false, and where it is of another plan.
    pub fn open(
        folder: &Path,
        header: &StudyHeader,
        resume: bool,
    ) -> Result<(Self, Vec<Entry>), JournalError> {
        let path = folder.join(Self::NAME);
        let io = |source| JournalError::Io {
            path: path.clone(),
            source,
        };
        let exists = path.exists();
        if exists && !resume {
            return Err(JournalError::Exists { path });
        }
        let text = if exists {
            whole_lines(&path)?
        } else {
            String::new()
        };
        let whole = text.len();
        let entries = if whole > 0 {
            let (found, entries) = parsed(&path, &text)?;
            same(&path, &found, header)?;
            entries
        } else {
            Vec::new()
        };
        let mut options = OpenOptions::new();
        let file = options
            .create(true)
            .truncate(false)
            .write(true)
            .open(&path)
            .map_err(io)?;
        file.set_len(whole as u64).map_err(io)?;
        drop(file);
        let file = OpenOptions::new().append(true).open(&path).map_err(io)?;
        let mut journal = Self { path, file };
        if whole == 0 {
            journal.line(header)?;
        }
        Ok((journal, entries))
    }

    /// Reads the journal of a folder: its header and the entries that were written whole.
    ///
    /// # Errors
    /// [`JournalError`] says which line is wrong.
    pub fn read(folder: &Path) -> Result<(StudyHeader, Vec<Entry>), JournalError> {
        let path = folder.join(Self::NAME);
        let text = whole_lines(&path)?;
        parsed(&path, &text)
    }

    /// Adds a finished case.
    ///
    /// # Errors
    /// [`JournalError::Io`].
    pub fn add(&mut self, entry: &Entry) -> Result<(), JournalError> {
        self.line(entry)
    }

    /// One write for the whole line, so that a kill between two leaves whole lines.
    fn line(&mut self, value: &impl Serialize) -> Result<(), JournalError> {
        let mut line = serde_json::to_string(value).unwrap_or_default();
        line.push('\n');
        let written = self.file.write_all(line.as_bytes());
        written
            .and_then(|()| self.file.flush())
            .map_err(|source| JournalError::Io {
                path: self.path.clone(),
                source,
            })
    }
}

/// Refuses a journal of another plan.
pub(super) fn same(
    path: &Path,
    found: &StudyHeader,
    asked: &StudyHeader,
) -> Result<(), JournalError> {
    if found.hash == asked.hash {
        return Ok(());
    }
    Err(JournalError::OtherPlan {
        path: path.to_owned(),
        found: found.hash.clone(),
        version: found.version.clone(),
        asked: asked.hash.clone(),
    })
}

/// What was written whole: everything up to the last line end. A kill may tear a letter of several bytes, so that the
/// rest need not be text.
fn whole_lines(path: &Path) -> Result<String, JournalError> {
    let io = |source| JournalError::Io {
        path: path.to_owned(),
        source,
    };
    let mut bytes = std::fs::read(path).map_err(io)?;
    let whole = bytes
        .iter()
        .rposition(|b| *b == b'\n')
        .map_or(0, |end| end + 1);
    bytes.truncate(whole);
    String::from_utf8(bytes).map_err(|e| io(io::Error::new(io::ErrorKind::InvalidData, e)))
}

fn parsed(path: &Path, text: &str) -> Result<(StudyHeader, Vec<Entry>), JournalError> {
    let mut lines = (1..).zip(text.lines());
    let header = lines
        .next()
        .and_then(|(_, line)| serde_json::from_str(line).ok())
        .filter(|header: &StudyHeader| header.schema == STUDY_SCHEMA)
        .ok_or_else(|| JournalError::NoHeader {
            path: path.to_owned(),
        })?;
    let entries = lines
        .map(|(line, text)| {
            serde_json::from_str(text).map_err(|error| JournalError::Line {
                path: path.to_owned(),
                line,
                reason: error.to_string(),
            })
        })
        .collect::<Result<_, _>>()?;
    Ok((header, entries))
}

/// Entries of journals in the order of the cases they are of, each once.
pub(super) fn ordered(
    cases: &[Case],
    journals: &[(PathBuf, Vec<Entry>)],
) -> Result<Vec<Entry>, JournalError> {
    let places: HashMap<String, usize> = cases
        .iter()
        .enumerate()
        .map(|(i, case)| (case.key(), i))
        .collect();
    let mut found: Vec<Option<(usize, &Entry)>> = vec![None; cases.len()];
    for (j, (path, entries)) in journals.iter().enumerate() {
        for entry in entries {
            let Some(&place) = places.get(&entry.case) else {
                return Err(JournalError::Unknown {
                    path: path.clone(),
                    case: entry.case.clone(),
                });
            };
            if let Some((first, _)) = found[place] {
                return Err(JournalError::Doubled {
                    case: entry.case.clone(),
                    first: journals[first].0.clone(),
                    second: path.clone(),
                });
            }
            found[place] = Some((j, entry));
        }
    }
    let missing: Vec<&Case> = cases
        .iter()
        .zip(&found)
        .filter_map(|(case, found)| found.is_none().then_some(case))
        .collect();
    if let Some(first) = missing.first() {
        return Err(JournalError::Missing {
            first: first.key(),
            missing: missing.len(),
            all: cases.len(),
        });
    }
    Ok(found
        .into_iter()
        .flatten()
        .map(|(_, e)| e.clone())
        .collect())
}
