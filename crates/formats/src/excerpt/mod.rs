//! Some bars and some parts of a score as a small score of its own.
//!
//! An excerpt is a whole score again: whoever opens it sees the clef, key, metre, transposition, tempo, dynamics and way of playing in
//! force when it begins, and no slur, hairpin, ottava, pedal or tie is left hanging. What such signs need is moved to the
//! first note that plays or to the edge of the excerpt. Notes stay as they are: [`Excerpt::origin`] leads from each back to the
//! note it was cut from. Repeats stay where the excerpt holds the whole of them, otherwise each bar stands once.
//!
//! Which parts matter is the caller's to say; nothing here judges music.

mod concert;
mod condense;
mod in_force;
mod level;
mod repeats;
mod select;
mod spans;
mod tempo;
mod ties;
mod words;

use std::fmt;

use ripieno_score::{Bar, BarIndex, Bracket, Crotchets, Direction, Note, Part, Score};

pub use condense::condense;
pub use select::{SelectError, bars_named, parts_named};

/// What to cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cut {
    /// First bar.
    pub first: BarIndex,
    /// Last bar, included.
    pub last: BarIndex,
    /// Which parts.
    pub parts: Parts,
    /// In which pitch.
    pub pitch: PitchShown,
}

impl Cut {
    /// Bars `first` to `last`, all parts, as written.
    #[must_use]
    pub const fn bars(first: BarIndex, last: BarIndex) -> Self {
        Self { first, last, parts: Parts::All, pitch: PitchShown::Written }
    }
}

/// The parts of an excerpt.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Parts {
    /// All, whether they play or not.
    All,
    /// Those that play at least one note in these bars.
    Sounding,
    /// These, indices into [`Score::parts`]; in score order, whatever the order given.
    These(Vec<usize>),
}

/// Written or sounding pitch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PitchShown {
    /// As in the score.
    Written,
    /// At concert pitch, but for instruments that transpose by whole octaves, which stay as they are (common practice).
    Concert,
}

/// An excerpt and where its notes come from.
#[derive(Debug, Clone, PartialEq)]
pub struct Excerpt {
    /// The excerpt as a score.
    pub score: Score,
    /// For each part of [`Self::score`] and each of its notes: part and note of the score it was cut from.
    pub origin: Vec<Vec<NoteOrigin>>,
    /// Notes, by part and note of [`Self::score`], that are held over from before the excerpt.
    pub held_over: Vec<(usize, u32)>,
}

/// A note of the score an excerpt was cut from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct NoteOrigin {
    /// Index into [`Score::parts`].
    pub part: usize,
    /// Index into [`Part::notes`].
    pub note: u32,
}

/// Why nothing could be cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CutError {
    /// The score has no such bars.
    NoSuchBars {
        /// First bar asked for, from 0.
        first: u32,
        /// Last bar asked for, from 0.
        last: u32,
        /// Bars the score has.
        bars: usize,
    },
    /// The score has no part of this index.
    NoSuchPart {
        /// Asked for, from 0.
        part: usize,
        /// Parts the score has.
        parts: usize,
    },
    /// No part is left: none was asked for, or none plays in these bars.
    NoParts,
}

impl fmt::Display for CutError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchBars { first, last, bars } if first > last => {
                write!(f, "the excerpt ends (bar {} of {bars}) before it begins (bar {})", last + 1, u64::from(*first) + 1)
            }
            Self::NoSuchBars { first, last, bars } => {
                write!(
                    f,
                    "the score has {bars} bars, counted from its beginning; there are no bars {} to {}",
                    u64::from(*first) + 1,
                    u64::from(*last) + 1
                )
            }
            Self::NoSuchPart { part, parts } => write!(f, "the score has {parts} parts; there is no part {}", part + 1),
            Self::NoParts => f.write_str("no part plays in these bars; ask for other bars, or for parts by name"),
        }
    }
}

impl std::error::Error for CutError {}

/// The bars of an excerpt within the score it is cut from.
#[derive(Debug, Clone, Copy)]
struct Window {
    first: BarIndex,
    last: BarIndex,
    /// Length of the last bar.
    last_length: Crotchets,
}

/// A place in the score: bar and position in it.
type Moment = (BarIndex, Crotchets);

impl Window {
    fn new(score: &Score, first: BarIndex, last: BarIndex) -> Result<Self, CutError> {
        match score.bars.get(last.at()) {
            Some(bar) if first <= last => Ok(Self { first, last, last_length: bar.length }),
            _ => Err(CutError::NoSuchBars { first: first.0, last: last.0, bars: score.bars.len() }),
        }
    }

    const fn holds(self, bar: BarIndex) -> bool {
        self.first.0 <= bar.0 && bar.0 <= self.last.0
    }

    const fn start(self) -> Moment {
        (self.first, Crotchets::ZERO)
    }

    const fn end(self) -> Moment {
        (self.last, self.last_length)
    }

    /// The bar's place in the excerpt.
    const fn within(self, bar: BarIndex) -> BarIndex {
        BarIndex(bar.0.saturating_sub(self.first.0))
    }
}

/// Cuts an excerpt out of a score. Reads the score as [`Score::finish`] leaves it, and leaves the excerpt the same way.
///
/// # Errors
/// When the score has no such bars or parts, or no part plays.
pub fn cut(score: &Score, cut: &Cut) -> Result<Excerpt, CutError> {
    piece(score, cut, true)
}

/// The same as pages of the whole that go on where others ended: clef, key and transposition are there, but what the reader knows from the pages
/// before (dynamic, tempo, way of playing) is not said again. Repeats, endings and jumps stand as they do in the whole, wherever their other ends are.
///
/// # Errors
/// As [`cut`].
pub fn cut_pages(score: &Score, cut: &Cut) -> Result<Excerpt, CutError> {
    piece(score, cut, false)
}

