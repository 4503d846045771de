//! Why a part was recognised as it was.

use std::fmt;

/// What a reason rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum ReasonKind {
    /// The name says so.
    Name,
    /// The name may mean several instruments.
    Ambiguity,
    /// The standard sound agrees, narrows or disagrees.
    Sound,
    /// The Humdrum code.
    KernCode,
    /// The MIDI program or channel.
    Midi,
    /// The clef.
    Clef,
    /// The compass of the notes.
    Compass,
    /// The transposition.
    Transposition,
    /// How the key was read.
    Key,
    /// The other parts of the score.
    Context,
    /// The name was not understood.
    Unknown,
}

/// One reason, displayed as one sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reason {
    /// What it rests on.
    pub kind: ReasonKind,
    sentence: String,
}

impl Reason {
    pub(crate) fn new(kind: ReasonKind, sentence: impl Into<String>) -> Self {
        Self { kind, sentence: sentence.into() }
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.sentence)
    }
}

/// Joins names as a sentence does: "horn, trumpet or tuba".
pub(crate) fn list(names: &[String], conjunction: &str) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} {conjunction} {last}", first.join(", ")),
    }
}
