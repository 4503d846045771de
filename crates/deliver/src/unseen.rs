//! Notes that are in the file and not on the page.
//!
//! Files hide notes to play something back or to space a bar. Nobody plays from them, but they break a long rest in two, push rests off the
//! staff and keep a silent staff in its system; so they do not go to the stands.

use ripieno_score::{NoteFlags, Part};

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
    part.marks.retain(|(index, _)| stays(*index));
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

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_score::{Edge, Mark, Note};

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
            marks: vec![(0, slur(Edge::Start)), (1, slur(Edge::Stop)), (5, slur(Edge::Stop))],
            ..Part::default()
        };
        assert_eq!(leave_out(&mut part), [true, false, true, false, true, true]);
        let left: Vec<(u8, bool)> = part.notes.iter().map(|note| (note.velocity, note.flags.contains(chord))).collect();
        assert_eq!(left, [(1, false), (3, false), (5, true), (6, false)]);
        assert_eq!(part.marks, [(0, slur(Edge::Start)), (3, slur(Edge::Stop))]);
    }
}
