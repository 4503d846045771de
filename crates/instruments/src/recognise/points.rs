//! What each clue is worth for an instrument.
//!
//! | clue | points |
//! |---|---|
//! | quality of the name, 0 to 1 | times 10 |
//! | rank in `ambiguous.csv` | -0.6 a place |
//! | how common the instrument is | +0.05 a degree (0 to 9) |
//! | the standard sound is its own, of a kin, of a stranger | +3, +1.5, -0.7 |
//! | MIDI program is its own or not (program 1 is what files have when nobody chose) | +0.8, -0.2 |
//! | MIDI percussion channel | +1 for percussion, -1 for others |
//! | clef the commonest, usual or neither | +0.5, +0.25, -0.5 |
//! | notes within the outer compass | +0.5; outside -0.25 a semitone, at most -3 |
//! | transposition offered or not | +1, -1 |
//! | printed key offered or not | +0.6, -0.8 |
//! | plural name after a number of players | +0.3 |
//! | language of the score's other names | +0.8 |
//! | family of the parts above and below | +0.7 each |

use super::{Clues, Interval};
use crate::catalogue::{Instrument, Language, Transposition, catalogue};
use crate::family::Family;
use crate::key::KeyName;

/// What the rest of the score adds.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Context {
    pub language: Option<Language>,
    /// Families of the parts above and below.
    pub above: Option<Family>,
    pub below: Option<Family>,
    /// Whether a bare "B" is B flat, where other names of the score settle it.
    pub bare_b_is_flat: Option<bool>,
}

/// Whether two instruments are the same, one a kind of the other, or kinds of one.
pub(crate) fn kin(a: &Instrument, b: &Instrument) -> bool {
    a.is_kind_of(&b.id) || b.is_kind_of(&a.id) || (a.kind_of.is_some() && a.kind_of == b.kind_of)
}

pub(crate) fn offers(instrument: &Instrument, interval: Interval) -> Option<&Transposition> {
    instrument
        .transpositions
        .iter()
        .find(|t| i16::from(t.semitones) == interval.semitones() && i16::from(t.steps) == interval.steps())
}

pub(crate) fn offers_key(instrument: &Instrument, name: KeyName) -> bool {
    instrument.transpositions.iter().any(|t| t.key == name)
}

/// Points of the clues other than the name.
pub(crate) fn clue_points(item: &Instrument, clues: &Clues<'_>, context: &Context) -> f32 {
    let mut points = f32::from(item.weight) * 0.05;
    let catalogue = catalogue();
    if !clues.sound_id.is_empty() {
        let sounding = catalogue.by_sound(clues.sound_id);
        points += if item.sounds.iter().any(|s| s == clues.sound_id) {
            3.0
        } else if sounding.iter().any(|other| kin(item, other)) {
            1.5
        } else if sounding.is_empty() {
            0.0
        } else {
            -0.7
        };
    }
    if let Some(program) = clues.midi_program.filter(|p| *p != 1) {
        points += if item.program == Some(program) { 0.8 } else { -0.2 };
    }
    if clues.midi_channel10 {
        points += if item.family == Family::Percussion { 1.0 } else { -1.0 };
    }
    if let Some(clef) = clues.clef.filter(|_| !item.clefs.is_empty()) {
        points += match item.clefs.iter().position(|usual| *usual == clef) {
            Some(0) => 0.5,
            Some(_) => 0.25,
            None => -0.5,
        };
    }
    if let Some(interval) = clues.transposition.filter(|i| i.semitones() != 0 || i.steps() != 0) {
        points += if offers(item, interval).is_some() { 1.0 } else { -1.0 };
    }
    points += compass_points(item, clues);
    for family in [context.above, context.below].into_iter().flatten() {
        if family == item.family {
            points += 0.7;
        }
    }
    points
}

/// Semitones by which the part leaves the outer compass of an instrument; `None` when either is unknown.
pub(crate) fn semitones_outside(item: &Instrument, clues: &Clues<'_>) -> Option<u8> {
    let played = clues.written_range?;
    let transposition = match clues.transposition {
        Some(interval) => offers(item, interval)?,
        None => item.default_transposition(),
    };
    let compass = item.written(transposition)?.extreme;
    let below = compass.low().saturating_sub(played.low());
    let above = played.high().saturating_sub(compass.high());
    Some(below.saturating_add(above))
}

pub(crate) fn compass_points(item: &Instrument, clues: &Clues<'_>) -> f32 {
    match semitones_outside(item, clues) {
        None => 0.0,
        Some(0) => 0.5,
        Some(outside) => -(f32::from(outside) * 0.25).min(3.0),
    }
}
