/// Whether a line of `start`, the first bytes of a file, names a size as cube text does: the keywords come before the
/// table, and what stands before them is a title and comments. Says nothing about whether the rest can be read.
#[must_use]
pub fn names_a_size(start: &[u8]) -> bool {
    let names = |line: &[u8]| {
        let line = line.trim_ascii_start();
        ["LUT_1D_SIZE", "LUT_3D_SIZE"]
            .iter()
            .any(|k| line.len() >= k.len() && line[..k.len()].eq_ignore_ascii_case(k.as_bytes()))
    };
    start.split(|b| *b == b'\n' || *b == b'\r').any(names)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_size_keyword_makes_a_cube_file() {
        for (text, expected) in [
            ("TITLE \"x\"\nLUT_3D_SIZE 2\n", true),
            ("# LUT_3D_SIZE 2\r\n lut_1d_size 4\r\n", true),
            ("r,g,b,X,Y,Z\n0,0,0,0,0,0\n", false),
            ("# LUT_3D_SIZE is only talked about\n", false),
        ] {
            assert_eq!(names_a_size(text.as_bytes()), expected, "{text:?}");
        }
    }
}
