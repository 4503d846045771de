//! The score: bars, parts, and what is in force where.

use std::fmt;

use crate::directions::Direction;
use crate::note::{Mark, Note, Rest};
use crate::pitch::Transposition;
use crate::players::PlayerCount;
use crate::time::Crotchets;

/// Position of a bar in the score, from 0, repeats not unrolled. The printed number is [`Bar::number`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
pub struct BarIndex(pub u32);

impl BarIndex {
    /// As an index into [`Score::bars`].
    #[must_use]
    pub const fn at(self) -> usize {
        self.0 as usize
    }
}

impl fmt::Display for BarIndex {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

/// A full score.
///
/// Invariants, kept by [`Score::finish`]: bars are in order and abut; each part's lists are sorted by bar and position;
/// every `bar`, `instrument` and mark index points at something; positions lie within the bar.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Score {
    /// Titles and names.
    pub about: About,
    /// All bars, shared by all parts.
    pub bars: Vec<Bar>,
    /// Parts from the top of the page down.
    pub parts: Vec<Part>,
    /// Brackets and braces over parts.
    pub brackets: Vec<Bracket>,
}

/// Titles and names, as the source gives them.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct About {
    /// Title of the work.
    pub work: String,
    /// Number of the work, such as an opus.
    pub work_number: String,
    /// Title of the movement or cue.
    pub movement: String,
    /// Number of the movement or cue.
    pub movement_number: String,
    /// People with their role: ("composer", name), ("arranger", name) ...
    pub creators: Vec<(String, String)>,
    /// Rights statement.
    pub rights: String,
    /// Whether the source was notated at sounding pitch (a concert score) rather than transposed.
    pub concert_pitch: bool,
}

impl About {
    /// "Work: Movement", whichever is given; empty when neither is.
    #[must_use]
    pub fn title(&self) -> String {
        match (self.work.is_empty(), self.movement.is_empty()) {
            (false, false) if self.work != self.movement => format!("{}: {}", self.work, self.movement),
            (true, _) => self.movement.clone(),
            _ => self.work.clone(),
        }
    }

    /// The first person with the role "composer".
    #[must_use]
    pub fn composer(&self) -> Option<&str> {
        self.creators.iter().find(|(role, _)| role == "composer").map(|(_, name)| name.as_str())
    }
}

/// A bracket or brace on the left of the system.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bracket {
    /// First part under it, index into [`Score::parts`].
    pub first: usize,
    /// Last part under it.
    pub last: usize,
    /// Name printed beside it.
    pub name: String,
    /// MusicXML group-symbol: "bracket", "brace", "line", "square" or "none".
    pub symbol: String,
}

/// One bar of the score.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    /// Printed number: "1", "12a", "0" for a pickup, "X1" for an uncounted one; may repeat or be empty.
    pub number: Box<str>,
    /// Start from the beginning of the score, repeats not unrolled.
    pub start: Crotchets,
    /// Actual length: what the parts fill, which a pickup or an irregular bar makes differ from the metre.
    pub length: Crotchets,
    /// A change of metre at this bar.
    pub metre: Option<Metre>,
    /// Not counted in the numbering (MusicXML implicit): a pickup, or the rest of a divided bar.
    pub uncounted: bool,
    /// A repeated section begins here.
    pub repeat_start: bool,
    /// A repeated section ends here, played this many times in all (2 is usual).
    pub repeat_end: Option<u8>,
    /// Numbers of the ending (volta) that begins here: `[1]`, `[1, 2]`, `[2]`.
    pub ending_start: Vec<u8>,
    /// An ending finishes with this bar.
    pub ending_stop: bool,
    /// Signs that send the player elsewhere, or are aimed at.
    pub jumps: Vec<Jump>,
    /// Printed style of the right barline by its MusicXML name; `None` for an ordinary one.
    pub barline: Option<Box<str>>,
}

impl Bar {
    /// An ordinary bar; `number` as printed.
    #[must_use]
    pub fn new(number: impl Into<Box<str>>, start: Crotchets, length: Crotchets) -> Self {
        Self {
            number: number.into(),
            start,
            length,
            metre: None,
            uncounted: false,
            repeat_start: false,
            repeat_end: None,
            ending_start: Vec::new(),
            ending_stop: false,
            jumps: Vec::new(),
            barline: None,
        }
    }
}

/// Navigation signs. Labels tell several signs of a kind apart and are usually empty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Jump {
    /// The sign itself, where "dal segno" leads; at the bar's start.
    Segno(Box<str>),
    /// The coda sign where the coda begins; at the bar's start.
    Coda(Box<str>),
    /// From the end of this bar on to the coda, on the pass after a jump back.
    ToCoda(Box<str>),
    /// Ends here on the pass after a jump back.
    Fine,
    /// From the end of this bar to the beginning.
    DaCapo,
    /// From the end of this bar back to the segno.
    DalSegno(Box<str>),
}

/// A time signature.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Metre {
    /// Beats in groups over a unit, possibly several signatures in a row: 4/4 is `[([4], 4)]`, 3+2/8 is `[([3, 2], 8)]`.
    Measured(Vec<(Vec<u16>, u16)>),
    /// No metre (senza misura).
    Free,
}

impl Metre {
    /// A plain signature such as 6/8.
    #[must_use]
    pub fn simple(beats: u16, unit: u16) -> Self {
        Self::Measured(vec![(vec![beats], unit)])
    }

