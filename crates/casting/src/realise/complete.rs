//! Chord tones that nobody sounds, given to somebody who doubles another.

use std::collections::BTreeMap;

use ripieno_score::{Crotchets, Pitch};

use super::{CastNote, PhraseCast, Seat, Setting};
use crate::sketch::{LONGEST, Strand};

/// A moment at which chords begin: the tones all chord strands have from there, and how they are spelled.
struct Moment {
    at: Crotchets,
    classes: u16,
    spelled: BTreeMap<i32, Pitch>,
}

/// Gives every chord tone that nobody sounds to a player of chords who begins a note there that others sound too, at the nearest key within reach. A section may be too
/// small for a strand, or a voice out of reach: then the chord is whole all the same.
pub(super) fn complete(setting: &Setting<'_>, span: (Crotchets, Crotchets), cast: &mut PhraseCast) {
    let moments = moments(setting, span);
    for at in 0..moments.len() {
        let missing = moments[at].classes & !sounded(cast, moments[at].at, None);
        for class in (0..12).filter(|class| missing >> class & 1 == 1) {
            let found = candidates(setting, &moments, at, class, cast)
                .min_by_key(|&(strain, distance, seat, note, _)| (strain, distance, seat, note));
            let Some((_, _, seat, note, key)) = found else { continue };
            let spelled = moments[at].spelled.get(&class).copied();
            if let Some(note) = cast.notes.get_mut(&seat).and_then(|notes| notes.get_mut(note)) {
                note.pitch = spelled.map_or_else(
                    || crate::voicing::spelled(&[None; 12], key),
                    |pitch| super::lines::by_octaves(pitch, (key - pitch.semitones()).div_euclid(12)),
                );
                note.like = note.like.filter(|like| like.plain);
            }
        }
    }
}

/// Strain, distance, who, which note, and the key it would go to.
type Candidate = (i32, i32, Seat, usize, i32);

fn candidates<'a>(
    setting: &'a Setting<'_>,
    moments: &'a [Moment],
    at: usize,
    class: i32,
    cast: &'a PhraseCast,
) -> impl Iterator<Item = Candidate> + 'a {
    let here = moments[at].at;
    let all = cast.notes.iter().flat_map(|(&seat, notes)| notes.iter().enumerate().map(move |(n, note)| (seat, n, note)));
    all.filter_map(move |(seat, n, note)| {
        if note.onset != here
            || note.line.voice == 0
            || !note.duration.is_positive()
            || super::lines::locked(setting, seat, here).is_some()
        {
            return None;
        }
        // What the player gives up must be there without it, for as long as the note lasts, and what comes must belong.
        let within = || moments.iter().filter(|moment| note.onset <= moment.at && moment.at < note.end());
        let old = 1u16 << note.key().rem_euclid(12);
        let spared = within().all(|moment| moment.classes & old == 0 || sounded(cast, moment.at, Some(seat)) & old != 0);
        let belongs = within().all(|moment| moment.classes >> class & 1 == 1);
        if !spared || !belongs {
            return None;
        }
        let reach = setting.lineup.sections[seat.0].chairs[seat.1].reach;
        let keys = (0..128i32).filter(|key| key.rem_euclid(12) == class && reach.allows(*key));
        let key = keys.min_by_key(|&key| (reach.strain(key), (key - note.key()).abs()))?;
        Some((reach.strain(key), (key - note.key()).abs(), seat, n, key))
    })
}

/// Pitch classes that sound at a moment, of everybody or of everybody but one.
fn sounded(cast: &PhraseCast, at: Crotchets, without: Option<Seat>) -> u16 {
    let of = |notes: &Vec<CastNote>| {
        let next = notes.partition_point(|note| note.onset <= at);
        notes[..next].iter().rev().take(8).find(|note| at < note.end()).map_or(0u16, |note| 1 << note.key().rem_euclid(12))
    };
    cast.notes.iter().filter(|(seat, _)| Some(**seat) != without).fold(0, |have, (_, notes)| have | of(notes))
}

fn moments(setting: &Setting<'_>, span: (Crotchets, Crotchets)) -> Vec<Moment> {
    let chordal: Vec<&Strand> = setting.sketch.strands.iter().filter(|strand| strand.is_chordal()).collect();
    let mut times: Vec<Crotchets> = chordal.iter().flat_map(|strand| strand.moments(span).map(|(at, _)| at)).collect();
    times.sort_unstable();
    times.dedup();
    times
        .into_iter()
        .map(|at| {
            let (mut classes, mut spelled) = (0u16, BTreeMap::new());
            let begun = |strand: &&Strand| {
                let first = strand.notes.partition_point(|note| note.onset + LONGEST < at);
                let end = strand.notes.partition_point(|note| note.onset <= at);
                (first, end.max(first))
            };
            for strand in &chordal {
                let (first, end) = begun(strand);
                for note in strand.notes[first..end].iter().filter(|note| at < note.end()) {
                    classes |= 1 << note.key().rem_euclid(12);
                    spelled.entry(note.key().rem_euclid(12)).or_insert(note.pitch);
                }
            }
            Moment { at, classes, spelled }
        })
        .collect()
}
