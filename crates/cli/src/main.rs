//! The `ripieno` command.
fn main() {}
