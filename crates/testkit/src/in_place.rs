use std::path::PathBuf;

/// Environment variable that names the folder of measured displays and LUT files.
pub const DATA_VARIABLE: &str = "EVENSTEP_DATA";

/// The folder of data that are read where they lie and are no part of this repository, or `None` when
/// [`DATA_VARIABLE`] is not set.
///
/// Says on stderr which check ran or was skipped, in the words that `.ci/run` lists and counts; tests that call this
/// have names that begin with `in_place_`, because `.ci/run` finds them by that.
///
/// # Panics
/// When the variable is set but names no folder: data that were promised and are not there must not pass for a skip.
#[must_use]
#[expect(
    clippy::print_stderr,
    reason = "a skipped check must be seen to be skipped"
)]
pub fn data_in_place(check: &str) -> Option<PathBuf> {
    let Some(folder) = std::env::var_os(DATA_VARIABLE).map(PathBuf::from) else {
        eprintln!("in place, skipped: {check} ({DATA_VARIABLE} is not set)");
        return None;
    };
    assert!(
        folder.is_dir(),
        "{DATA_VARIABLE} is {}, which is not a folder",
        folder.display()
    );
    eprintln!("in place, ran: {check}");
    Some(folder)
}
