//! The `basinward` command.
fn main() {}
