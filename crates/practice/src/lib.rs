//! What the scoring does, counted: every number knows its bars.
//!
//! [`Material`] holds one analysed score; [`MEASURES`] is the register of measures, each in a file of its own with what it says,
//! how it is counted and whose idea it is; [`take_all`] takes them. Shares are given by bars, by time and by player-time and never
//! mixed. Bars are the played bars of the view, time is in crotchets. Definitions: `docs/practice.md`.

mod attacks;
mod compare;
mod groups;
mod material;
mod measure;
mod measures;
mod noteworthy;
mod profile;
mod slices;
mod spread;
mod tally;

pub use compare::{Comparison, Difference, Effect, Evidence, Lone, Options, Scale, Side, Standing, compare, own_scale};
pub use groups::{Group, Groups, NamedGroup, PartIdentity};
pub use material::{Material, bar_label};
pub use measure::{Measure, OnChart, Subject, Taken, Unit, Value};
pub use measures::{
    Extreme, MEASURES, Presence, RegisterUse, bars_with_all, each_doubled, full_bars, presence, printed_levels, register,
    standing_families, take_all, tuttis,
};
pub use noteworthy::{Moment, Sentence, among_works, noteworthy};
pub use profile::{
    BLOCKS, BY_PITCH, Counted, Doubt, InScore, Index, Key, Kind, Pooled, Profile, ProfileError, Row, ScoreEntry, Whom, WorkValue,
};
pub use slices::{Slice, Slices};
