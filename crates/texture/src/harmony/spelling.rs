//! Which letter a pitch class goes by: as the players read it, else as the key has it.

use ripieno_score::{MidiKey, Sounding};

use super::chord::{Mode, NoteName, Quality};

/// Notes on black keys that must be seen before their spelling is called a keyboard's habit.
const ENOUGH: usize = 12;

/// Whether the spelling of notes says anything: not when every black key goes by the one name keyboards give it.
pub(super) fn is_known(sounding: &Sounding) -> bool {
    let notes = &sounding.notes;
    let mut black = 0;
    for (key, &pitch) in notes.key.iter().zip(&notes.pitch) {
        let Some(key) = *key else { continue };
        let habit = MidiKey::pitch(key);
        if (habit.step, habit.alter) != (pitch.step, pitch.alter) {
            return true;
        }
        black += usize::from(habit.alter != 0);
    }
    black < ENOUGH
}

/// Counts of spellings of each pitch class, by place in the line of fifths.
#[derive(Debug, Clone, Default)]
pub(super) struct Votes(std::collections::BTreeMap<i32, f64>);

impl Votes {
    pub fn add(&mut self, name: NoteName, weight: f64) {
        *self.0.entry(name.fifths()).or_default() += weight;
    }

    pub fn join(&mut self, other: &Self) {
        for (&fifths, &weight) in &other.0 {
            *self.0.entry(fifths).or_default() += weight;
        }
    }

    /// The usual name of a pitch class, if any was heard.
    pub fn name(&self, class: usize) -> Option<NoteName> {
        let mine = self.0.iter().map(|(&fifths, &weight)| (NoteName::at_fifths(fifths), weight));
        mine.filter(|(name, _)| usize::from(name.class()) == class).max_by(|a, b| a.1.total_cmp(&b.1)).map(|(name, _)| name)
    }
}

/// The usual name of a tonic: keys of at most six signs, F sharp major and E flat minor among the equals.
pub(super) fn tonic(class: usize, mode: Mode) -> NoteName {
    const MAJOR: [i32; 12] = [0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5];
    const MINOR: [i32; 12] = [0, 7, 2, -3, 4, -1, 6, 1, 8, 3, -2, 5];
    NoteName::at_fifths(if mode == Mode::Major { MAJOR[class % 12] } else { MINOR[class % 12] })
}

/// The name of a root in a key: lowered degrees as flats, leading tones of diminished chords as sharps.
pub(super) fn root(class: usize, quality: Quality, tonic: NoteName) -> NoteName {
    const PLAIN: [i32; 12] = [0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5];
    const LEADING: [i32; 12] = [0, 7, 2, 9, 4, -1, 6, 1, 8, 3, -2, 5];
    let from_tonic = (class + 12 - usize::from(tonic.class())) % 12;
    let diminished = matches!(quality, Quality::Diminished | Quality::DiminishedSeventh | Quality::HalfDiminishedSeventh);
    NoteName::at_fifths(tonic.fifths() + if diminished { LEADING[from_tonic] } else { PLAIN[from_tonic] })
}
