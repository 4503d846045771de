//! The instrument catalogue, and recognising which instrument a part is for.
//!
//! A full score names its parts in four languages, abbreviated, numbered, keyed and divided as each publisher liked:
//! "Cor. 1.2 in F", "Bb (basso) Horn 4", "Vlns I div. 3", "gr. Tr.". [`recognise::recognise`] reads such a name with
//! whatever else a file knows of the part, says which [`catalogue::Instrument`] it is, how sure it is and why.
//! The [`catalogue::catalogue`] holds for each instrument its family, section, place in the score, transpositions,
//! written and sounding compass, General MIDI program, MusicXML standard sounds and names.
//!
//! Invariants:
//!
//! - The facts live in data files (`data/`), each value with its source or the honest word "memory"; the code holds no
//!   list of instruments.
//! - Recognition never fails and never panics: an unknown name falls back on sound, MIDI program, clef, compass and
//!   transposition, says so, and says how little that is worth. The same clues give the same answer on any machine.
//! - Sounding = written + transposition, in semitones, everywhere. MIDI keys count from C4 = 60.
//!
//! From `ripieno_score` it takes the names of notes and how a part is called, and nothing else: it knows no score.
//!
//! Left to others: reading files (the clues are plain values), the notes of a score, how many players sound at a given
//! moment (only what the *name* prints is here), and what a player can do beyond a compass.
//!
//! ```
//! use ripieno_instruments::recognise::{Clues, recognise};
//!
//! let found = recognise(&Clues { name: "Cor. 1.2 in F", ..Clues::default() });
//! assert_eq!(found.instrument.id, "horn");
//! assert_eq!(found.numbers, [1, 2]);
//! assert_eq!(found.keys[0].to_string(), "F");
//! assert_eq!(found.transposition.unwrap().semitones, -7);
//! ```

pub mod called;
pub mod catalogue;
mod data;
pub mod family;
pub mod key;
pub mod printed;
pub mod range;
pub mod recognise;

pub use called::{Chair, Nobody, called};
pub use catalogue::{Instrument, Language, Transposition, catalogue, score_order};
pub use family::{Family, Section};
pub use key::{Key, KeyName, KeyOctave, Step};
pub use printed::{is_same_name, printed, signed};
pub use range::{Range, Ranges};
pub use recognise::{Clues, Interval, Recognition, recognise, recognise_all};
