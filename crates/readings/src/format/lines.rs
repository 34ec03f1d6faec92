use std::path::Path;

use evenstep_files::Place;

use super::limits::{MAX_LINE_BYTES, MAX_LINES};
use crate::ReadingsError;

/// Start of every line, so that byte offsets can be named as line and column.
///
/// Lines end with CR LF, LF or CR.
pub(crate) struct Lines {
    starts: Vec<usize>,
}

impl Lines {
    /// Finds the lines of `bytes`; refuses too many, or one too long.
    pub(crate) fn new(bytes: &[u8], path: &Path) -> Result<Self, ReadingsError> {
        let mut starts = vec![0];
        let mut start = 0;
        for (at, byte) in bytes.iter().enumerate() {
            let ends = *byte == b'\n' || (*byte == b'\r' && bytes.get(at + 1) != Some(&b'\n'));
            if ends && starts.len() == MAX_LINES {
                return Err(ReadingsError::Limit {
                    place: Place::new(path, MAX_LINES, 0),
                    what: "lines",
                    limit: MAX_LINES,
                });
            } else if ends {
                start = at + 1;
                starts.push(start);
            } else if at - start >= MAX_LINE_BYTES {
                return Err(ReadingsError::Limit {
                    place: Place::new(path, starts.len(), 0),
                    what: "bytes in one line",
                    limit: MAX_LINE_BYTES,
                });
            }
        }
        Ok(Self { starts })
    }

    /// Line and byte column, both from 1, of the byte at `offset`.
    pub(crate) fn at(&self, offset: usize) -> (usize, usize) {
        let line = self.starts.partition_point(|start| *start <= offset);
        (line, offset - self.starts[line - 1] + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_three_line_ends_count_once() {
        let lines = Lines::new(b"a\nb\r\nc\rd", Path::new("x")).unwrap();
        assert_eq!(lines.at(0), (1, 1));
        assert_eq!(lines.at(2), (2, 1));
        assert_eq!(lines.at(5), (3, 1));
        assert_eq!(lines.at(7), (4, 1));
        assert_eq!(lines.at(8), (4, 2), "the end of the file has a place too");
    }

    #[test]
    fn endless_lines_and_endless_numbers_of_lines_are_refused() {
        let long = vec![b'1'; MAX_LINE_BYTES + 1];
        let refused = Lines::new(&long, Path::new("x"));
        assert!(matches!(
            refused,
            Err(ReadingsError::Limit {
                limit: MAX_LINE_BYTES,
                ..
            })
        ));
        let many = vec![b'\n'; MAX_LINES];
        let refused = Lines::new(&many, Path::new("x"));
        assert!(matches!(
            refused,
            Err(ReadingsError::Limit {
                limit: MAX_LINES,
                ..
            })
        ));
        assert!(Lines::new(&many[1..], Path::new("x")).is_ok());
    }
}
