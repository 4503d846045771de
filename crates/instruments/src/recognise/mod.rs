//! Recognising a part by what a file says of it.
//!
//! The name is read first, as a musician reads it: cut into words (`token`), the words grouped into names of the
//! catalogue, keys, numbers and the rest (`segment`, where the precedence among readings is one table), the groups
//! put together (`interpret`), and the instrument settled with the other clues (`resolve`; their weights are one
//! table in `points`). A name that names no instrument falls back on those clues alone, and says so.

mod context;
mod fallback;
mod interpret;
mod keys;
mod lexicon;
mod narrow;
mod points;
mod reason;
mod resolve;
mod segment;
mod token;

use std::fmt;

pub use context::recognise_all;
pub use reason::{Reason, ReasonKind};

use crate::catalogue::{Clef, Instrument, Language, Transposition};
use crate::key::Key;
use crate::range::Range;

/// A written-to-sounding interval as files state it (MusicXML `transpose`); sounding = written + this.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Interval {
    /// Semitones within the octave.
    pub chromatic: i8,
    /// Steps of the staff within the octave.
    pub diatonic: i8,
    /// Whole octaves.
    pub octave: i8,
}

impl Interval {
    /// Semitones in all.
    #[must_use]
    pub fn semitones(self) -> i16 {
        i16::from(self.chromatic) + 12 * i16::from(self.octave)
    }

    /// Steps of the staff in all.
    #[must_use]
    pub fn steps(self) -> i16 {
        i16::from(self.diatonic) + 7 * i16::from(self.octave)
    }
}

/// What a file says about a part. Leave out what it does not say.
#[derive(Clone, Copy, Debug, Default)]
pub struct Clues<'a> {
    /// The name at the first system.
    pub name: &'a str,
    /// The name of the instrument behind the part, where the format keeps one (MusicXML `instrument-name`).
    pub instrument_name: &'a str,
    /// The name at later systems.
    pub abbreviation: &'a str,
    /// The MusicXML standard sound: `wind.flutes.flute`.
    pub sound_id: &'a str,
    /// The Humdrum instrument code without its `*I`: `clarb`.
    pub kern_code: &'a str,
    /// The General MIDI program, 1 to 128.
    pub midi_program: Option<u8>,
    /// Whether the part plays on MIDI channel 10, percussion.
    pub midi_channel10: bool,
    /// The clef at the start.
    pub clef: Option<Clef>,
    /// The lowest and highest written note.
    pub written_range: Option<Range>,
    /// The transposition at the start; `None` when the file states none.
    pub transposition: Option<Interval>,
    /// The language of the score's part names, when known.
    pub language: Option<Language>,
}

/// How another instrument in a part name relates to the first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum AlsoRelation {
    /// The player changes to it: "Flute 2/Piccolo".
    ChangesTo,
    /// It plays from the same staff: "Violoncelli e Contrabassi", "Triangle, Cymbals".
    Shares,
}

/// Another instrument named by a part.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Also {
    /// Which.
    pub instrument: &'static Instrument,
    /// Its keys, as printed.
    pub keys: Vec<Key>,
    /// Its numbers.
    pub numbers: Vec<u16>,
    /// How it relates to the part's own instrument.
    pub relation: AlsoRelation,
}

/// What part of a section plays.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum DivisionKind {
    /// All of them, set against a soloist ("tutti", "ripieno").
    Tutti,
    /// Together again after a division.
    Unison,
    /// The singers of a choir, not a soloist.
    Chorus,
    /// Divided.
    Divisi,
    /// One or more desks.
    Desk,
    /// One player apart from the section, or a soloist.
    Solo,
    /// The rest of the section ("gli altri").
    Others,
}

impl DivisionKind {
    /// When a name has several, the higher rank is the one that counts players best.
    const fn rank(self) -> u8 {
        self as u8
    }
}

impl fmt::Display for DivisionKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Tutti => "tutti",
            Self::Unison => "unison",
            Self::Chorus => "chorus",
            Self::Divisi => "divisi",
            Self::Desk => "desk",
            Self::Solo => "solo",
            Self::Others => "others",
        })
    }
}

/// A division with its number: "div. 3", "desk 1".
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Division {
    /// Which kind.
    pub kind: DivisionKind,
    /// Into how many, or which desk.
    pub number: Option<u8>,
}

impl fmt::Display for Division {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.kind)?;
        match self.number {
            Some(number) => write!(f, " {number}"),
            None => Ok(()),
        }
    }
}

/// Which staff of an instrument a part is, where its name says so.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs)] // each is what it says
pub enum StaffLabel {
    RightHand,
    LeftHand,
    Upper,
    Lower,
    Pedal,
    Manual,
    /// "Trumpet 1 (2)".
    Number(u16),
    /// "Violin 1a".
    Letter(char),
}

/// What a part was recognised as.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Recognition {
    /// The instrument; `unspecified` when nothing at all is known.
    pub instrument: &'static Instrument,
    /// The transposition of the catalogue that the name and the file agree on, best first the file's own; `None` when
    /// the file states an interval that the instrument does not have.
    pub transposition: Option<&'static Transposition>,
    /// Keys as printed: the first is the instrument's, others are changes; for timpani the tuning.
    pub keys: Vec<Key>,
    /// Numbers as printed: 1 2 for "Cor. 1.2".
    pub numbers: Vec<u16>,
    /// How many, where printed: 8 for "8 Horns", 2 for "a 2".
    pub count: Option<u16>,
    /// What part of a section plays, where printed.
    pub division: Option<Division>,
    /// Which staff of the instrument, where printed.
    pub staff: Option<StaffLabel>,
    /// Other instruments the name lists.
    pub also: Vec<Also>,
    /// Other instruments the name may mean, best first.
    pub alternatives: Vec<&'static Instrument>,
    /// The language of the name, where one is certain.
    pub language: Option<Language>,
    /// 0 to 1: 0.95 and above is a plain name, below 0.6 is worth asking about.
    pub confidence: f32,
    /// Why, one sentence each.
    pub reasons: Vec<Reason>,
    /// Whether the name did not help and the other clues decided.
    pub fallback: bool,
}

impl Recognition {
    /// How many players the name alone settles: its count, or as many as it has numbers, or one for a solo.
    ///
    /// `None` for a section and for a name that does not say.
    #[must_use]
    pub fn printed_players(&self) -> Option<u16> {
        if self.division.is_some_and(|division| division.kind == DivisionKind::Solo) {
            return Some(self.count.unwrap_or(1));
        }
        if self.count.is_some() {
            return self.count;
        }
        if self.instrument.section_instrument || self.numbers.is_empty() {
            return None;
        }
        u16::try_from(self.numbers.len()).ok()
    }
}

/// Recognises one part. [`recognise_all`] does better on a whole score, where neighbours settle what "Bass" or "Alto" is.
#[must_use]
pub fn recognise(clues: &Clues<'_>) -> Recognition {
    resolve::recognise(clues, &points::Context::default())
}
