//! Ties cut at the edges of an excerpt.

use ripieno_score::{NoteFlags, Part, Score};

use super::Window;

/// Ends ties that come from before the excerpt and lets those ring on that lead beyond it. Answers the notes held over from
/// before. A tie that leads nowhere in the score itself stays as it is.
pub(super) fn cut(score: &Score, part: &mut Part, window: Window) -> Vec<u32> {
    let mut held_over = Vec::new();
    if window.first.0 > 0 {
        for (index, note) in (0u32..).zip(&mut part.notes).take_while(|(_, note)| note.bar.0 == 0) {
            if note.flags.contains(NoteFlags::TIE_STOP) && note.at.is_zero() {
                note.flags -= NoteFlags::TIE_STOP;
                held_over.push(index);
            }
        }
    }
    if window.last.at() + 1 < score.bars.len() {
        let last = window.within(window.last);
        for note in part.notes.iter_mut().filter(|note| note.bar == last) {
            if note.flags.contains(NoteFlags::TIE_START) && note.at + note.duration >= window.last_length {
                note.flags -= NoteFlags::TIE_START;
                note.flags |= NoteFlags::LET_RING;
            }
        }
    }
    held_over
}
