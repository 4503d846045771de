//! Notes that are in the file and not on the page.
//!
//! Files hide notes to play something back or to space a bar. Nobody plays from them, but they break a long rest in two, push rests off the
//! staff and keep a silent staff in its system; so they do not go to the stands.

use std::collections::BTreeMap;

use ripieno_score::{Edge, Mark, Note, NoteFlags, Part};

/// Leaves out the hidden notes of a part; for each note it had, whether it is still there.
pub(crate) fn leave_out(part: &mut Part) -> Vec<bool> {
    let keep: Vec<bool> = part.notes.iter().map(|note| !note.flags.contains(NoteFlags::HIDDEN)).collect();
    if keep.iter().all(|&keep| keep) {
        return keep;
    }
    let places: Vec<u32> = keep
        .iter()
        .scan(0u32, |next, &keep| {
            let place = *next;
            *next += u32::from(keep);
            Some(place)
        })
        .collect();
    let stays = |index: u32| keep.get(index as usize).copied().unwrap_or(false);
    loosen_ties(&mut part.notes, &keep);
    let halves = halves(part, &keep);
    let mut place = 0..;
    part.marks.retain(|(index, _)| {
        let is_half = place.next().is_some_and(|place| halves.binary_search(&place).is_ok());
        stays(*index) && !is_half
    });
    part.marks.iter_mut().for_each(|(index, _)| *index = places[*index as usize]);
    // The first note that is seen of a chord carries its stem.
    let mut headless = false;
    for (note, &keep) in part.notes.iter_mut().zip(&keep) {
        let follows = note.flags.contains(NoteFlags::CHORD);
        if !keep {
            headless = headless || !follows;
        } else {
            if follows && headless {
                note.flags.remove(NoteFlags::CHORD);
            }
            headless = false;
        }
    }
    let mut kept = keep.iter();
    part.notes.retain(|_| kept.next() == Some(&true));
    keep
}

/// Places among the marks of those that stay while the other end of their span goes, in order.
fn halves(part: &Part, keep: &[bool]) -> Vec<usize> {
    let stays = |note: u32| keep.get(note as usize).copied().unwrap_or(false);
    let mut open: BTreeMap<(u8, u8), Vec<usize>> = BTreeMap::new();
    let mut found = Vec::new();
    for (place, (note, mark)) in part.marks.iter().enumerate() {
        let (kind, number, edge) = match mark {
            Mark::Slur { edge, number } => (0, *number, *edge),
            Mark::TrillLine { edge, number } => (1, *number, *edge),
            Mark::Glissando { edge, number, .. } => (2, *number, *edge),
            Mark::Tuplet { edge, number, .. } => (3, *number, *edge),
            _ => continue,
        };
        let waiting = open.entry((kind, number)).or_default();
        match edge {
            Edge::Start => waiting.push(place),
            Edge::Continue => {}
            Edge::Stop => {
                let Some(start) = waiting.pop() else { continue };
                match (stays(part.marks[start].0), stays(*note)) {
                    (true, false) => found.push(start),
                    (false, true) => found.push(place),
                    _ => {}
                }
            }
        }
    }
    found.sort_unstable();
    found
}

/// Ends the ties between notes that stay and notes that go.
pub(crate) fn loosen_ties(notes: &mut [Note], keep: &[bool]) {
    // Ties not yet arrived: at most one of each pitch in each voice.
    let mut open: Vec<usize> = Vec::new();
    for at in 0..notes.len() {
        let (head, voice, flags) = (notes[at].head, notes[at].voice, notes[at].flags);
        if flags.contains(NoteFlags::TIE_STOP) {
            let same = |other: &usize| notes[*other].head == head;
            let own = open.iter().rposition(|other| same(other) && notes[*other].voice == voice);
            if let Some(place) = own.or_else(|| open.iter().rposition(same)) {
                let from = open.remove(place);
                match (keep[from], keep[at]) {
                    (true, false) => notes[from].flags -= NoteFlags::TIE_START,
                    (false, true) => notes[at].flags -= NoteFlags::TIE_STOP,
                    _ => {}
                }
            }
        }
        if flags.contains(NoteFlags::TIE_START) {
            open.retain(|other| notes[*other].head != head || notes[*other].voice != voice);
            open.push(at);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_nobody_sees_is_left_out_with_its_marks() {
        let note = |velocity: u8, flags: NoteFlags| Note { velocity, flags, ..Note::default() };
        let slur = |edge| Mark::Slur { edge, number: 1 };
        let (hidden, chord) = (NoteFlags::HIDDEN, NoteFlags::CHORD);
        let mut part = Part {
            notes: vec![
                note(1, NoteFlags::empty()),
                note(2, hidden),
                note(3, chord),
                note(4, chord | hidden),
                note(5, chord),
                note(6, NoteFlags::empty()),
            ],
            marks: vec![
                (0, slur(Edge::Start)),
                (1, slur(Edge::Stop)),
                (1, slur(Edge::Start)),
                (2, slur(Edge::Stop)),
                (2, slur(Edge::Start)),
                (5, slur(Edge::Stop)),
            ],
            ..Part::default()
        };
        assert_eq!(leave_out(&mut part), [true, false, true, false, true, true]);
        let left: Vec<(u8, bool)> = part.notes.iter().map(|note| (note.velocity, note.flags.contains(chord))).collect();
        assert_eq!(left, [(1, false), (3, false), (5, true), (6, false)]);
        // Of a slur to or from what is left out nothing stays.
        assert_eq!(part.marks, [(1, slur(Edge::Start)), (3, slur(Edge::Stop))]);
    }

    #[test]
    fn a_tie_to_what_nobody_sees_ends() {
        let (start, stop, hidden) = (NoteFlags::TIE_START, NoteFlags::TIE_STOP, NoteFlags::HIDDEN);
        let note = |voice: u16, flags: NoteFlags| Note { voice, flags, ..Note::default() };
        let mut part = Part {
            notes: vec![
                note(1, start),
                note(2, start | hidden),
                note(1, start | stop),
                note(2, stop | hidden),
                note(1, stop | hidden | start),
                note(1, stop),
            ],
            ..Part::default()
        };
        leave_out(&mut part);
        let left: Vec<NoteFlags> = part.notes.iter().map(|note| note.flags).collect();
        // What is tied in another voice beside it is no business of a tie that is seen.
        assert_eq!(left, [start, stop, NoteFlags::empty()]);
    }
}
