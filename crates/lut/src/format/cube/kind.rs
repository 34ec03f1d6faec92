use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::CubeError;

/// Bytes looked at: the keywords come before the table, and what stands before them is a title and comments.
const LOOKED_AT: u64 = 1 << 16;

/// Whether the file at `path` names a size as cube text does, in its first 64 KiB. Says nothing about whether the
/// rest can be read.
///
/// # Errors
/// [`CubeError::Io`]: the file cannot be opened or read.
pub fn is_cube(path: &Path) -> Result<bool, CubeError> {
    let io = |source| CubeError::Io {
        path: path.to_owned(),
        source,
    };
    let mut start = Vec::new();
    File::open(path)
        .map_err(io)?
        .take(LOOKED_AT)
        .read_to_end(&mut start)
        .map_err(io)?;
    let names = |line: &[u8]| {
        let line = line.trim_ascii_start();
        ["LUT_1D_SIZE", "LUT_3D_SIZE"]
            .iter()
            .any(|k| line.len() >= k.len() && line[..k.len()].eq_ignore_ascii_case(k.as_bytes()))
    };
    Ok(start.split(|b| *b == b'\n' || *b == b'\r').any(names))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_size_keyword_makes_a_cube_file() {
        let folder = tempfile::tempdir().unwrap();
        for (text, expected) in [
            ("TITLE \"x\"\nLUT_3D_SIZE 2\n", true),
            ("# LUT_3D_SIZE 2\r\n lut_1d_size 4\r\n", true),
            ("r,g,b,X,Y,Z\n0,0,0,0,0,0\n", false),
            ("# LUT_3D_SIZE is only talked about\n", false),
        ] {
            let path = folder.path().join("file");
            std::fs::write(&path, text).unwrap();
            assert_eq!(is_cube(&path).unwrap(), expected, "{text:?}");
        }
        assert!(is_cube(&folder.path().join("absent")).is_err());
    }
}
