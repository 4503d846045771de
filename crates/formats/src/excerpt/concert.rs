//! A score brought to concert pitch.

use std::collections::BTreeSet;

use ripieno_score::{
    BarIndex, Change, ChangeKind, Clef, ClefSign, Crotchets, Head, Key, Mark, Note, Part, Pitch, Score, Stem, Transposition,
};

/// How far a part must lie from what it reads, in semitones, before its clef no longer suits it.
const CLEF_NO_LONGER_SUITS: i32 = 9;
/// The lowest median on the treble staff: the A below middle C, two ledger lines down; as a staff position (C0 is 0).
const TREBLE_FROM: i32 = 26;

/// Whether instruments that transpose by whole octaves are undone too.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Octaves {
    Stay,
    Undone,
}

/// Writes every part at sounding pitch.
pub(super) fn sound(score: &mut Score, octaves: Octaves) {
    for part in &mut score.parts {
        sound_part(part, octaves);
    }
    score.about.concert_pitch = true;
}

fn stays(by: Transposition, octaves: Octaves) -> bool {
    octaves == Octaves::Stay && by.chromatic % 12 == 0 && by.diatonic % 7 == 0
}

/// The interval that is undone.
fn undone(by: Transposition, octaves: Octaves) -> Transposition {
    if stays(by, octaves) { Transposition::NONE } else { Transposition { doubled_below: false, ..by } }
}

/// What is left to transpose.
fn left(by: Transposition, octaves: Octaves) -> Transposition {
    if stays(by, octaves) { by } else { Transposition { doubled_below: by.doubled_below, ..Transposition::NONE } }
}

struct Stretch {
    bar: BarIndex,
    at: Crotchets,
    staff: Option<u8>,
    by: Transposition,
}

/// What is undone at a moment on a staff: the last change before or with it, of its staff or of all.
fn at(stretches: &[Stretch], bar: BarIndex, at: Crotchets, staff: u8) -> Transposition {
    let here = |stretch: &&Stretch| (stretch.bar, stretch.at) <= (bar, at) && stretch.staff.is_none_or(|own| own == staff);
    stretches.iter().rev().find(here).map_or(Transposition::NONE, |stretch| stretch.by)
}

fn sound_part(part: &mut Part, octaves: Octaves) {
    let stretches: Vec<Stretch> = part
        .changes
        .iter()
        .filter_map(|change| {
            let ChangeKind::Transposition(by) = change.kind else { return None };
            Some(Stretch { bar: change.bar, at: change.at, staff: change.staff, by: undone(by, octaves) })
        })
        .collect();
    if stretches.iter().all(|stretch| stretch.by == Transposition::NONE) {
        return;
    }
    let of_note = |note: &Note| at(&stretches, note.bar, note.at, note.staff);
    for (note, mark) in &mut part.marks {
        if let (Mark::SoundingPitch(pitch), Some(note)) = (mark, part.notes.get(*note as usize)) {
            *pitch = concert_pitch(*pitch, of_note(note));
        }
    }
    let several: BTreeSet<(BarIndex, u8)> = shared_bars(&part.notes);
    let mut farthest = 0;
    for note in &mut part.notes {
        let by = of_note(note);
        if let Head::Pitched(pitch) = note.head
            && by != Transposition::NONE
        {
            note.head = Head::Pitched(concert_pitch(pitch, by));
            // The stem of a line alone on its staff follows from where the note now lies.
            if !several.contains(&(note.bar, note.staff)) && matches!(note.stem, Stem::Up | Stem::Down) {
                note.stem = Stem::Unset;
            }
            farthest = farthest.max(by.total_chromatic().abs());
        }
    }
    let mut changes: Vec<Change> = Vec::with_capacity(part.changes.len());
    // Keys are moved by what is undone where they stand; a change of transposition without a new key needs none of its own here.
    for change in &part.changes {
        let kind = match change.kind {
            ChangeKind::Key(key) => {
                let by = at(&stretches, change.bar, change.at, change.staff.unwrap_or(1));
                ChangeKind::Key(Key { fifths: concert_fifths(key.fifths, by), ..key })
            }
            ChangeKind::Transposition(by) => ChangeKind::Transposition(left(by, octaves)),
            ref other => other.clone(),
        };
        changes.push(Change { kind, ..change.clone() });
    }
    if farthest >= CLEF_NO_LONGER_SUITS && part.staves == 1 {
        changes.retain(|change| !matches!(change.kind, ChangeKind::Clef(_)));
        let clef = fitting_clef(part.notes.iter().filter_map(Note::pitch));
        changes.insert(0, Change { bar: BarIndex(0), at: Crotchets::ZERO, staff: None, kind: ChangeKind::Clef(clef) });
    }
    part.changes = changes;
}