fn piece(score: &Score, cut: &Cut, says_what_holds: bool) -> Result<Excerpt, CutError> {
    let window = Window::new(score, cut.first, cut.last)?;
    let chosen = chosen_parts(score, window, &cut.parts)?;
    let (bars, dropped_jumps) = if says_what_holds {
        repeats::bars(score, window)
    } else {
        (repeats::bars_of_pages(score, window), repeats::Dropped::none())
    };
    let mut excerpt = Excerpt {
        score: Score {
            about: score.about.clone(),
            bars,
            parts: Vec::with_capacity(chosen.len()),
            brackets: brackets(score, &chosen),
        },
        origin: Vec::with_capacity(chosen.len()),
        held_over: Vec::new(),
    };
    for (place, &index) in chosen.iter().enumerate() {
        let mut piece = cut_part(score, index, window, &dropped_jumps, says_what_holds);
        excerpt.held_over.extend(ties::cut(score, &mut piece.part, window).into_iter().map(|note| (place, note)));
        if place == 0 {
            tempo::lead(score, window, &chosen, &mut piece.part, says_what_holds);
        }
        let notes = (0u32..).take(piece.part.notes.len());
        excerpt.origin.push(notes.map(|note| NoteOrigin { part: index, note: piece.first_note + note }).collect());
        excerpt.score.parts.push(piece.part);
    }
    if cut.pitch == PitchShown::Concert {
        concert::sound(&mut excerpt.score, concert::Octaves::Stay);
    }
    excerpt.score.finish();
    Ok(excerpt)
}

fn chosen_parts(score: &Score, window: Window, parts: &Parts) -> Result<Vec<usize>, CutError> {
    let plays = |part: &Part| part.notes[notes_in(part, window)].iter().any(Note::plays);
    let mut chosen: Vec<usize> = match parts {
        Parts::All => (0..score.parts.len()).collect(),
        Parts::Sounding => (0..score.parts.len()).filter(|&index| plays(&score.parts[index])).collect(),
        Parts::These(parts) => parts.clone(),
    };
    chosen.sort_unstable();
    chosen.dedup();
    match chosen.iter().find(|&&part| part >= score.parts.len()) {
        Some(&part) => Err(CutError::NoSuchPart { part, parts: score.parts.len() }),
        None if chosen.is_empty() => Err(CutError::NoParts),
        None => Ok(chosen),
    }
}

fn notes_in(part: &Part, window: Window) -> std::ops::Range<usize> {
    part.notes.partition_point(|note| note.bar < window.first)..part.notes.partition_point(|note| note.bar <= window.last)
}

/// Brackets over what is left of the parts they held together.
fn brackets(score: &Score, chosen: &[usize]) -> Vec<Bracket> {
    let left = |bracket: &Bracket| {
        let first = chosen.partition_point(|&part| part < bracket.first);
        let end = chosen.partition_point(|&part| part <= bracket.last);
        (first < end).then(|| Bracket { first, last: end - 1, ..bracket.clone() })
    };
    // A brace or an inner bracket over a single part would say nothing.
    score.brackets.iter().filter_map(left).filter(|bracket| bracket.first < bracket.last).collect()
}

/// A part cut out, and the index its first note had.
struct Piece {
    part: Part,
    first_note: u32,
}

fn cut_part(score: &Score, index: usize, window: Window, dropped_jumps: &repeats::Dropped, says_what_holds: bool) -> Piece {
    let whole = &score.parts[index];
    let range = notes_in(whole, window);
    let first_note = u32::try_from(range.start).unwrap_or(u32::MAX);
    let mut part = Part {
        notes: whole.notes[range.clone()].iter().map(|note| Note { bar: window.within(note.bar), ..note.clone() }).collect(),
        rests: whole.rests.iter().filter(|rest| window.holds(rest.bar)).cloned().collect(),
        marks: spans::marks(whole, range),
        changes: in_force::changes(score, whole, window),
        ..bare(whole)
    };
    part.rests.iter_mut().for_each(|rest| rest.bar = window.within(rest.bar));
    let mut directions = Vec::new();
    if says_what_holds {
        directions = level::carried(score, whole, &part, window);
        directions.extend(words::carried(whole, &part, window));
    }
    directions.extend(spans::directions(whole, window));
    directions.retain(|direction| !dropped_jumps.says(direction));
    directions.sort_by_key(|direction| (direction.bar, direction.at));
    part.directions = directions;
    Piece { part, first_note }
}

/// The part without what stands in its bars.
fn bare(part: &Part) -> Part {
    Part {
        id: part.id.clone(),
        name: part.name.clone(),
        abbreviation: part.abbreviation.clone(),
        instruments: part.instruments.clone(),
        staves: part.staves,
        players: part.players,
        is_body: part.is_body,
        instrument_id: part.instrument_id.clone(),
        ..Part::default()
    }
}

/// The first note that plays on a staff of a part already cut.
fn first_played(part: &Part, staff: u8) -> Option<&Note> {
    part.notes.iter().find(|note| note.staff == staff && note.plays())
}

/// Where a direction stands.
const fn moment(direction: &Direction) -> Moment {
    (direction.bar, direction.at)
}

/// A bar that is given a number where the page prints none, so that it keeps its place in the counting.
fn numbered(bar: &Bar, index: usize) -> Bar {
    let number = if bar.number.is_empty() { (index + 1).to_string().into_boxed_str() } else { bar.number.clone() };
    Bar { number, ..bar.clone() }
}
