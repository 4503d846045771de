//! Notes and rests as they stand on the page.

use bitflags::bitflags;

use crate::articulations::Articulations;
use crate::pitch::Pitch;
use crate::score::BarIndex;
use crate::time::Crotchets;

/// A written note value: a crotchet, a dotted minim, a semiquaver ...
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct NoteValue {
    /// Power of two of the semibreve: semibreve 0, minim 1, crotchet 2, quaver 3 ... 1024th 10; breve -1, longa -2, maxima -3.
    pub halvings: i8,
    /// Augmentation dots.
    pub dots: u8,
}

impl NoteValue {
    /// A crotchet without dot.
    pub const CROTCHET: Self = Self { halvings: 2, dots: 0 };

    /// Its length outside any tuplet.
    #[must_use]
    pub fn length(self) -> Crotchets {
        let base = self.halvings.clamp(-3, 10);
        let dots = u32::from(self.dots.min(8));
        // With n dots the value is (2^(n+1) - 1) / 2^n of the undotted one.
        let (numerator, denominator) = ((1i64 << (dots + 1)) - 1, 1i64 << dots);
        let (whole, part) = if base <= 2 { (1i64 << (2 - base), 1) } else { (1, 1i64 << (base - 2)) };
        Crotchets::new(numerator * whole, denominator * part).unwrap_or_default()
    }

    /// The value, with at most `most_dots` dots, that lasts exactly `length`; `None` when there is none (a tie or a tuplet is needed).
    #[must_use]
    pub fn of_length(length: Crotchets, most_dots: u8) -> Option<Self> {
        (-3..=10)
            .flat_map(|halvings| (0..=most_dots).map(move |dots| Self { halvings, dots }))
            .find(|value| value.length() == length)
    }
}

/// `actual` notes in the time of `normal`: a triplet is 3 in the time of 2.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct TupletRatio {
    /// How many are played; at least 1.
    pub actual: u16,
    /// In the time of how many; at least 1.
    pub normal: u16,
}

impl TupletRatio {
    /// Whether notes and rests that last `length` in all (crotchets), the shortest of them written `unit` long, fill tuplets of this ratio whole: as many units as it stands for, or a
    /// multiple, none among them. `false` where `unit` is not positive.
    #[must_use]
    pub fn is_filled(self, length: Crotchets, unit: Crotchets) -> bool {
        length.modulo(unit * Crotchets::whole(i64::from(self.normal))).is_some_and(Crotchets::is_zero)
    }
}

bitflags! {
    /// Yes-or-no facts about a written note.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
    pub struct NoteFlags: u32 {
        /// Shares the stem of the note before it in the part's list.
        const CHORD = 1;
        /// A tie leads on to the next note of this pitch.
        const TIE_START = 1 << 1;
        /// A tie arrives here.
        const TIE_STOP = 1 << 2;
        /// A grace note: no time of its own.
        const GRACE = 1 << 3;
        /// A grace note with a stroke through the stem.
        const SLASHED = 1 << 4;
        /// Cue-size: shown for orientation, not played.
        const CUE = 1 << 5;
        /// Not printed: help for playback or layout, never counted as playing.
        const HIDDEN = 1 << 6;
        /// On an ossia or other alternative staff: not counted as playing.
        const OSSIA = 1 << 7;
        /// The tie rings on with nothing to arrive at (laissez vibrer).
        const LET_RING = 1 << 8;
        /// Written out by the reader from a repeat sign for beats or bars, or from slashes; see the findings.
        const FILLED_IN = 1 << 9;
        /// A rhythm slash: the player plays something, but not the pitch written.
        const SLASH = 1 << 10;
        /// A harmonic whose sounding pitch is given by `Mark::SoundingPitch`, or none is known.
        const HARMONIC = 1 << 11;
        /// The first of a two-note tremolo.
        const TREMOLO_START = 1 << 12;
        /// The second of a two-note tremolo.
        const TREMOLO_STOP = 1 << 13;
        /// Shows where to touch the string for the harmonic of the note below: printed, not heard by itself.
        const TOUCHED = 1 << 14;
    }
}

