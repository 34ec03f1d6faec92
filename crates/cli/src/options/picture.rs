use evenstep::picture::Depth;

/// Bits of the samples of a picture.
pub(crate) fn bits(text: &str) -> Result<Depth, String> {
    match text {
        "8" => Ok(Depth::Eight),
        "16" => Ok(Depth::Sixteen),
        _ => Err(format!("{text:?} is no depth of a picture; use 8 or 16")),
    }
}
