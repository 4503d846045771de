//! Chord tones that nobody sounds, given to somebody who doubles another.

use std::collections::BTreeMap;

use ripieno_score::{Crotchets, Pitch};
use ripieno_texture::Role;

use super::floor::Floor;
use super::order::crosses;
use super::{CastNote, PhraseCast, Seat, Setting, sounding};
use crate::sketch::{LONGEST, Strand};

/// A moment at which chords begin: the tones all chord strands have from there, and how they are spelled.
struct Moment {
    at: Crotchets,
    classes: u16,
    spelled: BTreeMap<i32, Pitch>,
}

/// Gives every chord tone that nobody sounds to a player of chords who begins a note there that others sound too, at the nearest key within reach. A section may be too
/// small for a strand, or a voice out of reach: then the chord is whole all the same.
pub(super) fn complete(setting: &Setting<'_>, span: (Crotchets, Crotchets), floor: &Floor, cast: &mut PhraseCast) {
    let moments = moments(setting, span);
    for at in 0..moments.len() {
        let missing = moments[at].classes & !sounded(cast, moments[at].at, None);
        for class in (0..12).filter(|class| missing >> class & 1 == 1) {
            let found = candidates(setting, &moments, at, class, floor, cast).min_by_key(|&(seat, note, key)| {
                let strain = setting.lineup.sections[seat.0].chairs[seat.1].reach.strain(key);
                let distance = cast.notes.get(&seat).and_then(|notes| notes.get(note)).map_or(0, |note| (key - note.key()).abs());
                let crosses = cast
                    .notes
                    .get(&seat)
                    .and_then(|own| own.get(note))
                    .is_some_and(|note| crosses(setting, cast, seat, note, key));
                (crosses, parallels(cast, moments[at].at, seat, key), strain, distance, seat, note)
            });
            let Some((seat, note, key)) = found else { continue };
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

/// Who, which note, and the key it would go to.
type Candidate = (Seat, usize, i32);

fn candidates<'a>(
    setting: &'a Setting<'_>,
    moments: &'a [Moment],
    at: usize,
    class: i32,
    floor: &'a Floor,
    cast: &'a PhraseCast,
) -> impl Iterator<Item = Candidate> + 'a {
    let here = moments[at].at;
    let begins = move |(&seat, notes): (&Seat, &'a Vec<CastNote>)| {
        let first = notes.partition_point(|note| note.onset < here);
        notes[first..].iter().take_while(move |note| note.onset == here).zip(first..).map(move |(note, n)| (seat, n, note))
    };
    cast.notes.iter().flat_map(begins).filter_map(move |(seat, n, note)| {
        if note.line.voice == 0 || !note.duration.is_positive() || super::lines::locked(setting, seat, here).is_some() {
            return None;
        }
        // A repeated rhythm keeps its pitch.
        if setting.sketch.strands[note.line.strand].role != Role::Harmony {
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
        let keys = keys.filter(|key| !floor.is_under(*key, note.onset, note.end()));
        let crossing = |key: i32| crosses(setting, cast, seat, note, key);
        let key = keys.min_by_key(|&key| (crossing(key), reach.strain(key), (key - note.key()).abs()))?;
        Some((seat, n, key))
    })
}

/// With how many others this player would move in parallel fifths or octaves, into this key or on from it.
fn parallels(cast: &PhraseCast, at: Crotchets, seat: Seat, key: i32) -> usize {
    let Some(own) = cast.notes.get(&seat).map(|notes| around(notes, at)) else { return 0 };
    let is_parallel = |(from, with): (Option<i32>, Option<i32>), (to, and): (Option<i32>, Option<i32>)| {
        let (Some(from), Some(with), Some(to), Some(and)) = (from, with, to, and) else { return false };
        let interval = (to - and).abs() % 12;
        from != to && with != and && (from - with).abs() % 12 == interval && matches!(interval, 0 | 7)
    };
    let others = cast.notes.iter().filter(|(other, _)| **other != seat).map(|(_, notes)| around(notes, at));
    others
        .filter(|other| {
            is_parallel((own.before, other.before), (Some(key), other.now))
                || is_parallel((Some(key), other.now), (own.after, other.after))
        })
        .count()
}

/// What a player has just before a moment, at it, and next.
struct Around {
    before: Option<i32>,
    now: Option<i32>,
    after: Option<i32>,
}

fn around(notes: &[CastNote], at: Crotchets) -> Around {
    let next = notes.partition_point(|note| note.onset <= at);
    let (until, from) = notes.split_at(next);
    let now = sounding(notes, at);
    let before = until.iter().rev().find(|note| note.onset < at).filter(|note| at <= note.end());
    Around { before: before.map(CastNote::key), now: now.map(CastNote::key), after: from.first().map(CastNote::key) }
}

/// Pitch classes that sound at a moment, of everybody or of everybody but one.
fn sounded(cast: &PhraseCast, at: Crotchets, without: Option<Seat>) -> u16 {
    let of = |notes: &Vec<CastNote>| sounding(notes, at).map_or(0u16, |note| 1 << note.key().rem_euclid(12));
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

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test stops at the first surprise
mod tests {
    use super::super::LineId;
    use super::*;

    #[test]
    fn parallels_are_fifths_and_octaves_that_both_move() {
        let notes = |keys: [i32; 3]| -> Vec<CastNote> {
            let note = |(at, key)| CastNote {
                onset: Crotchets::whole(at),
                duration: Crotchets::ONE,
                pitch: crate::voicing::spelled(&[None; 12], key),
                line: LineId { strand: 0, voice: 1 },
                like: None,
                breath: false,
            };
            (0..).zip(keys).map(note).collect()
        };
        let count = |mine: [i32; 3], other: [i32; 3], key: i32| {
            let cast = PhraseCast { notes: [((0, 0), notes(mine)), ((0, 1), notes(other))].into(), ..PhraseCast::default() };
            parallels(&cast, Crotchets::ONE, (0, 0), key)
        };
        // C over F, then D over G: a fifth follows a fifth (any book on voice leading).
        assert_eq!(count([60, 62, 60], [53, 55, 57], 62), 1);
        // E over G is a sixth, and goes on to no fifth.
        assert_eq!(count([60, 62, 60], [53, 55, 57], 64), 0);
        // An octave that is held is none; one into which both move on from here is.
        assert_eq!(count([67, 67, 67], [55, 55, 55], 67), 0);
        assert_eq!(count([60, 62, 69], [53, 55, 57], 67), 1);
    }
}
