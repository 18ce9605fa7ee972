//! The `loomproof` command.
fn main() {}
