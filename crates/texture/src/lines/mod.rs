//! Lines: the notes that one voice, one player or one desk plays.
//!
//! A staff of a part may carry one line, two players written as chords or as two voices, or a section that divides. Within a
//! staff the lines are numbered from above and keep their number through the piece, whichever way the page writes them: the
//! first horn is the upper note of a chord and the first voice of a bar in two voices. A single note on a shared staff goes to the
//! upper line unless it stands in the lower voice. Instruments that play chords by themselves (harp, keyboards) keep each voice whole.
//!
//! Order of voices by height on a shared staff is common practice of engraving. Who of two players takes a single note is a
//! matter of marks, and is told by [`ripieno_score::Notes::players`].

mod separate;

use std::ops::Range;

use ripieno_score::{Crotchets, Score, Sounding};

/// How a line was told apart from the others on its staff.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Told {
    /// It is alone on its staff.
    Alone,
    /// By written voices.
    Voices,
    /// By its place in chords.
    Chords,
    /// In some bars by voices, in others by chords.
    VoicesAndChords,
    /// One voice of an instrument that plays chords by itself, chords kept whole.
    Chordal,
}

/// Notes that begin together in one line; grace notes are left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Attack {
    /// When, from the start of the piece.
    pub onset: Crotchets,
    /// When the longest of them ends.
    pub end: Crotchets,
    /// Bar in which they begin, index into [`Sounding::bars`].
    pub bar: u32,
    /// Highest key (MIDI number); `None` without pitch.
    pub top: Option<u8>,
    /// Lowest key.
    pub bottom: Option<u8>,
    /// First of them, index into [`Line::rows`]; grace notes that lead to it may stand just before.
    pub first: u32,
    /// How many notes, at least 1.
    pub notes: u32,
}

/// One line.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// The part, index into [`Score::parts`].
    pub part: usize,
    /// Staff within the part, from 1.
    pub staff: u8,
    /// Place on the staff from above, from 1.
    pub place: u16,
    /// How it was told apart.
    pub told: Told,
    /// Rows of [`Sounding::notes`], by onset.
    pub rows: Vec<u32>,
    /// The attacks, by onset.
    pub attacks: Vec<Attack>,
}

impl Line {
    /// Attacks that begin in `[from, to)`, index range into [`Line::attacks`].
    #[must_use]
    pub fn attacks_in(&self, from: Crotchets, to: Crotchets) -> Range<usize> {
        let first = self.attacks.partition_point(|attack| attack.onset < from);
        let end = first + self.attacks[first..].partition_point(|attack| attack.onset < to);
        first..end
    }
}

/// All lines of a score.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Lines {
    /// The lines, by part, staff and place; each plays at least one note.
    pub lines: Vec<Line>,
    /// For each row of [`Sounding::notes`] its line, index into `lines`.
    pub of_row: Vec<u32>,
    /// Lines of each part.
    pub of_part: Vec<Range<usize>>,
}

impl Lines {
    /// Tells the lines of `sounding` apart; `score` is what it was made from. Cost grows with the number of notes.
    #[must_use]
    pub fn new(score: &Score, sounding: &Sounding) -> Self {
        separate::separate(score, sounding)
    }
}
