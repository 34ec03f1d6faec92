use super::parse::starts_a_row;
use super::write::push_row;
use crate::{Lut, Lut3d};

/// The cube text of a LUT with the rows of some lattice nodes replaced and every other byte kept: header, comments, line
/// ends and the way the other numbers are written.
///
/// `text` is what `read` was parsed from. Rows are replaced where the node differs, in any bit, from that of `lattice`,
/// which has the size of the lattice read.
#[must_use]
pub fn replace_nodes(text: &[u8], read: &Lut, lattice: &Lut3d) -> Vec<u8> {
    let Some(before) = &read.lattice else {
        return text.to_vec();
    };
    let curves = read.curves.as_ref().map_or(0, |c| c.size());
    let mut out = Vec::with_capacity(text.len());
    let (mut row, mut rest) = (0_usize, text);
    while !rest.is_empty() {
        let end = rest
            .iter()
            .position(|b| *b == b'\n' || *b == b'\r')
            .unwrap_or(rest.len());
        let (line, after) = rest.split_at(end);
        let is_row = line
            .iter()
            .find(|b| !b.is_ascii_whitespace())
            .is_some_and(|b| starts_a_row(*b));
        let node = is_row
            .then_some(row)
            .and_then(|row| row.checked_sub(curves));
        row += usize::from(is_row);
        let values = node.and_then(|node| {
            let (old, new) = (before.nodes().get(node)?, lattice.nodes().get(node)?);
            (old.map(f64::to_bits) != new.map(f64::to_bits)).then_some(*new)
        });
        match values {
            Some(values) => {
                let mut text = String::new();
                push_row(&mut text, values);
                out.extend_from_slice(text.as_bytes());
            }
            None => out.extend_from_slice(line),
        }
        let ending = usize::from(!after.is_empty());
        out.extend_from_slice(&after[..ending]);
        rest = &after[ending..];
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::parse;
    use super::*;
    use std::path::Path;

    const TEXT: &str = "# made by hand\r\nTITLE \"warm\"\r\nLUT_1D_SIZE 2\r\nLUT_3D_SIZE 2\r\n0 0 0\r\n1 1 1\r\n \
                        0.00 0 0\r\n1 0 0\r\n# half way\r\n0 1 0\r\n1 1 0\r\n0 0 1\r\n1 0 1\r\n0 1 1\r\n1 1 1";

    #[test]
    fn only_rows_that_changed_are_written_anew() {
        let (lut, _) = parse(TEXT.as_bytes(), Path::new("a.cube")).unwrap();
        let mut lattice = lut.lattice.clone().unwrap();
        assert_eq!(
            replace_nodes(TEXT.as_bytes(), &lut, &lattice),
            TEXT.as_bytes()
        );
        lattice.nodes_mut()[2] = [0.25, 0.875, 0.0];
        let changed = replace_nodes(TEXT.as_bytes(), &lut, &lattice);
        let wanted = TEXT.replacen("\r\n0 1 0\r\n", "\r\n0.25 0.875 0\r\n", 1);
        assert_eq!(String::from_utf8(changed.clone()).unwrap(), wanted);
        let (back, _) = parse(&changed, Path::new("a.cube")).unwrap();
        assert_eq!(back.lattice.unwrap(), lattice);
    }
}
