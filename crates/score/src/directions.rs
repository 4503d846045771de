//! What stands above and below the staves: dynamics, hairpins, tempo, words, rehearsal marks, pedals.

use crate::note::{Edge, NoteValue};
use crate::score::BarIndex;
use crate::time::Crotchets;

/// A dynamic as printed.
///
/// `Level` is a loudness that stays in force; `Attack` (sf, fz, rf ...) stresses one note; `AttackThen` (fp, sfp) does
/// both. Other printed dynamics ("mezza voce") come as [`DirectionKind::Words`].
#[derive(Debug, Clone, PartialEq)]
pub enum DynamicMark {
    /// A lasting level on the scale of [`DynamicLevel`].
    Level(DynamicLevel),
    /// A stress on one note: "sf", "sfz", "fz", "rf", "rfz", "sffz".
    Attack(Box<str>),
    /// A stress and the level after it: "fp", "sfp", "sfpp", "pf", "sfzp".
    AttackThen(Box<str>, DynamicLevel),
    /// Something else printed as a dynamic, kept as text.
    Other(Box<str>),
}

/// Loudness in steps of printed dynamics: ppp 1, pp 2, p 3, mp 4, mf 5, f 6, ff 7, fff 8; quieter and louder go on
/// (pppp 0, ffff 9), fractions lie inside hairpins. A scale of order, not of decibels: those are for `acoustics`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct DynamicLevel(pub f32);

impl DynamicLevel {
    /// The level assumed before the first mark, where a number cannot be left out (sound): mezzo-forte.
    pub const MEZZO_FORTE: Self = Self(5.0);

    /// Reads "ppp" ... "ffff", "mp", "mf"; `None` for anything else.
    #[must_use]
    pub fn from_mark(mark: &str) -> Option<Self> {
        let count = |letter: u8| {
            let all = !mark.is_empty() && mark.len() <= 6 && mark.bytes().all(|byte| byte == letter);
            all.then(|| f32::from(u8::try_from(mark.len()).unwrap_or(6)))
        };
        match mark {
            "mp" => Some(Self(4.0)),
            "mf" => Some(Self(5.0)),
            _ => count(b'p').map(|n| Self(4.0 - n)).or_else(|| count(b'f').map(|n| Self(5.0 + n))),
        }
    }

    /// The printed mark nearest to this level.
    #[must_use]
    pub fn mark(self) -> &'static str {
        const MARKS: [&str; 14] =
            ["pppppp", "ppppp", "pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff", "fffff", "ffffff"];
        let index = (self.0.round() + 2.0).clamp(0.0, 13.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped to the table just above
        let index = index as usize;
        MARKS[index]
    }
}

/// Which way a hairpin goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[allow(missing_docs)]
pub enum Swell {
    Crescendo,
    Diminuendo,
}

/// One sign or text outside the notes.
#[derive(Debug, Clone, PartialEq)]
pub struct Direction {
    /// The bar it stands in.
    pub bar: BarIndex,
    /// Position from the barline (MusicXML `<offset>` applied).
    pub at: Crotchets,
    /// Staff within the part, 1-based.
    pub staff: u8,
    /// The voice it is meant for, where the source says so.
    pub voice: Option<u16>,
    /// Whether it stands above the staff; `None` when not said.
    pub above: Option<bool>,
    /// What it says.
    pub kind: DirectionKind,
}

/// The kinds of [`Direction`]; `number` pairs start and stop within the part.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)] // the fields of each variant are explained by the variant
pub enum DirectionKind {
    /// A dynamic mark.
    Dynamic(DynamicMark),
    /// A hairpin opens; with `dashes` drawn as the dashes of "cresc. - - -", whose word stands before it.
    HairpinStart { swell: Swell, number: u8, niente: bool, dashes: bool },
    /// The hairpin, or the row of dashes, of this number closes.
    HairpinStop { number: u8, niente: bool, dashes: bool },
    /// Words: technique, expression, player indications ("a 2", "pizz.", "con sord.", "dolce").
    Words(Box<str>),
    /// A metronome mark: `per_minute` of `beat`; the printed text when it is not just a number ("ca. 120").
    Metronome { beat: NoteValue, per_minute: f64, text: Option<Box<str>> },
    /// Playback tempo without a printed metronome mark, in crotchets a minute.
    PlaybackTempo { crotchets_per_minute: f64 },
    /// A rehearsal letter or number.
    Rehearsal(Box<str>),
    /// 8va and the like: the notes stand `octaves` lower than they sound (negative: higher), already
    /// resolved in [`crate::Note::head`], which always holds the pitch meant, as MusicXML does.
    OctaveShift { edge: Edge, octaves: i8, number: u8 },
    /// Sustaining pedal.
    Pedal(Edge),
    /// Harp pedals or another diagram, as text.
    HarpPedals(Box<str>),
    /// A chord symbol or figured bass, as text.
    ChordSymbol(Box<str>),
    /// A sign with no field of its own, by name.
    Other(Box<str>),
}
