//! Chores for people who work on Ripieno.
fn main() {}
