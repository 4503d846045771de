//! Players of a section keep their order: what a higher chair has lies no lower than what a lower one has.
//!
//! Common practice (from memory; any handbook on brass and woodwind). Where a chord's tone finds no room below the tune of its own section, another section takes
//! it and gives what it has for it.

use ripieno_score::Crotchets;

use super::chords::between_of;
use super::floor::Floor;
use super::layers::is_pulse;
use super::lines::locked;
use super::tendency::hanging_steps;
use super::{CastNote, PhraseCast, Seat, Setting};

/// Rounds in which chord notes change places: a change may ask for another.
const ROUNDS: usize = 3;

/// Whether a player would cross others of the section with a note at a key.
pub(super) fn crosses(setting: &Setting<'_>, cast: &PhraseCast, seat: Seat, note: &CastNote, key: i32) -> bool {
    let (low, high) = between_of(setting.lineup, &cast.notes, seat, note.onset, note.end());
    low.is_some_and(|low| key < low) || high.is_some_and(|high| key > high)
}

/// Chord notes that cross a line of their own section change places with another chord note that sounds there, if neither crosses then; else they move by an octave, where they can.
pub(super) fn uncross(setting: &Setting<'_>, floor: &Floor, cast: &mut PhraseCast) {
    let free = |seat: Seat, note: &CastNote| {
        let chordal = setting.sketch.strands[note.line.strand].is_chordal();
        chordal && note.duration.is_positive() && locked(setting, seat, note.onset).is_none()
    };
    let seats: Vec<Seat> = cast.notes.keys().copied().filter(|seat| setting.lineup.sections[seat.0].chairs.len() > 1).collect();
    for _ in 0..ROUNDS {
        let mut changed = false;
        for &seat in &seats {
            let mut at = 0;
            while at < cast.notes[&seat].len() {
                let note = cast.notes[&seat][at];
                if free(seat, &note) && crosses(setting, cast, seat, &note, note.key()) {
                    changed |=
                        exchange(setting, floor, cast, (seat, at), &free) || by_an_octave(setting, floor, cast, (seat, at));
                }
                at += 1;
            }
        }
        if !changed {
            break;
        }
    }
}

/// Of a change: strain, steps left hanging, semitones.
type Price = (i64, usize, i32);

/// Changes a note with another player's, as long as both last: with whom that is least of a way for both.
fn exchange(
    setting: &Setting<'_>,
    floor: &Floor,
    cast: &mut PhraseCast,
    (seat, at): (Seat, usize),
    free: &dyn Fn(Seat, &CastNote) -> bool,
) -> bool {
    let note = cast.notes[&seat][at];
    // Whoever has a layer of the rhythm keeps it whole.
    let held = |note: &CastNote| !is_pulse(&setting.sketch.strands[note.line.strand]);
    if !held(&note) {
        return false;
    }
    let suits = |cast: &PhraseCast, seat: Seat, note: &CastNote| {
        let reach = setting.lineup.sections[seat.0].chairs[seat.1].reach;
        reach.allows(note.key())
            && !crosses(setting, cast, seat, note, note.key())
            && !floor.is_under(note.key(), note.onset, note.end())
    };
    let mut best: Option<(Price, Seat, usize, Crotchets)> = None;
    let others: Vec<Seat> = cast.notes.keys().copied().filter(|other| *other != seat).collect();
    for other in others {
        // What sounds there, begun with it or before.
        let Some(with) = cast.notes[&other].partition_point(|one| one.onset <= note.onset).checked_sub(1) else { continue };
        let one = cast.notes[&other][with];
        if one.end() <= note.onset || !free(other, &one) || !held(&one) || one.key() == note.key() {
            continue;
        }
        let until = note.end().min(one.end());
        let from = note.onset;
        let cut = |note: &CastNote| CastNote { onset: from, duration: until - from, ..*note };
        // Tried, judged, and taken back. What has to resolve goes on resolving.
        let hang = |cast: &PhraseCast| {
            [seat, other].map(|seat| hanging_steps(setting, &cast.notes[&seat], from, until)).iter().sum::<usize>()
        };
        let hung = hang(cast);
        let kept = [seat, other].map(|seat| (seat, cast.notes[&seat].clone()));
        swap(cast, (seat, at), (other, with), until);
        let good = suits(cast, seat, &cut(&one)) && suits(cast, other, &cut(&note));
        let hung = hang(cast).saturating_sub(hung);
        cast.notes.extend(kept);
        if !good {
            continue;
        }
        let strain = |seat: Seat, key: i32| setting.lineup.sections[seat.0].chairs[seat.1].reach.strain(key);
        let strains = i64::from(strain(seat, one.key())) + i64::from(strain(other, note.key()));
        let price = (strains, hung, (one.key() - note.key()).abs());
        if best.is_none_or(|(known, ..)| price < known) {
            best = Some((price, other, with, until));
        }
    }
    let Some((_, other, with, until)) = best else { return false };
    swap(cast, (seat, at), (other, with), until);
    true
}

/// The first note changes places with another that sounds as it begins, up to a moment; what the other was before, and what either lasts beyond, stays where it was.
fn swap(cast: &mut PhraseCast, a: (Seat, usize), b: (Seat, usize), until: Crotchets) {
    let (one, other) = (cast.notes[&a.0][a.1], cast.notes[&b.0][b.1]);
    let from = one.onset;
    for ((seat, at), old, new) in [(a, one, other), (b, other, one)] {
        let Some(own) = cast.notes.get_mut(&seat) else { continue };
        let mut pieces = Vec::with_capacity(3);
        if old.onset < from {
            pieces.push(CastNote { duration: from - old.onset, like: None, breath: false, ..old });
        }
        let whole = new.onset == from && new.end() == until;
        pieces.push(CastNote { onset: from, duration: until - from, like: new.like.filter(|_| whole), ..new });
        if old.end() > until {
            pieces.push(CastNote { onset: until, duration: old.end() - until, like: None, ..old });
        }
        own.splice(at..=at, pieces);
    }
}

/// Moves a note by an octave, where it crosses nobody then and stays above the bass; of a repeated rhythm all notes of its pitch that follow each other, for it keeps its pitch.
fn by_an_octave(setting: &Setting<'_>, floor: &Floor, cast: &mut PhraseCast, (seat, at): (Seat, usize)) -> bool {
    let own = &cast.notes[&seat];
    let same = |other: &CastNote| other.key() == own[at].key() && other.line == own[at].line && other.duration.is_positive();
    let run = if is_pulse(&setting.sketch.strands[own[at].line.strand]) {
        let first = at - own[..at].iter().rev().take_while(|other| same(other)).count();
        first..at + own[at..].iter().take_while(|other| same(other)).count()
    } else {
        at..at + 1
    };
    let reach = setting.lineup.sections[seat.0].chairs[seat.1].reach;
    let suits = |by: &i32| {
        own[run.clone()].iter().all(|note| {
            let key = note.key() + 12 * by;
            let free = locked(setting, seat, note.onset).is_none();
            free && reach.allows(key) && !floor.is_under(key, note.onset, note.end()) && !crosses(setting, cast, seat, note, key)
        })
    };
    let Some(by) = [-1, 1].into_iter().find(suits) else { return false };
    for note in cast.notes.get_mut(&seat).into_iter().flat_map(|own| &mut own[run.clone()]) {
        note.pitch = super::lines::by_octaves(note.pitch, by);
    }
    true
}
