//! Which accidentals are printed.

use std::collections::BTreeMap;
use std::ops::Range;

use ripieno_score::{Change, ChangeKind, NoteFlags, Part, Pitch};

/// The key signature in force on each staff of a part, in sharps.
#[derive(Default)]
pub(super) struct Accidentals {
    fifths: BTreeMap<u8, i8>,
}

impl Accidentals {
    /// Those of the next bar, by note, as MusicXML names: where a note differs from the key and from what the bar has said before,
    /// staff by staff.
    pub(super) fn of_bar(&mut self, part: &Part, notes: Range<usize>, changes: &[Change]) -> BTreeMap<usize, &'static str> {
        let mut order: Vec<usize> = notes.collect();
        order.sort_by_key(|&index| part.notes[index].at);
        let mut changes = changes.iter().peekable();
        // What has been printed at a place on a staff: semitones and hundredths.
        let mut said: BTreeMap<(u8, i32), (i8, i8)> = BTreeMap::new();
        let mut printed = BTreeMap::new();
        for index in order {
            let note = &part.notes[index];
            while let Some(change) = changes.next_if(|change| change.at <= note.at) {
                self.change(change, part.staves, &mut said);
            }
            let Some(pitch) = note.pitch() else { continue };
            let fifths = self.fifths.get(&note.staff).copied().unwrap_or(0);
            let place = (note.staff, pitch.staff_position());
            let in_force = said.get(&place).copied().unwrap_or_else(|| (in_key(pitch, fifths), 0));
            if in_force != (pitch.alter, pitch.cents) && !note.flags.contains(NoteFlags::TIE_STOP) {
                printed.extend(accidental_name(pitch).map(|name| (index, name)));
                said.insert(place, (pitch.alter, pitch.cents));
            }
        }
        changes.for_each(|change| self.change(change, part.staves, &mut said));
        printed
    }

    /// Takes over a new key signature, which ends what accidentals before it said.
    fn change(&mut self, change: &Change, staves: u8, said: &mut BTreeMap<(u8, i32), (i8, i8)>) {
        let ChangeKind::Key(key) = change.kind else { return };
        let concerned = change.staff.map_or(1..=staves.max(1), |staff| staff..=staff);
        said.retain(|(staff, _), _| !concerned.contains(staff));
        self.fifths.extend(concerned.map(|staff| (staff, key.fifths)));
    }
}

/// The alteration a key signature gives a note.
fn in_key(pitch: Pitch, fifths: i8) -> i8 {
    // Order of sharps F C G D A E B; flats the other way round. Index by step from C.
    const SHARP_PLACE: [i8; 7] = [2, 4, 6, 1, 3, 5, 7];
    let place = SHARP_PLACE[usize::try_from(pitch.step.index()).unwrap_or(0)];
    if fifths >= place {
        1
    } else if -fifths >= 8 - place {
        -1
    } else {
        0
    }
}

const fn accidental_name(pitch: Pitch) -> Option<&'static str> {
    Some(match (pitch.alter, pitch.cents) {
        (-2, 0) => "flat-flat",
        (-1, 0) => "flat",
        (0, 0) => "natural",
        (1, 0) => "sharp",
        (2, 0) => "double-sharp",
        (0, 50) => "quarter-sharp",
        (0, -50) => "quarter-flat",
        (1, 50) => "three-quarters-sharp",
        (-1, -50) => "three-quarters-flat",
        _ => return None,
    })
}