/// What the notehead stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Head {
    /// A written pitch, before transposition.
    Pitched(Pitch),
    /// Percussion without pitch (or a clap, a stamp): only a place on the staff.
    Unpitched(Pitch),
}

/// Beams to the left and right of a stem, level by level (quaver beam first), packed three bits a level.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Beams(u32);

/// One level of a [`Beams`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[allow(missing_docs)]
pub enum Beam {
    Begin,
    Continue,
    End,
    ForwardHook,
    BackwardHook,
}

impl Beams {
    /// Deepest level kept: 1 is the quaver beam.
    pub const LEVELS: u8 = 8;

    /// Sets level `level` (1 to [`Self::LEVELS`]); other levels are ignored.
    pub fn set(&mut self, level: u8, beam: Beam) {
        if (1..=Self::LEVELS).contains(&level) {
            let shift = u32::from(level - 1) * 3;
            self.0 = (self.0 & !(7 << shift)) | ((beam as u32 + 1) << shift);
        }
    }

    /// What level `level` does, if anything.
    #[must_use]
    pub fn get(self, level: u8) -> Option<Beam> {
        if !(1..=Self::LEVELS).contains(&level) {
            return None;
        }
        Some(match (self.0 >> (u32::from(level - 1) * 3)) & 7 {
            1 => Beam::Begin,
            2 => Beam::Continue,
            3 => Beam::End,
            4 => Beam::ForwardHook,
            5 => Beam::BackwardHook,
            _ => return None,
        })
    }

    /// Whether there is no beam at all.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }
}

/// Direction of a stem as printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[allow(missing_docs)]
pub enum Stem {
    #[default]
    Unset,
    Up,
    Down,
    None,
    Double,
}

/// One written notehead. Notes of a part are ordered by bar, then as the page reads: position in the bar, voice, chord.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    /// The bar it stands in.
    pub bar: BarIndex,
    /// Position from the barline.
    pub at: Crotchets,
    /// Length as written, ties not joined; zero for grace notes.
    pub duration: Crotchets,
    /// Pitch as written, or place on the staff for percussion.
    pub head: Head,
    /// Printed shape, where the source gives one or it follows from the length.
    pub value: Option<NoteValue>,
    /// The tuplet it belongs to (the product of nested ones).
    pub tuplet: Option<TupletRatio>,
    /// Voice within the part, 1-based.
    pub voice: u16,
    /// Staff within the part, 1-based.
    pub staff: u8,
    /// Which of the part's instruments, 0-based index into [`crate::Part::instruments`].
    pub instrument: u8,
    /// MIDI velocity, 1 to 127, of a note that was played or sequenced; 0 where the source gives none.
    pub velocity: u8,
    /// Strokes of a tremolo (1 quaver ... 5); 0 for none; with TREMOLO_START or _STOP between two notes; `u8::MAX` unmeasured.
    pub tremolo: u8,
    /// Facts.
    pub flags: NoteFlags,
    /// Signs.
    pub articulations: Articulations,
    /// Beams.
    pub beams: Beams,
    /// Stem direction as printed.
    pub stem: Stem,
}

impl Default for Note {
    /// Middle C without length at the start of the first bar, in voice 1 on staff 1: a start for building notes.
    fn default() -> Self {
        Self {
            bar: BarIndex(0),
            at: Crotchets::ZERO,
            duration: Crotchets::ZERO,
            head: Head::Pitched(Pitch::new(crate::pitch::Step::C, 0, 4)),
            value: None,
            tuplet: None,
            voice: 1,
            staff: 1,
            instrument: 0,
            velocity: 0,
            tremolo: 0,
            flags: NoteFlags::empty(),
            articulations: Articulations::empty(),
            beams: Beams::default(),
            stem: Stem::Unset,
        }
    }
}

impl Note {
    /// The written pitch of a pitched note.
    #[must_use]
    pub const fn pitch(&self) -> Option<Pitch> {
        match self.head {
            Head::Pitched(pitch) => Some(pitch),
            Head::Unpitched(_) => None,
        }
    }