/// Bars and staves with more than one voice.
fn shared_bars(notes: &[Note]) -> BTreeSet<(BarIndex, u8)> {
    let voices: BTreeSet<(BarIndex, u8, u16)> = notes.iter().map(|note| (note.bar, note.staff, note.voice)).collect();
    let voices: Vec<_> = voices.into_iter().collect();
    voices.windows(2).filter(|pair| (pair[0].0, pair[0].1) == (pair[1].0, pair[1].1)).map(|pair| (pair[0].0, pair[0].1)).collect()
}

/// The sounding pitch; where its key would need more than seven signs, in the enharmonic one.
fn concert_pitch(pitch: Pitch, by: Transposition) -> Pitch {
    pitch.moved(by).tamed()
}

/// The key at concert pitch: a fifth up is seven semitones and four steps, so an interval is worth this many fifths.
fn concert_fifths(fifths: i8, by: Transposition) -> i8 {
    let moved = i32::from(fifths) + 7 * by.total_chromatic() - 12 * by.total_diatonic();
    let within = match moved {
        8.. => moved - 12,
        ..=-8 => moved + 12,
        _ => moved,
    };
    i8::try_from(within.clamp(-7, 7)).unwrap_or(0)
}

/// Treble or bass, by the median of these pitches.
pub(super) fn fitting_clef(pitches: impl Iterator<Item = Pitch>) -> Clef {
    let mut positions: Vec<i32> = pitches.map(Pitch::staff_position).collect();
    positions.sort_unstable();
    let treble = positions.get(positions.len() / 2).is_none_or(|&median| median >= TREBLE_FROM);
    if treble { Clef { sign: ClefSign::G, line: 2, octaves: 0 } } else { Clef { sign: ClefSign::F, line: 4, octaves: 0 } }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn by(chromatic: i8, diatonic: i8, octaves: i8) -> Transposition {
        Transposition { chromatic, diatonic, octaves, doubled_below: false }
    }

    /// Written and sounding keys of the usual transposing instruments (common practice).
    #[test]
    fn keys_at_concert_pitch() {
        // Clarinet in B flat reading D major sounds C; in A reading E flat sounds C; horn in F reading G sounds C.
        assert_eq!(concert_fifths(2, by(-2, -1, 0)), 0);
        assert_eq!(concert_fifths(-3, by(-3, -2, 0)), 0);
        assert_eq!(concert_fifths(1, by(-7, -4, 0)), 0);
        // Bass clarinet, a ninth down: the same as in B flat.
        assert_eq!(concert_fifths(2, by(-2, -1, -1)), 0);
        // Alto saxophone reading A major sounds C; alto flute reading F sounds C.
        assert_eq!(concert_fifths(3, by(-9, -5, 0)), 0);
        assert_eq!(concert_fifths(-1, by(-5, -3, 0)), 0);
        // Clarinet in B flat reading G flat major sounds F flat: written as E.
        assert_eq!(concert_fifths(-6, by(-2, -1, 0)), 4);
    }

    #[test]
    fn octaves_are_left_to_players() {
        assert_eq!(undone(by(0, 0, -1), Octaves::Undone), by(0, 0, -1));
        assert_eq!(undone(by(0, 0, -1), Octaves::Stay), Transposition::NONE);
        assert_eq!(undone(by(12, 7, 0), Octaves::Stay), Transposition::NONE);
        assert_eq!(left(by(0, 0, -1), Octaves::Stay), by(0, 0, -1));
        assert_eq!(left(by(-7, -4, 0), Octaves::Stay), Transposition::NONE);
    }
}
