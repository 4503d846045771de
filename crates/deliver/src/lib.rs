//! From a full score to what goes on the stands.
//!
//! [`books`] takes the score apart: a [`Book`] for each part, with tempi and rehearsal marks for all, long rests gathered and
//! cues before entries. Put together again, the books are the score, note for note. [`set_book`] and [`set_score`] put them on
//! [`Paper`] as a client asks for it; the pages of a part are turned in its rests.
//!
//! Nothing here judges music: who leads where, for the cues, is told by the caller.

mod books;
mod changes;
mod course;
mod cues;
mod files;
mod headings;
mod instrumentation;
mod lists;
mod names;
mod paper;
mod rests;
mod setting;
mod sheet;
mod split;
mod stands;
mod turns;
mod unseen;
mod who;
mod whole;

pub use books::{Book, BookOptions, books};
pub use cues::Cue;
pub use files::{SCORE_PATH, file_name, part_paths, proof_list, texts};
pub use instrumentation::instrumentation;
pub use lists::{Unresolved, cited, cover, one_list, unresolved};
pub use names::players_name;
pub use paper::{LEAST_STAFF_OF_PART, LEAST_STAFF_OF_SCORE, Paper};
pub use setting::{Setting, SettingError, Turn, set_book, set_score};
pub use sheet::Title;
pub use stands::{Stand, StandInstrument, stands};
pub use whole::{Delivered, Ended, Order, Pages, Receiver, deliver, prove};
