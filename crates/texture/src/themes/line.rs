//! The lines in which themes are looked for.

use ripieno_score::{Crotchets, Sounding};

/// A note of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ThemeNote {
    /// When it begins, from the start of the piece.
    pub onset: Crotchets,
    /// When it ends.
    pub end: Crotchets,
    /// MIDI key number.
    pub key: u8,
    /// Steps above C0 on the staff, whatever the alteration.
    pub place: i32,
}

/// One melodic line: a voice, a part's top notes, or the melody as it passes from part to part.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ThemeLine {
    /// The part, index into the score's parts; of a line that changes hands, [`ThemeLine::parts`] tells the others.
    pub part: usize,
    /// Notes by onset, one at a time.
    pub notes: Vec<ThemeNote>,
    /// Carrier of each note where it is not `part` throughout; else empty.
    pub parts: Vec<usize>,
}

impl ThemeLine {
    /// Who plays note `index`.
    #[must_use]
    pub fn carrier(&self, index: usize) -> usize {
        self.parts.get(index).copied().unwrap_or(self.part)
    }
}

/// The highest note of each part at each of its onsets; grace notes and notes without pitch are left out.
#[must_use]
pub fn top_lines(sounding: &Sounding) -> Vec<ThemeLine> {
    let notes = &sounding.notes;
    let lines = notes.of_part.iter().enumerate().map(|(part, rows)| {
        let mut line = ThemeLine { part, ..ThemeLine::default() };
        for row in rows.clone() {
            let Some(key) = notes.key[row].map(ripieno_score::MidiKey::number) else { continue };
            if !notes.duration[row].is_positive() {
                continue;
            }
            let onset = notes.onset[row];
            let note = ThemeNote { onset, end: onset + notes.duration[row], key, place: notes.pitch[row].staff_position() };
            match line.notes.last_mut().filter(|last| last.onset == onset) {
                Some(last) if key > last.key => *last = note,
                Some(_) => {}
                None => line.notes.push(note),
            }
        }
        line
    });
    lines.filter(|line| !line.notes.is_empty()).collect()
}
