use std::fmt;
use std::path::{Path, PathBuf};

/// A place in a text file, printed as `path:line:column` so that terminals and editors can jump to it.
///
/// Lines and columns count from 1; columns count bytes. A zero line means "the file as a whole", a zero column
/// "the whole line"; neither is printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The file, as the user named it.
    pub path: PathBuf,
    /// Line, from 1; 0 for the file as a whole.
    pub line: usize,
    /// Byte column, from 1; 0 for the whole line.
    pub column: usize,
}

impl Place {
    /// A place at `line` and `column` of `path`.
    #[must_use]
    pub fn new(path: &Path, line: usize, column: usize) -> Self {
        Self {
            path: path.to_owned(),
            line,
            column,
        }
    }

    /// The file as a whole.
    #[must_use]
    pub fn file(path: &Path) -> Self {
        Self::new(path, 0, 0)
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.path.display())?;
        if self.line > 0 {
            write!(f, ":{}", self.line)?;
            if self.column > 0 {
                write!(f, ":{}", self.column)?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zero_parts_are_not_printed() {
        let path = Path::new("a.cube");
        assert_eq!(Place::new(path, 3, 7).to_string(), "a.cube:3:7");
        assert_eq!(Place::new(path, 3, 0).to_string(), "a.cube:3");
        assert_eq!(Place::file(path).to_string(), "a.cube");
    }
}
