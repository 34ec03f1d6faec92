//! Outputs: files that are checked before any work, and `-` for the standard output.

use std::path::Path;

use anyhow::{bail, ensure};
use evenstep::files::{WriteError, write_atomic};

use crate::ui;

/// Whether a path stands for the standard output.
pub(crate) fn is_stdout(path: &Path) -> bool {
    path.as_os_str() == "-"
}

/// Refuses an output that is one of the inputs, even where replacing files was asked for: what was read would be lost.
pub(crate) fn spare(inputs: &[&Path], outputs: &[&Path]) -> anyhow::Result<()> {
    let whole = |path: &Path| path.canonicalize().ok();
    for output in outputs.iter().filter(|p| !is_stdout(p)) {
        let same = |input: &&&Path| whole(input).is_some_and(|i| whole(output) == Some(i));
        if let Some(input) = inputs.iter().find(same) {
            bail!(
                "{}: this is the input {}; name another file for the output",
                output.display(),
                input.display()
            );
        }
    }
    Ok(())
}

/// Refuses outputs that could not be written in the end: files that are there, folders that are not, one path for
/// two outputs.
pub(crate) fn check(outputs: &[&Path], force: bool) -> anyhow::Result<()> {
    for (i, &path) in outputs.iter().enumerate() {
        ensure!(
            !outputs[..i].contains(&path),
            "{}: named for two outputs; give each its own",
            path.display()
        );
        if is_stdout(path) {
            continue;
        }
        ensure!(
            !path.is_dir(),
            "{}: a folder; name a file in it",
            path.display()
        );
        if !force && path.exists() {
            bail!(WriteError::Exists {
                path: path.to_owned()
            });
        }
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
        if let Some(folder) = folder
            && !folder.is_dir()
        {
            bail!(
                "{}: the folder {} is not there; make it first",
                path.display(),
                folder.display()
            );
        }
    }
    Ok(())
}

/// Writes text to a file, whole or not at all, or to the standard output.
pub(crate) fn write(text: &str, path: &Path, force: bool) -> anyhow::Result<()> {
    if is_stdout(path) {
        return ui::print(text);
    }
    write_atomic(path, force, |out| out.write_all(text.as_bytes()))?;
    Ok(())
}
