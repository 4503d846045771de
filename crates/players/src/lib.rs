//! What the people on the chairs can do, and what they would object to.
//!
//! [`Limits`] tells for an instrument and a [`Level`] what can be played, what is comfortable, soft and loud registers, breath, tongue,
//! endurance and the time that changes take, each with its source. [`check`] looks through any score and answers [`Objection`]s, each
//! with bar, player, severity, reason, source and a remedy; [`grouped`] puts repeats together. [`slide`] is the trombone's.
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
//! Invariants: values stand in `data/*.csv` with a source for every row; compasses are sounding; seconds come from the tempo marks, and
//! without any mark what rests on seconds is only a note. Cost grows with the number of notes. The same score gives the same objections in
//! the same order.
//! Left to others: balance and loudness (`acoustics`), roles (`texture`), reading and writing files.

mod checks;
mod data;
mod kind;
mod level;
mod limits;
mod objection;
pub mod slide;
mod tempo;
mod view;

use ripieno_score::{Score, Sounding};

pub use data::Source;
pub use kind::{Kind, Severity};
pub use level::Level;
pub use limits::{Change, ChangeTime, Endurance, Limits, Tonguing, change_time, source, sources};
pub use objection::{Group, Objection, grouped, who};

/// To be printed with every list of objections.
pub const CAUTION: &str =
    "Compasses, breath and endurance are guides: people and instruments differ. Ask the player. Stop on pain.";

/// What to check.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Options {
    /// Whom the score is for.
    pub level: Level,
    /// Only these kinds; empty for all.
    pub only: Vec<Kind>,
}

/// Everything players, conductor and copyist would object to, in the order of bars, then of parts.
///
/// `sounding` is the view of `score`, repeats played out or not; what comes again in a repeat is told once. Cost grows with the number
/// of notes.
#[must_use]
pub fn check(score: &Score, sounding: &Sounding, options: &Options) -> Vec<Objection> {
    let view = view::View::new(score, sounding, options.level);
    let mut found = checks::run(&view, &options.only);
    found.sort_by(|a, b| {
        let key = |one: &Objection| (one.bar, one.at, one.part, one.severity, one.kind, one.player, one.last);
        key(a).cmp(&key(b)).then_with(|| a.notes.cmp(&b.notes)).then_with(|| a.reason.cmp(&b.reason))
    });
    // The second time through a repeat.
    found.dedup_by(|a, b| {
        (a.bar, a.at, a.part, a.kind, a.player) == (b.bar, b.at, b.part, b.kind, b.player) && a.notes == b.notes
    });
    found
}
