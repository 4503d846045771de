//! What reaches the ear.

mod data;
pub mod level;
pub mod source;

pub use data::{Citation, citations};
pub use level::{Level, hertz};
pub use source::{Band, Direction, Found, Partial, Source, Tone, Ways};
