//! Where one phrase leads into the next: whoever is still needed for the chord there takes up the tune at the barline, and leaves its upbeat to those who are free.

use std::collections::BTreeMap;

use ripieno_score::Crotchets;

use super::{CastNote, PhraseCast, Seat};
use crate::coverage::heard;
use crate::sketch::Sketch;

/// Takes the upbeat before `bar` from players without whom a chord of the phrase before would lack a tone, where others have it too.
pub(crate) fn leave_upbeats(sketch: &Sketch, before: &PhraseCast, bar: Crotchets, done: &mut PhraseCast) {
    let begins = |notes: &Vec<CastNote>| notes.first().map(|note| note.onset).filter(|&at| at < bar);
    let Some(from) = done.notes.values().filter_map(begins).min() else { return };
    let lacks = |done: &PhraseCast| -> u32 {
        let joined = joined(before, done);
        heard(sketch, &[(from, bar)], &joined).iter().map(|one| one.missing.count_ones()).sum()
    };
    let mut least = lacks(done);
    let seats: Vec<Seat> = done.notes.iter().filter(|(_, notes)| begins(notes).is_some()).map(|(seat, _)| *seat).collect();
    for seat in seats.into_iter().filter(|seat| before.notes.contains_key(seat)) {
        if least == 0 {
            break;
        }
        let own = &done.notes[&seat];
        let upbeat = || own.iter().filter(|note| note.onset < bar);
        let has = |note: &CastNote, other: &CastNote| (other.onset, other.line) == (note.onset, note.line);
        let others = done.notes.iter().filter(|(other, _)| **other != seat);
        let shared = others.into_iter().any(|(_, other)| upbeat().all(|note| other.iter().any(|one| has(note, one))));
        // What is held over the barline goes on.
        if !shared || upbeat().any(|note| note.end() > bar) {
            continue;
        }
        let mut without = done.clone();
        without.notes.insert(seat, own.iter().filter(|note| note.onset >= bar).copied().collect());
        let left = lacks(&without);
        if left < least {
            (*done, least) = (without, left);
        }
    }
    done.notes.retain(|_, notes| !notes.is_empty());
}

/// What sounds where two phrases meet: whoever begins the second has left the first.
fn joined(before: &PhraseCast, done: &PhraseCast) -> BTreeMap<Seat, Vec<CastNote>> {
    let mut all = before.notes.clone();
    for (seat, notes) in &done.notes {
        let Some(first) = notes.iter().map(|note| note.onset).min() else { continue };
        let own = all.entry(*seat).or_default();
        own.retain(|note| note.onset < first);
        own.iter_mut().filter(|note| note.end() > first).for_each(|note| note.duration = first - note.onset);
        own.extend(notes);
    }
    all
}
