//! What a reader of the page asks beside roles: the course of tempo and metre, ways of playing, who doubles whom in which
//! combination, which instrument a player holds, how loud, and when everybody plays. Gathered from the analysis; bars are played bars.

mod combinations;
mod course;
mod full;
mod instruments;
mod loudness;
mod ways;

pub use combinations::{Combination, FEWEST_NOTES, Layout};
pub use course::TempoMark;
pub use full::FullBars;
pub use instruments::Held;
pub use loudness::Loudness;
pub use ways::Way;
