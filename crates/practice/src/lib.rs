//! What the scoring does, counted: every number knows its bars.
//!
//! Measures take the sounding view and the parts they are asked about; grouping parts into sections and families is the
//! caller's. Shares are given by bars and by time and never mixed. Bars are the played bars of the view.

mod presence;
mod register;
mod tutti;

pub use presence::{Presence, presence};
pub use register::{Extreme, RegisterUse, register};
pub use tutti::bars_with_all;
