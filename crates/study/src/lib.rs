//! The analysed score.
//!
//! [`Study`] is what report, page and command share: the score, its sounding view, who is in it, roles and first measures,
//! each computed once. A person's [`corrections`] win over the analysis. [`read_all`] runs the pipeline over many files on all cores, with progress and cancelling. This crate
//! brings its neighbours together and judges nothing musical of its own.

mod balance;
mod bars;
mod chart;
mod compass;
pub mod corrections;
mod facts;
mod mutes;
mod pipeline;
mod profile;
mod upbeat;
mod versions;

pub use balance::{
    Balance, BalanceFinding, BalanceTopic, FullChord, Help, Judged, Masking, MelodyBar, SpanHeard, Spot, Weighing,
};
pub use bars::{BarSpan, BarSpans};
pub use chart::{Grain, analyse_chart};
pub use facts::{Combination, FEWEST_NOTES, FullBars, Held, Layout, Loudness, TempoMark, Way};
pub use pipeline::{
    Cancel, Measured, Progress, Step, Study, TuttiBars, analyse, analyse_file, analyse_file_telling, analyse_telling, read_all,
};
pub use ripieno_acoustics as acoustics;
pub use ripieno_chart::Chart;
pub use ripieno_practice::{
    BY_PITCH, Comparison, Counted, Difference, Doubt, Evidence, Key, Kind, Lone, Options, Profile, ProfileError, ScoreEntry,
    Side, Standing, Whom, compare,
};
pub use ripieno_practice::{
    Group, Groups, Measure, Moment, NamedGroup, PartIdentity, RegisterUse, Sentence, Subject, Taken, Unit, Value,
};
pub use versions::{BarChange, Listed, PartChange, Touch, Versions, versions};
