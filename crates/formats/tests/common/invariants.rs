//! What every reader promises of a score.

use ripieno_score::{BarIndex, Crotchets, NoteFlags, Score};

/// What every score keeps: bars abut, lists are in order, everything lies within its bar and points at something.
pub fn assert_in_order(score: &Score) {
    let mut start = Crotchets::ZERO;
    for bar in &score.bars {
        assert!(bar.start == start && bar.length >= Crotchets::ZERO, "bar {} abuts", bar.number);
        start += bar.length;
    }
    let length = |bar: BarIndex| score.bars[bar.at()].length;
    let inside = |at, bar| at >= Crotchets::ZERO && at <= length(bar);
    for part in &score.parts {
        let id = &part.id;
        assert!(part.staves >= 1 && !part.instruments.is_empty(), "{id} has a staff and an instrument");
        assert!(part.notes.is_sorted_by_key(|note| (note.bar, note.at, note.voice)), "notes of {id} are in order");
        assert!(part.rests.is_sorted_by_key(|rest| (rest.bar, rest.at)), "rests of {id} are in order");
        assert!(part.directions.is_sorted_by_key(|direction| (direction.bar, direction.at)), "directions of {id} are in order");
        assert!(part.changes.is_sorted_by_key(|change| (change.bar, change.at)), "changes of {id} are in order");
        assert!(part.marks.is_sorted_by_key(|(note, _)| *note), "marks of {id} are in order");
        assert!(part.marks.iter().all(|(note, _)| (*note as usize) < part.notes.len()), "marks of {id} point at notes");
        for note in &part.notes {
            assert!(inside(note.at, note.bar) && inside(note.at + note.duration, note.bar), "{id} {note:?} lies in its bar");
            assert!(note.duration >= Crotchets::ZERO && note.staff >= 1 && note.voice >= 1, "{id} {note:?}");
            assert!(usize::from(note.instrument) < part.instruments.len(), "{id} {note:?} has an instrument");
        }
        for rest in &part.rests {
            assert!(inside(rest.at, rest.bar) && inside(rest.at + rest.duration, rest.bar), "{id} {rest:?} lies in its bar");
            assert!(rest.duration.is_positive(), "{id} {rest:?}");
        }
        assert!(
            part.directions.iter().all(|direction| inside(direction.at, direction.bar)),
            "directions of {id} lie in their bars"
        );
        assert!(part.changes.iter().all(|change| inside(change.at, change.bar)), "changes of {id} lie in their bars");
    }
}

/// In each bar each voice's notes and rests follow one another without overlap, which damaged files need not keep.
pub fn assert_voices_follow(score: &Score) {
    for part in &score.parts {
        let notes = part.notes.iter().filter(|note| !note.flags.contains(NoteFlags::CHORD) && !note.duration.is_zero());
        let mut spans: Vec<_> = notes.map(|note| (note.bar, note.voice, note.at, note.at + note.duration)).collect();
        spans.extend(part.rests.iter().map(|rest| (rest.bar, rest.voice, rest.at, rest.at + rest.duration)));
        spans.sort();
        for pair in spans.windows(2) {
            let same = (pair[0].0, pair[0].1) == (pair[1].0, pair[1].1);
            assert!(!same || pair[0].3 <= pair[1].2, "{} {pair:?} do not overlap", part.name);
        }
    }
}
