//! The words for what a part does.

use std::fmt;

/// What a line is for, in the ear of somebody who hears all lines together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Role {
    /// The line the ear follows.
    Melody,
    /// A second independent line beside it.
    Countermelody,
    /// The lowest structural line.
    Bass,
    /// Sustained or moving chord tones.
    Harmony,
    /// One held or repeated tone under or over changing harmony.
    Pedal,
    /// Repeated notes or chords whose point is the pulse.
    Rhythm,
    /// Arpeggio, scale run, oscillation, ostinato.
    Figuration,
    /// Isolated hits, stabs, accents.
    Punctuation,
    /// Glissando, fall, flutter, cluster, tremolo as colour.
    Effect,
    /// Not playing.
    Tacet,
}

impl Role {
    /// All roles, in the order reports list them.
    pub const ALL: [Self; 10] = [
        Self::Melody,
        Self::Countermelody,
        Self::Bass,
        Self::Harmony,
        Self::Pedal,
        Self::Rhythm,
        Self::Figuration,
        Self::Punctuation,
        Self::Effect,
        Self::Tacet,
    ];

    /// Whether it is a line to be followed for itself.
    #[must_use]
    pub const fn is_tune(self) -> bool {
        matches!(self, Self::Melody | Self::Countermelody)
    }

    /// The word for it, lower case.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Melody => "melody",
            Self::Countermelody => "countermelody",
            Self::Bass => "bass",
            Self::Harmony => "harmony",
            Self::Pedal => "pedal",
            Self::Rhythm => "rhythm",
            Self::Figuration => "figuration",
            Self::Punctuation => "punctuation",
            Self::Effect => "effect",
            Self::Tacet => "tacet",
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
