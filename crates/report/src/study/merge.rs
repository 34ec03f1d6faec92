use std::path::PathBuf;

use super::journal::{JournalError, ordered, same};
use super::{Entry, Journal, StudyHeader};

/// The entries of a study that ran in one folder or, by shards, in several: one for each case of its plan, in the
/// plan's order, so that what is made of them does not tell how they were made. None for no folder.
///
/// # Errors
/// [`JournalError`] where the journals are of different plans, and where a case is missing or done twice; it names
/// the case.
pub fn merged(folders: &[PathBuf]) -> Result<Option<(StudyHeader, Vec<Entry>)>, JournalError> {
    let mut header: Option<StudyHeader> = None;
    let mut journals = Vec::new();
    for folder in folders {
        let (found, entries) = Journal::read(folder)?;
        let path = folder.join(Journal::NAME);
        same(&path, &found, header.get_or_insert_with(|| found.clone()))?;
        journals.push((path, entries));
    }
    let Some(header) = header else {
        return Ok(None);
    };
    let entries = ordered(&header.plan.cases()?, &journals)?;
    Ok(Some((header, entries)))
}
