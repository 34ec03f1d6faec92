use std::io::{self, BufWriter, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

/// Why an output could not be written. The old file, if there was one, is untouched.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The file is there already and overwriting was not asked for.
    #[error("{}: already there; add --force to replace it, or name another file", path.display())]
    Exists {
        /// The file that would have been replaced.
        path: PathBuf,
    },
    /// The operating system refused.
    #[error("{}: cannot write: {source}", path.display())]
    Io {
        /// The file that was to be written.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

/// Writes `path` through a temporary file in the same folder, flushed to disk and then renamed, so that a
/// reader sees the old file or the new one and never half of it.
///
/// # Errors
/// [`WriteError::Exists`] when the file is there and `force` is false; [`WriteError::Io`] for everything the
/// system reports, including errors that `fill` returns.
pub fn write_atomic(
    path: &Path,
    force: bool,
    fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), WriteError> {
    filled(path, force, fill)?.commit()
}

/// Writes several files: every one is complete on the disk before the first takes its name.
///
/// # Errors
/// Those of [`write_atomic`]. Where a file cannot take its name after all, because its folder went away meanwhile, those
/// before it that replaced nothing are removed again.
pub fn write_together(files: &[(&Path, &[u8])], force: bool) -> Result<(), WriteError> {
    let complete = files
        .iter()
        .map(|(path, bytes)| filled(path, force, |out| out.write_all(bytes)));
    commit(complete.collect::<Result<_, _>>()?)
}

/// Gives files their names; when one cannot take it, the new ones before it are removed again.
fn commit(complete: Vec<Complete>) -> Result<(), WriteError> {
    let mut new: Vec<PathBuf> = Vec::new();
    for one in complete {
        let (path, is_new) = (one.path.clone(), !one.path.exists());
        if let Err(e) = one.commit() {
            for path in new {
                // The first error is the one that matters.
                let _ = std::fs::remove_file(path);
            }
            return Err(e);
        }
        if is_new {
            new.push(path);
        }
    }
    Ok(())
}

/// A file under way: it takes its name on [`commit`](Self::commit), and without that it goes away again.
///
/// For outputs that are written piece by piece and gone back into; [`write_atomic`] is simpler where neither is needed.
pub struct AtomicFile {
    out: BufWriter<NamedTempFile>,
    path: PathBuf,
    force: bool,
}

impl AtomicFile {
    /// Begins an empty file in the folder of `path`.
    ///
    /// # Errors
    /// Those of [`write_atomic`].
    pub fn create(path: &Path, force: bool) -> Result<Self, WriteError> {
        if !force && path.exists() {
            return Err(WriteError::Exists {
                path: path.to_owned(),
            });
        }
        let folder = path
            .parent()
            .filter(|p| !p.as_os_str().is_empty())
            .unwrap_or(Path::new("."));
        let mut builder = tempfile::Builder::new();
        builder.prefix(".evenstep-").suffix(".part");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // The mask of the process still applies; without this the file would be private to the user.
            builder.permissions(std::fs::Permissions::from_mode(0o666));
        }
        let file = builder.tempfile_in(folder).map_err(|e| io(path, e))?;
        Ok(Self {
            out: BufWriter::new(file),
            path: path.to_owned(),
            force,
        })
    }

    /// Flushes everything to the disk and gives the file its name.
    ///
    /// # Errors
    /// Those of [`write_atomic`].
    pub fn commit(self) -> Result<(), WriteError> {
        self.complete()?.commit()
    }

    /// The same for several: every one is complete on the disk before the first takes its name.
    ///
    /// # Errors
    /// Those of [`write_together`].
    pub fn commit_together(files: Vec<Self>) -> Result<(), WriteError> {
        let complete = files.into_iter().map(Self::complete);
        commit(complete.collect::<Result<_, _>>()?)
    }

    fn complete(self) -> Result<Complete, WriteError> {
        let Self { out, path, force } = self;
        let file = out.into_inner().map_err(|e| io(&path, e.into_error()))?;
        file.as_file().sync_all().map_err(|e| io(&path, e))?;
        Ok(Complete { file, path, force })
    }
}

impl Write for AtomicFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.out.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

impl Seek for AtomicFile {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.out.seek(to)
    }
}

/// A file that is on the disk and has not taken its name yet; without it, it goes away again.
struct Complete {
    file: NamedTempFile,
    path: PathBuf,
    force: bool,
}

fn io(path: &Path, source: io::Error) -> WriteError {
    WriteError::Io {
        path: path.to_owned(),
        source,
    }
}