    /// Length of a full bar; `None` for free time or an empty or zero signature.
    #[must_use]
    pub fn length(&self) -> Option<Crotchets> {
        let Self::Measured(terms) = self else { return None };
        let total = terms
            .iter()
            .map(|(beats, unit)| {
                let count: i64 = beats.iter().map(|&b| i64::from(b)).sum();
                Crotchets::new(count * 4, i64::from(*unit))
            })
            .sum::<Option<Crotchets>>()?;
        total.is_positive().then_some(total)
    }
}

impl fmt::Display for Metre {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self::Measured(terms) = self else { return f.write_str("free") };
        for (i, (beats, unit)) in terms.iter().enumerate() {
            let groups: Vec<String> = beats.iter().map(ToString::to_string).collect();
            write!(f, "{}{}/{unit}", if i > 0 { " + " } else { "" }, groups.join("+"))?;
        }
        Ok(())
    }
}

/// One part: what one line of the score's left margin names; one or more staves, one or more players.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Part {
    /// Identifier in the source, unique within the score.
    pub id: String,
    /// Name as printed at the first system, in plain text.
    pub name: String,
    /// Abbreviation as printed at later systems.
    pub abbreviation: String,
    /// The instruments the source declares, at least one once finished.
    pub instruments: Vec<PartInstrument>,
    /// Number of staves, at least 1.
    pub staves: u8,
    /// How many people play from this part; from the name and the catalogue.
    pub players: PlayerCount,
    /// Whether they are a body that plays as one (first violins, a choir's tenors) rather than single players who share a staff.
    pub is_body: bool,
    /// The catalogue's id for what this part plays at its start (`ripieno_instruments`), filled by the reader; empty if unknown.
    pub instrument_id: String,
    /// Notes, ordered by bar, position, then as the source reads; chord members follow their first note.
    pub notes: Vec<Note>,
    /// Rests, ordered likewise.
    pub rests: Vec<Rest>,
    /// Marks on notes: (index into `notes`, mark), ordered by note.
    pub marks: Vec<(u32, Mark)>,
    /// Directions, ordered by bar and position.
    pub directions: Vec<Direction>,
    /// Changes of clef, key, transposition, staff and instrument, ordered by bar and position.
    pub changes: Vec<Change>,
}

impl Part {
    /// The marks on note `index`.
    pub fn marks_of(&self, index: usize) -> impl Iterator<Item = &Mark> {
        let first = self.marks.partition_point(|(note, _)| (*note as usize) < index);
        self.marks[first..].iter().take_while(move |(note, _)| *note as usize == index).map(|(_, mark)| mark)
    }

    /// Notes of one bar.
    #[must_use]
    pub fn notes_in(&self, bar: BarIndex) -> &[Note] {
        let first = self.notes.partition_point(|note| note.bar < bar);
        let last = self.notes.partition_point(|note| note.bar <= bar);
        &self.notes[first..last]
    }
}

/// An instrument declared in a part (MusicXML score-instrument and its MIDI instrument).
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PartInstrument {
    /// Identifier in the source.
    pub id: String,
    /// Name.
    pub name: String,
    /// MusicXML standard sound id, such as "brass.french-horn".
    pub sound: String,
    /// General MIDI program, 1 to 128.
    pub program: Option<u8>,
    /// MIDI channel, 1 to 16; 10 is percussion.
    pub channel: Option<u8>,
    /// For percussion: the MIDI key of this instrument, 0 to 127.
    pub drum_key: Option<u8>,
    /// Whether it is an ensemble or one player (MusicXML solo/ensemble), where said; 0 players means a number not said.
    pub ensemble: Option<u16>,
}

/// A change that holds from a position on.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// The bar.
    pub bar: BarIndex,
    /// Position from the barline.
    pub at: Crotchets,
    /// The staff it concerns, 1-based; `None` for all staves of the part.
    pub staff: Option<u8>,
    /// What changes.
    pub kind: ChangeKind,
}

/// The kinds of [`Change`].
#[derive(Debug, Clone, PartialEq)]
pub enum ChangeKind {
    /// A clef.
    Clef(Clef),
    /// A key signature, as written in this part.
    Key(Key),
    /// From here the part transposes thus.
    Transposition(Transposition),
    /// From here the player holds this instrument, index into [`Part::instruments`].
    Instrument(u8),
    /// A metre of this part alone, where parts differ; otherwise metres stand in [`Bar::metre`].
    Metre(Metre),
    /// The staff has this many lines.
    StaffLines(u8),
    /// The staff shows an ossia, a cue or another alternative rather than what is played (`true`), or returns to playing.
    Alternative(bool),
}

/// A clef.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Clef {
    /// Shape.
    pub sign: ClefSign,
    /// Line it sits on, from the bottom.
    pub line: i8,
    /// Octaves by which its notes sound higher (8 below: -1); already in the notes' pitches.
    pub octaves: i8,
}

/// Shapes of clef.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[allow(missing_docs)]
pub enum ClefSign {
    G,
    F,
    C,
    Percussion,
    Tablature,
    None,
}

/// A key signature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Key {
    /// Sharps (positive) or flats (negative).
    pub fifths: i8,
    /// Major (`true`), minor (`false`), or not said.
    pub major: Option<bool>,
}
