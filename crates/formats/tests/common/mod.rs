//! What the tests of several formats share.
#![allow(clippy::unwrap_used, dead_code)] // a test may stop at the first surprise; not every test uses everything

pub mod damage;
pub mod files;
pub mod fixtures;
pub mod invariants;
pub mod shown;