fn filled(
    path: &Path,
    force: bool,
    fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<Complete, WriteError> {
    let mut file = AtomicFile::create(path, force)?;
    fill(&mut file.out).map_err(|e| io(path, e))?;
    file.complete()
}

impl Complete {
    fn commit(self) -> Result<(), WriteError> {
        let Self { file, path, force } = self;
        let done = if force {
            file.persist(&path)
        } else {
            file.persist_noclobber(&path)
        };
        match done {
            Ok(_) => Ok(()),
            Err(e) if e.error.kind() == io::ErrorKind::AlreadyExists => {
                Err(WriteError::Exists { path })
            }
            Err(e) => Err(WriteError::Io {
                path,
                source: e.error,
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut all: Vec<_> = std::fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        all.sort();
        all
    }

    #[test]
    fn a_failed_write_leaves_the_old_file_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lut.cube");
        write_atomic(&path, false, |out| out.write_all(b"old")).unwrap();
        let failed = write_atomic(&path, true, |out| {
            out.write_all(b"half")?;
            Err(io::Error::other("disk full"))
        });
        assert!(matches!(failed, Err(WriteError::Io { .. })));
        assert_eq!(std::fs::read(&path).unwrap(), b"old");
        assert_eq!(names(folder.path()), ["lut.cube"]);
    }

    #[test]
    fn a_file_under_way_has_no_name_until_it_is_committed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("picture.tiff");
        let mut file = AtomicFile::create(&path, false).unwrap();
        file.write_all(b"12345").unwrap();
        file.seek(SeekFrom::Start(1)).unwrap();
        file.write_all(b"xy").unwrap();
        assert!(!path.exists());
        drop(file);
        assert!(names(folder.path()).is_empty());

        let mut file = AtomicFile::create(&path, false).unwrap();
        file.write_all(b"12345").unwrap();
        file.seek(SeekFrom::Start(1)).unwrap();
        file.write_all(b"xy").unwrap();
        file.commit().unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"1xy45");
        assert_eq!(names(folder.path()), ["picture.tiff"]);
    }

    #[test]
    fn files_are_written_together_or_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let (a, b) = (folder.path().join("a"), folder.path().join("b"));
        let both: [(&Path, &[u8]); 2] = [(&a, b"1"), (&b, b"2")];
        std::fs::write(&b, b"old").unwrap();
        assert!(matches!(
            write_together(&both, false),
            Err(WriteError::Exists { .. })
        ));
        assert_eq!(names(folder.path()), ["b"]);
        write_together(&both, true).unwrap();
        assert_eq!(std::fs::read(&b).unwrap(), b"2");
        let gone = folder.path().join("gone").join("c");
        let third: [(&Path, &[u8]); 2] = [(&a, b"3"), (&gone, b"4")];
        assert!(write_together(&third, true).is_err());
        assert_eq!(std::fs::read(&a).unwrap(), b"1");
    }

    /// The second file is complete on the disk, and cannot take its name because a folder has it.
    #[test]
    fn a_name_that_cannot_be_taken_takes_back_the_new_files_before_it() {
        let folder = tempfile::tempdir().unwrap();
        let [old, new, taken] = ["old", "new", "taken"].map(|n| folder.path().join(n));
        std::fs::write(&old, b"0").unwrap();
        std::fs::create_dir(&taken).unwrap();
        let files: [(&Path, &[u8]); 3] = [(&new, b"1"), (&old, b"2"), (&taken, b"3")];
        assert!(matches!(
            write_together(&files, true),
            Err(WriteError::Io { path, .. }) if path == taken
        ));
        // What replaced a file stays: the old one is gone.
        assert_eq!(names(folder.path()), ["old", "taken"]);
        assert_eq!(std::fs::read(&old).unwrap(), b"2");
    }

    #[test]
    fn files_under_way_take_their_names_together_or_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let begin = |name: &str| {
            let mut file = AtomicFile::create(&folder.path().join(name), false).unwrap();
            file.write_all(name.as_bytes()).unwrap();
            file
        };
        let files = vec![begin("a"), begin("b")];
        // Somebody else was quicker.
        std::fs::write(folder.path().join("b"), b"other").unwrap();
        let refused = AtomicFile::commit_together(files);
        assert!(matches!(refused, Err(WriteError::Exists { .. })));
        assert_eq!(names(folder.path()), ["b"]);
        AtomicFile::commit_together(vec![begin("c"), begin("d")]).unwrap();
        assert_eq!(names(folder.path()), ["b", "c", "d"]);
        assert_eq!(std::fs::read(folder.path().join("d")).unwrap(), b"d");
    }

    #[test]
    fn nothing_is_overwritten_without_force() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lut.cube");
        write_atomic(&path, false, |out| out.write_all(b"old")).unwrap();
        let refused = write_atomic(&path, false, |out| out.write_all(b"new"));
        assert!(matches!(refused, Err(WriteError::Exists { .. })));
        assert_eq!(std::fs::read(&path).unwrap(), b"old");
        write_atomic(&path, true, |out| out.write_all(b"new")).unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"new");
    }
}