    /// Whether somebody plays this note: not cue-size, hidden, on an ossia staff or merely touched.
    #[must_use]
    pub const fn plays(&self) -> bool {
        !self.flags.intersects(NoteFlags::CUE.union(NoteFlags::HIDDEN).union(NoteFlags::OSSIA).union(NoteFlags::TOUCHED))
    }
}

/// A written rest.
#[derive(Debug, Clone, PartialEq)]
pub struct Rest {
    /// The bar it stands in.
    pub bar: BarIndex,
    /// Position from the barline.
    pub at: Crotchets,
    /// Length.
    pub duration: Crotchets,
    /// Printed shape; `None` for a rest that fills its bar.
    pub value: Option<NoteValue>,
    /// The tuplet it belongs to.
    pub tuplet: Option<TupletRatio>,
    /// Voice within the part, 1-based.
    pub voice: u16,
    /// Staff within the part, 1-based.
    pub staff: u8,
    /// Whether it fills its bar, whatever the metre (a centred bar rest).
    pub whole_bar: bool,
    /// Not printed.
    pub hidden: bool,
    /// Cue-size.
    pub cue: bool,
    /// Carries a fermata.
    pub fermata: bool,
}

impl Default for Rest {
    /// A rest without length at the start of the first bar, in voice 1 on staff 1: a start for building rests.
    fn default() -> Self {
        Self {
            bar: BarIndex(0),
            at: Crotchets::ZERO,
            duration: Crotchets::ZERO,
            value: None,
            tuplet: None,
            voice: 1,
            staff: 1,
            whole_bar: false,
            hidden: false,
            cue: false,
            fermata: false,
        }
    }
}

/// Whether a spanning sign begins, goes on or ends here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[allow(missing_docs)]
pub enum Edge {
    Start,
    Continue,
    Stop,
}

/// A sign on a note that is rare or carries more than one bit.
///
/// `number` pairs the start and the stop of a spanning sign within the part.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)] // the fields of each variant are explained by the variant
pub enum Mark {
    /// A slur; `number` pairs start and stop within the part.
    Slur { edge: Edge, number: u8 },
    /// A glissando (wavy) or slide (straight) line to another note; the text printed on it, often "gliss.".
    Glissando { edge: Edge, number: u8, straight: bool, text: Box<str> },
    /// The bracket or number of a tuplet.
    Tuplet { edge: Edge, number: u8, bracket: bool },
    /// The wavy line of a long trill.
    TrillLine { edge: Edge, number: u8 },
    /// The pitch a harmonic sounds at, as written (before transposition).
    SoundingPitch(Pitch),
    /// A mute by name on the note ("harmon", "straight", "off" ...), as MusicXML `<mute>` or a technique gives it.
    Technique(Box<str>),
    /// A fingering, position or string indication.
    Fingering(Box<str>),
    /// Sung text.
    Lyric { verse: u8, text: Box<str>, hyphen: bool },
    /// A notehead of another shape (x, diamond, slash ...), by its MusicXML name.
    Notehead(Box<str>),
    /// A sign with no field of its own, by its MusicXML name.
    Other(Box<str>),
    /// A dynamic attached to the note itself.
    Dynamic(crate::directions::DynamicMark),
}

#[cfg(test)]
mod tests {
    use super::{Crotchets, NoteValue, TupletRatio};

    /// A triplet of quavers lasts a crotchet, a crotchet and a quaver fill it too; two of its quavers do not (any primer on notation).
    #[test]
    fn a_triplet_is_filled_by_what_makes_three() {
        let triplet = TupletRatio { actual: 3, normal: 2 };
        let quaver = NoteValue { halvings: 3, dots: 0 }.length();
        assert!(triplet.is_filled(Crotchets::ONE, quaver) && triplet.is_filled(Crotchets::whole(2), quaver));
        assert!(!triplet.is_filled(Crotchets::new(2, 3).unwrap_or_default(), quaver));
        assert!(
            !triplet.is_filled(Crotchets::ONE, NoteValue::CROTCHET.length())
                && !triplet.is_filled(Crotchets::ONE, Crotchets::ZERO)
        );
    }
}
