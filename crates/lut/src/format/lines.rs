use std::io::{self, BufRead};

/// Bytes that may stand on a line with a keyword or numbers, its end not counted [Cube LUT Specification 1.0].
pub(in crate::format) const LONGEST_LINE: usize = 250;

/// Bytes that may stand on a comment line. Our choice, because a comment cannot change the result, yet a file that
/// is one endless line must not fill the memory.
pub const LONGEST_COMMENT: usize = 65_536;

/// How a line ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::format) enum Ending {
    Lf,
    CrLf,
    Cr,
    /// The end of the file.
    Missing,
    /// Not within [`LONGEST_COMMENT`] bytes; the rest was not read.
    TooFar,
}

/// Lines of a byte stream, one at a time in the same buffer.
pub(in crate::format) struct Lines<R> {
    source: R,
    /// The current line without its end.
    pub(in crate::format) text: Vec<u8>,
    /// The current line's number, from 1; 0 before the first.
    pub(in crate::format) number: usize,
}

impl<R: BufRead> Lines<R> {
    pub(in crate::format) fn new(source: R) -> Self {
        Self {
            source,
            text: Vec::with_capacity(LONGEST_LINE),
            number: 0,
        }
    }

    /// Gives the bytes at hand, from the start of a line on, to `take`, and moves past the whole lines it says it has
    /// taken: how many, and how many bytes they hold with their ends.
    pub(in crate::format) fn take_whole(
        &mut self,
        take: impl FnOnce(&[u8]) -> (usize, usize),
    ) -> io::Result<()> {
        let (lines, bytes) = take(fill(&mut self.source)?);
        self.source.consume(bytes);
        self.number += lines;
        Ok(())
    }

    /// Moves to the next line; `None` at the end of the file, where the last line stays in place.
    pub(in crate::format) fn advance(&mut self) -> io::Result<Option<Ending>> {
        if fill(&mut self.source)?.is_empty() {
            return Ok(None);
        }
        self.text.clear();
        self.number += 1;
        loop {
            let chunk = fill(&mut self.source)?;
            if chunk.is_empty() {
                return Ok(Some(Ending::Missing));
            }
            let room = LONGEST_COMMENT + 1 - self.text.len();
            let window = &chunk[..chunk.len().min(room)];
            let Some(end) = window.iter().position(|&b| b == b'\n' || b == b'\r') else {
                self.text.extend_from_slice(window);
                let used = window.len();
                self.source.consume(used);
                if self.text.len() > LONGEST_COMMENT {
                    return Ok(Some(Ending::TooFar));
                }
                continue;
            };
            self.text.extend_from_slice(&window[..end]);
            let cr = window[end] == b'\r';
            self.source.consume(end + 1);
            if !cr {
                return Ok(Some(Ending::Lf));
            }
            if fill(&mut self.source)?.first() == Some(&b'\n') {
                self.source.consume(1);
                return Ok(Some(Ending::CrLf));
            }
            return Ok(Some(Ending::Cr));
        }
    }
}

fn fill(source: &mut impl BufRead) -> io::Result<&[u8]> {
    // The borrow of a successful call cannot be returned from the loop; the second call answers from the buffer.
    loop {
        match source.fill_buf() {
            Ok(_) => break,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    source.fill_buf()
}

#[cfg(test)]
mod tests {
    use std::io::BufReader;

    use super::*;

    fn all(bytes: &[u8], capacity: usize) -> Vec<(Vec<u8>, Ending)> {
        let mut lines = Lines::new(BufReader::with_capacity(capacity, bytes));
        let mut found = Vec::new();
        while let Some(ending) = lines.advance().unwrap() {
            found.push((lines.text.clone(), ending));
        }
        found
    }

    #[test]
    fn every_ending_is_told_apart_wherever_the_buffer_ends() {
        for capacity in 1..8 {
            assert_eq!(
                all(b"a\nb\r\nc\rd\r\r\n\ne", capacity),
                [
                    (b"a".to_vec(), Ending::Lf),
                    (b"b".to_vec(), Ending::CrLf),
                    (b"c".to_vec(), Ending::Cr),
                    (b"d".to_vec(), Ending::Cr),
                    (b"".to_vec(), Ending::CrLf),
                    (b"".to_vec(), Ending::Lf),
                    (b"e".to_vec(), Ending::Missing),
                ],
                "buffer of {capacity}"
            );
        }
    }

    #[test]
    fn an_endless_line_is_given_up() {
        let mut lines = Lines::new(BufReader::new(io::repeat(b'#')));
        assert_eq!(lines.advance().unwrap(), Some(Ending::TooFar));
        assert_eq!(lines.text.len(), LONGEST_COMMENT + 1);
    }
}
