//! The notated score and its sounding view.
//!
//! A [`Score`] holds what is on the page: parts, players, bars, notes with their spelling, exact time, and the signs
//! around them. [`Sounding`] is the flat table of what is heard: concert pitch, ties joined, repeats unrolled or not,
//! a loudness level and a number of players for every note. Everything that analyses, draws or plays reads that view.
//!
//! This crate knows no file format and judges nothing; it does no input or output, so it cannot fail: readers hand it
//! raw notes, [`Score::finish`] puts them in order, and arithmetic on time is total.

mod articulations;
mod directions;
mod finish;
mod headcount;
mod levels;
mod note;
mod pitch;
mod players;
mod rows;
mod score;
mod sounding;
mod tempo;
mod tempo_words;
mod time;
mod unroll;

pub use articulations::Articulations;
pub use directions::{Direction, DirectionKind, DynamicLevel, DynamicMark, Swell};
pub use levels::PartLevels;
pub use note::{Beam, Beams, Edge, Head, Mark, Note, NoteFlags, NoteValue, Rest, Stem, TupletRatio};
pub use pitch::{KeyOutOfRange, MidiKey, Pitch, Step, Transposition};
pub use players::{CountReason, PlayerCount, PlayerMark};
pub use score::{
    About, Bar, BarIndex, Bracket, Change, ChangeKind, Clef, ClefSign, Jump, Key, Metre, Part, PartInstrument, Score,
};
pub use sounding::{NoteRow, Notes, PlayedBar, Sounding, Trouble, Unroll};
pub use tempo::{ASSUMED_TEMPO, BELIEVED_TEMPI, TempoMap};
pub use tempo_words::{is_tempo, may_head, tells_pause, tells_playing, tells_tempo};
pub use time::{Crotchets, NotCrotchets};
