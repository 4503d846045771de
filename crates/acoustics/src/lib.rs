//! What reaches the ear: power and spectra of instruments, rooms and seats, audibility, evenness, exposure.
//!
//! [`Source`] says what one player sends out. A [`Scene`] is a score heard in one [`Situation`]: hall, stage, or sections recorded
//! apart and mixed, which has no balance until the levels of the mix are given. From it come [`audibility()`] (how well each
//! line is heard, what masks it, what would uncover it), the evenness of chords, and exposure.
//!
//! Invariants: the values live in `data/`, each with its source and its uncertainty; works on sounding notes and on lines as plain
//! input, knows nothing of roles; the same input gives the same answer. An estimate is never called a measurement.

pub mod audibility;
mod data;
pub mod ear;
pub mod evenness;
pub mod exposure;
pub mod level;
mod playing;
pub mod room;
mod scene;
pub mod seating;
mod situation;
pub mod source;
pub mod verdicts;

pub use audibility::{
    Able, Asked, Audibility, Audible, Explanation, Grade, Kinship, Masked, Masker, Remedy, RemedyKind, SecondOpinion, audibility,
    audibility_beside, audibility_by, explain, kinship, masked, second_opinion,
};
pub use data::{Citation, citations};
pub use ear::{Ear, Excitation, Excited};
pub use evenness::{EvenGrade, Evenness, evenness, full_chords};
pub use exposure::{Day, Exposed, exposure};
pub use level::{Level, hertz};
pub use playing::sounding_length;
pub use room::Room;
pub use scene::{Line, Scene, instruments_of, players_of};
pub use seating::{Place, Plan, Seat};
pub use situation::{Refused, Situation};
pub use source::{Band, Decay, Direction, Found, Partial, Source, Tone, Ways};
pub use verdicts::{Stands, Verdicts, verdicts};
