//! The `evenstep` command.
fn main() {}
