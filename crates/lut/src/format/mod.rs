//! The formats LUTs travel in, one module each.

pub mod clf;
pub mod cube;
mod lines;
mod note;
pub mod table;

pub use note::{Deviation, Note};

/// `bytes` for a message: lossy, at most 40 characters, on one line.
pub(crate) fn shown(bytes: &[u8]) -> String {
    const MOST: usize = 40;
    let head = String::from_utf8_lossy(&bytes[..bytes.len().min(4 * MOST)]);
    let mut text: String = head.chars().take(MOST).collect();
    if head.chars().count() > MOST || bytes.len() > 4 * MOST {
        text.push('…');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::shown;

    #[test]
    fn long_words_are_cut_in_messages() {
        assert_eq!(shown(b"foo"), "foo");
        assert_eq!(shown("é".repeat(500).as_bytes()).chars().count(), 41);
    }
}
