//! What the people on the chairs can do, and what they would object to.
//!
//! [`Limits`] tells for an instrument and a [`Level`] what can be played, what is comfortable, soft and loud registers, breath, tongue,
//! endurance and the time that changes take, each with its source.
//!
//! ```
//! use ripieno_players::{Level, Limits};
//!
//! let horn = Limits::by_id("horn", Level::Amateur).unwrap();
//! assert!(horn.possible.covers(horn.comfortable));
//! assert!(horn.breath_seconds(60, None).unwrap() > 10.0);
//! ```
//!
//! All of this is a guide. Ask the player; nobody should play on in pain.
//!
//! Invariants: values stand in `data/*.csv` with a source for every row; compasses are sounding; seconds come from the tempo marks.
//! Left to others: balance and loudness (`acoustics`), roles (`texture`), reading and writing files.

mod data;
mod level;
mod limits;

pub use data::Source;
pub use level::Level;
pub use limits::{Change, ChangeTime, Endurance, Limits, Tonguing, change_time, source, sources};
