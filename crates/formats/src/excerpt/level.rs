//! The dynamic in force when an excerpt begins.

use std::collections::BTreeSet;

use ripieno_score::{Direction, DirectionKind, DynamicLevel, DynamicMark, Mark, Part, PartLevels, Score};

use super::{Moment, Window, first_played};

/// For each staff that plays before it is given a mark of its own: the level it plays at, at its first note. `piece` has the notes and
/// marks of the excerpt, positions being the excerpt's.
pub(super) fn carried(score: &Score, whole: &Part, piece: &Part, window: Window) -> Vec<Direction> {
    let mut carried = Vec::new();
    if window.first.0 == 0 {
        return carried;
    }
    let staves: BTreeSet<u8> = piece.notes.iter().map(|note| note.staff).collect();
    let unmarked: Vec<_> = staves
        .into_iter()
        .filter_map(|staff| first_played(piece, staff))
        .filter(|note| !is_marked(whole, piece, window, note.staff, (note.bar, note.at)))
        .collect();
    if unmarked.is_empty() {
        return carried;
    }
    // It knows what hairpins and words have done since the last mark.
    let levels = PartLevels::new(whole, &score.bars);
    for note in unmarked {
        let at = score.bars[window.first.at() + note.bar.at()].start + note.at;
        if let Some(level) = levels.at(note.staff, note.voice, at) {
            // A level between two marks, inside a hairpin, is printed as the nearest.
            let level = DynamicLevel::from_mark(level.mark()).unwrap_or(level);
            let kind = DirectionKind::Dynamic(DynamicMark::Level(level));
            carried.push(Direction { bar: note.bar, at: note.at, staff: note.staff, voice: None, above: None, kind });
        }
    }
    carried
}

/// Whether the staff is given a lasting level in the excerpt at or before this moment.
fn is_marked(whole: &Part, piece: &Part, window: Window, staff: u8, until: Moment) -> bool {
    let sets = |mark: &DynamicMark| matches!(mark, DynamicMark::Level(_) | DynamicMark::AttackThen(..));
    let by_direction = whole.directions.iter().any(|direction| {
        window.holds(direction.bar)
            && direction.staff == staff
            && (window.within(direction.bar), direction.at) <= until
            && matches!(&direction.kind, DirectionKind::Dynamic(mark) if sets(mark))
    });
    by_direction
        || piece.marks.iter().any(|(note, mark)| {
            matches!(mark, Mark::Dynamic(mark) if sets(mark))
                && piece.notes.get(*note as usize).is_some_and(|note| note.staff == staff && (note.bar, note.at) <= until)
        })
}
